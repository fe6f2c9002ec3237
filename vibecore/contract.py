"""Records -> the JSON objects that other programs rely on. Pure; the keys are fixed, screens are free.

A value that is not known is None (JSON null): nothing here ever passes a NaN or an infinity on.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from vibecore.constants import WEIGHTING_CUT_OFF
from vibecore.engine import Engine
from vibecore.model import (
    Analysis,
    Diagnosis,
    Evidence,
    Line,
    OrderLevel,
    PlannedCheck,
    RankedCause,
    Repair,
    SpeedTrack,
    Warn,
)

TRACK_STEP_S = 0.4  # the contract asks for at least two points a second; this leaves room for rounding
LEVEL_DIGITS = 4  # significant digits of an acceleration: far finer than any phone is true to


def analysis_object(
    analysis: Analysis, *, file: str | None = None, engine: Engine | None = None
) -> dict[str, Any]:
    """The `analyze` object. `file` is the name as the person gave it, the recording's own name if None."""
    rec, overall = analysis.recording, analysis.overall
    return {
        "file": rec.name if file is None else file,
        "ok": True,
        "recording": {
            "sample_rate_hz": _fixed(rec.sample_rate_hz, 3),
            "duration_s": _fixed(rec.duration_s, 3),
            "rows": int(rec.rows),
            "lost_samples": int(rec.lost_samples),
            "gravity_included": bool(rec.gravity_included),
            "used_span_s": [_fixed(t, 3) for t in analysis.signal.used_span_s],
            "warnings": [{"code": w.code, "message": w.message} for w in all_warnings(analysis)],
        },
        "engine_speed": _speed(analysis.speed),
        "orders": _orders(analysis, engine),
        "other_lines": [_line(line) for line in analysis.off_orders],
        "overall": {
            "rms_m_s2": _level(overall.rms_m_s2),
            "weighted_rms_m_s2": _level(overall.weighted_rms_m_s2),
            "weighting": overall.weighting,
        },
    }


def diagnosis_object(
    diagnosis: Diagnosis,
    *,
    case: str,
    engine: Engine | None = None,
    recordings: Sequence[dict[str, Any]] | None = None,
) -> dict[str, Any]:
    """The `diagnose` object. `recordings`: ready-made items in the case's order (a file that could not be
    read has its error object there); made from the diagnosis if None."""
    if recordings is None:
        recordings = [recording_item(a, engine=engine) for a in diagnosis.analyses]
    return {
        "case": case,
        "ok": True,
        "causes": [_cause(c) for c in diagnosis.causes],
        "next_checks": [_check(c) for c in diagnosis.next_checks],
        "repair": None if diagnosis.repair is None else repair_object(diagnosis.repair),
        "recordings": list(recordings),
    }


def recording_item(
    analysis: Analysis, *, file: str | None = None, engine: Engine | None = None
) -> dict[str, Any]:
    """An `analyze` object with how the recording was made."""
    c = analysis.condition
    return analysis_object(analysis, file=file, engine=engine) | {
        "stage": c.stage,
        "gear": c.gear,
        "place": c.place,
        "speed_hold": c.speed_hold,
        "accessories": list(c.accessories),
        "taped_anew": c.taped_anew,
    }


def comparison_object(
    before: Analysis,
    after: Analysis,
    repair: Repair,
    *,
    files: tuple[str, str] | None = None,
    engine: Engine | None = None,
) -> dict[str, Any]:
    """The `compare` object: verdict, the change order by order, and both `analyze` objects."""
    first, second = files or (before.name, after.name)
    return {
        "before": first,
        "after": second,
        "ok": True,
        "repair": repair_object(repair),
        "changes": [
            {
                "order": c.order,
                "before_m_s2": _level(c.before_m_s2),
                "after_m_s2": _level(c.after_m_s2),
                "change_db": _fixed(c.change_db, 2),
                "low_db": _fixed(c.low_db, 2),
                "high_db": _fixed(c.high_db, 2),
            }
            for c in repair.changes
        ],
        "recordings": [
            analysis_object(before, file=first, engine=engine),
            analysis_object(after, file=second, engine=engine),
        ],
    }


def repair_object(repair: Repair) -> dict[str, Any]:
    """The proof of a repair; changes in dB, null where nothing could be compared."""
    return {
        "verdict": repair.verdict,
        "change_db": _fixed(repair.change_db, 2),
        "low_db": _fixed(repair.low_db, 2),
        "high_db": _fixed(repair.high_db, 2),
        "why": repair.why,
        "notes": list(repair.notes),
    }


def error_object(error: str, **names: str) -> dict[str, Any]:
    """The answer for an input that has none: `error_object("...", file="a.csv")`."""
    return {**names, "ok": False, "error": error}


def all_warnings(analysis: Analysis) -> list[Warn]:
    """Every warning about a recording once, in the order the steps gave them."""
    note = analysis.overall.cut_off_note
    own = [Warn(WEIGHTING_CUT_OFF, note)] if note else []
    steps: Iterable[Warn] = (
        *analysis.recording.warnings,
        *analysis.signal.warnings,
        *analysis.warnings,
        *own,
    )
    return list(dict.fromkeys(steps))


def _speed(speed: SpeedTrack | None) -> dict[str, Any] | None:
    if speed is None or not math.isfinite(speed.mean_rpm):
        return None
    return {
        "mean_rpm": _fixed(speed.mean_rpm, 2),
        "low_rpm": _fixed(speed.low_rpm, 2),
        "high_rpm": _fixed(speed.high_rpm, 2),
        "steadiness_rpm": _fixed(speed.steadiness_rpm, 2),
        "confidence": _fixed(speed.confidence, 4),
        "found_by": speed.found_by,
        "track": _track(speed),
    }


def _track(speed: SpeedTrack) -> list[list[float | None]]:
    """[time, rpm] pairs, every TRACK_STEP_S or a little closer, ends included."""
    known = np.isfinite(speed.t_s) & np.isfinite(speed.rpm)
    t_s, rpm = speed.t_s[known], speed.rpm[known]
    if t_s.size > 1:
        grid = np.linspace(t_s[0], t_s[-1], math.ceil((t_s[-1] - t_s[0]) / TRACK_STEP_S) + 1)
        t_s, rpm = grid, np.interp(grid, t_s, rpm)
    return [[_fixed(t, 3), _fixed(r, 2)] for t, r in zip(t_s.tolist(), rpm.tolist(), strict=True)]


def _orders(analysis: Analysis, engine: Engine | None) -> list[dict[str, Any]]:
    if analysis.orders is not None:
        return [_order(level) for level in analysis.orders.levels]
    if engine is None:
        return []
    why = "The engine speed is not known, so no order can be found."
    return [_unseen(order, why) for order in engine.orders]


def _order(level: OrderLevel) -> dict[str, Any]:
    return {
        "order": level.order,
        "frequency_hz": _fixed(level.frequency_hz, 4),
        "rms_m_s2": _level(level.rms_m_s2),
        "low_m_s2": _level(level.low_m_s2),
        "high_m_s2": _level(level.high_m_s2),
        "above_floor_db": _fixed(level.above_floor_db, 2),
        "coherence": _fixed(level.coherence, 3),
        "visible": bool(level.visible),
        "why_not": level.why_not,
    }


def _unseen(order: float, why: str) -> dict[str, Any]:
    measured = ("frequency_hz", "rms_m_s2", "low_m_s2", "high_m_s2", "above_floor_db", "coherence")
    return {"order": order, **dict.fromkeys(measured), "visible": False, "why_not": why}


def _line(line: Line) -> dict[str, Any]:
    return {
        "frequency_hz": _fixed(line.frequency_hz, 3),
        "order": _fixed(line.order, 3),
        "rms_m_s2": _level(line.rms_m_s2),
        "above_floor_db": _fixed(line.above_floor_db, 2),
    }


def _cause(cause: RankedCause) -> dict[str, Any]:
    evidence = [
        {"says": e.says, "weight_db": _fixed(e.weight_db, 2), "text": evidence_text(e)}
        for e in cause.evidence
    ]
    return {
        "id": cause.id,
        "name": cause.name,
        "probability": _fixed(cause.probability, 6),
        "evidence": evidence,
    }


def evidence_text(item: Evidence) -> str:
    """The finding with the files that it was read in, which its sentence calls by how they were made."""
    return f"{item.text} [{', '.join(item.seen_in)}]" if item.seen_in else item.text


def _check(check: PlannedCheck) -> dict[str, Any]:
    return {
        "id": check.id,
        "name": check.name,
        "minutes": _fixed(check.minutes, 1),
        "gain_bits": _fixed(check.gain_bits, 4),
        "cautions": list(check.cautions),
    }


def _fixed(value: float | None, places: int) -> float | None:
    """Rounded to so many places; None if there is no finite value."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), places) + 0.0  # + 0.0 turns -0.0 into 0.0


def _level(value: float | None) -> float | None:
    """Rounded to LEVEL_DIGITS significant digits; None if there is no finite value."""
    rounded = math.nan if value is None else float(f"{float(value):.{LEVEL_DIGITS}g}")
    return rounded if math.isfinite(rounded) else None  # the largest double rounds up to infinity

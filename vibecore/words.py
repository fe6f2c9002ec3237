"""Records -> short plain sentences for the person with the spanner; numbers are only rounded here."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from math import ceil, floor
from textwrap import wrap

from vibecore.beats import Beat
from vibecore.contract import all_warnings
from vibecore.engine import Vehicle
from vibecore.model import (
    Analysis,
    Condition,
    Diagnosis,
    Evidence,
    Line,
    OrderLevel,
    Overall,
    PlannedCheck,
    RankedCause,
    Repair,
    SpeedTrack,
    Warn,
)
from vibecore.units import percent

WIDTH = 100  # characters: reads well in a terminal and in a report
UNSHOWN_PROBABILITY = 0.01  # causes below one in a hundred are counted, not listed
MOST_CHECKS = 3  # to choose from; more are in the JSON
MOST_EVIDENCE = 2  # of a cause that is not the first: enough to see why it is not
UNITS = re.compile(r" (?=(?:%|dB|m/s2|rpm|Hz|ms|s|min|bits)\b|%)")  # a number and its unit stay on one line
SHOWN_FROM_M_S2 = 5e-5  # less than the table's last decimal
VERDICTS = {
    "cured": "Cured",
    "improved": "Better, not yet right",
    "unchanged": "No change",
    "worse": "Worse",
    "cannot-tell": "Cannot tell",
}
COMPARED = {"lines": "The fault's own shake is", "whole shake": "The whole shake is"}
SAYS = {"for": "+", "against": "-", "note": "."}
SPEAKS = {"for": "Speaks for it", "against": "Speaks against it", "note": "Note"}
FELT_BY = {"ISO 5349-1 Wh": "as a hand feels it", "ISO 2631-1 Wk": "as a seated person feels it"}


def order_name(order: float) -> str:
    return f"engine order {order:g}"


def decibels(change_db: float) -> str:
    """A change of level as a mechanic would say it, with the decibels behind."""
    factor = 10 ** (abs(change_db) / 20)
    if factor < 1.1:
        return f"about the same ({change_db:+.1f} dB)"
    return f"{factor:.1f} times {'as strong' if change_db > 0 else 'weaker'} ({change_db:+.1f} dB)"


def condition_words(condition: Condition) -> str:
    """How a recording was made, as far as it was said."""
    hold = {
        None: "",
        "idle": "idle",
        "raised": "raised idle",
        "sweep": "speed swept",
        "engine off": "engine off",
    }
    parts = [
        "after the repair" if condition.stage == "after" else "",
        f"in {condition.gear}" if condition.gear else "",
        hold[condition.speed_hold],
        f"phone on the {condition.place}" if condition.place else "",
        f"with {' and '.join(condition.accessories)}" if condition.accessories else "",
        "taped on anew" if condition.taped_anew else "",
        f"tachometer {condition.tachometer_rpm:.0f} rpm" if condition.tachometer_rpm else "",
    ]
    return ", ".join(part for part in parts if part)


def vehicle_words(vehicle: Vehicle) -> str:
    """Engine and gearbox in a line."""
    engine = vehicle.engine
    parts = (
        f"{engine.cylinders} cylinder{'s' if engine.cylinders > 1 else ''}",
        engine.arrangement or "",
        "two-stroke" if engine.strokes == 2 else "",
        f"{vehicle.transmission} gearbox" if vehicle.transmission else "",
    )
    return ", ".join(filter(None, parts))


def speed_words(speed: SpeedTrack | None) -> str:
    """The engine speed in one sentence, with how sure it is and what else it might be."""
    if speed is None:
        return "Engine speed: cannot be told from this recording."
    text = (
        f"Engine speed: {speed.mean_rpm:.0f} rpm ({floor(speed.low_rpm)} to {ceil(speed.high_rpm)}), "
        f"{percent(speed.confidence)} sure, wandering by {speed.steadiness_rpm:.0f} rpm, "
        f"from {speed.found_by}."
    )
    other = speed.runner_up
    if other is not None and other.probability >= UNSHOWN_PROBABILITY:
        text += (
            f" Next most likely: {other.mean_rpm:.0f} rpm, {other.relation} ({percent(other.probability)})."
        )
    return text


def speed_in_short(speed: SpeedTrack | None) -> str:
    """The engine speed and how sure it is, no more."""
    if speed is None:
        return speed_words(None)
    return f"Engine speed: {speed.mean_rpm:.0f} rpm, {percent(speed.confidence)} sure."


def recording_words(analysis: Analysis) -> str:
    rec = analysis.recording
    lost = {0: "none lost", 1: "1 sample lost"}.get(rec.lost_samples, f"{rec.lost_samples} samples lost")
    start, end = analysis.signal.used_span_s
    return (
        f"Recording: {rec.duration_s:.1f} s, {rec.sample_rate_hz:.1f} samples a second, {rec.rows} rows, "
        f"{lost}. Used: {start:.1f} s to {end:.1f} s."
    )


def overall_words(overall: Overall) -> str:
    text = f"Shake in all: {_size(overall.rms_m_s2)}"
    if overall.weighted_rms_m_s2 is not None and overall.weighting:
        felt = FELT_BY.get(overall.weighting, "weighted")
        text += f"; {_size(overall.weighted_rms_m_s2)} {felt} ({overall.weighting})"
    return text + "."


def beat_words(beat: Beat | None) -> str:
    """Why the shake comes and goes; empty if nothing beats."""
    if beat is None:
        return ""
    low, high = (
        f"{hz:.1f} Hz" + (f" ({order_name(order)})" if order is not None else "")
        for hz, order in ((beat.low_hz, beat.low_order), (beat.high_hz, beat.high_order))
    )
    every = f"every {beat.period_s:.1f} s"
    return f"The shake comes and goes {every}: two lines lie close together, {low} and {high}."


def order_rows(levels: Sequence[OrderLevel]) -> list[str]:
    """The table of orders, a row each; what cannot be seen says why."""
    rows = ["order      Hz     m/s2   over floor   steadiness"]
    return rows + [_order_row(level) for level in levels]


def line_words(line: Line) -> str:
    keeps = {"engine": ", follows the engine", "clock": ", keeps its own speed", "unknown": ""}
    place = "" if line.order is None else f" ({line.order:.2f} times engine speed)"
    return (
        f"{line.frequency_hz:.2f} Hz{place}: {_size(line.rms_m_s2)}, "
        f"{line.above_floor_db:.0f} dB over the floor{keeps[line.drifts_with]}"
    )


def analysis_text(analysis: Analysis, title: str) -> str:
    """One recording for a terminal."""
    how = condition_words(analysis.condition)
    lines = [title + (f" ({how})" if how else "")]
    lines += _wrapped([recording_words(analysis)])
    lines += _mind(all_warnings(analysis))
    lines += _wrapped([speed_words(analysis.speed), overall_words(analysis.overall)])
    if analysis.orders is not None:
        lines += ["  " + row for row in order_rows(analysis.orders.levels)]
        others: Sequence[Line] = analysis.orders.other_lines
    else:
        others = analysis.lines
    if others:
        lines += ["  Lines on no engine order:" if analysis.orders else "  Lines:"]
        lines += ["    " + line_words(line) for line in others]
    return "\n".join(lines)


def cause_lines(cause: RankedCause, most_evidence: int | None = None) -> list[str]:
    """A cause with its evidence, the weightiest first."""
    lines = [f"{percent(cause.probability):>9}  {cause.name}"]
    for item in sorted(cause.evidence, key=lambda e: -abs(e.weight_db))[:most_evidence]:
        lines += _wrapped([_evidence_words(item)], lead=" " * 11, hang="  ")
    if most_evidence is None and len(cause.suspects) > 1:
        names = ", ".join(f"{s.name} ({percent(s.probability)})" for s in cause.suspects)
        lines += _wrapped([f"Inside that: {names}."], lead=" " * 11)
    return lines


def check_lines(check: PlannedCheck) -> list[str]:
    """A check with its cautions, which are never left out."""
    lines = [f"  {check.name} (about {check.minutes:.0f} min, tells {check.gain_bits:.2f} bits)"]
    lines += _wrapped([check.why] if check.why else [], lead="    ")
    return lines + _wrapped([f"Caution: {c}" for c in check.cautions], lead="    ", hang="  ")


def repair_sentences(repair: Repair) -> tuple[str, ...]:
    """How much the fault's own lines changed, why the verdict, and what to mind; the verdict itself apart."""
    change = ""
    if repair.change_db is not None:
        change = f"{COMPARED[repair.compared]} {decibels(repair.change_db)}"
        if f"{repair.change_db:+.1f} dB" in repair.why:
            change = change.split(" (")[0]  # the reason has the number, with its interval
        elif repair.low_db is not None and repair.high_db is not None:
            change += f", 95 % interval {repair.low_db:+.1f} to {repair.high_db:+.1f} dB"
        change += "."
    return tuple(filter(None, (change, repair.why, *repair.notes)))


def repair_lines(repair: Repair) -> list[str]:
    """The verdict, why, and the orders that surely changed."""
    first, *others = repair_sentences(repair) or ("",)
    lines = wrap_all([f"Repair: {VERDICTS[repair.verdict]}. {first}"]) + _wrapped(others)
    return lines + [
        f"  {order_name(c.order)}: {_size(c.before_m_s2)} before, {_size(c.after_m_s2)} after, "
        f"{c.change_db:+.1f} dB ({c.low_db:+.1f} to {c.high_db:+.1f})"
        for c in repair.changes
        if not c.low_db <= 0 <= c.high_db
    ]


def diagnosis_text(diagnosis: Diagnosis, title: str, unread: Iterable[str] = ()) -> str:
    """A whole job for a terminal: quality, causes with evidence, next checks with cautions, the repair."""
    lines = [title, ""]
    for analysis in diagnosis.analyses:
        how = condition_words(analysis.condition)
        lines += wrap_all([analysis.name + (f" ({how})" if how else "")])
        lines += _wrapped([speed_words(analysis.speed), overall_words(analysis.overall)])
        lines += _mind(w for w in all_warnings(analysis) if w.message != analysis.overall.cut_off_note)
    lines += wrap_all(f"Left out: {reason}" for reason in unread)
    listed = [c for c in diagnosis.causes if c.probability >= UNSHOWN_PROBABILITY]
    lines += ["", "Causes, the most likely first (+ speaks for, - against):"]
    for number, cause in enumerate(listed):
        lines += cause_lines(cause, MOST_EVIDENCE if number else None)
    if len(listed) < len(diagnosis.causes):
        lines += [f"{'under 1 %':>9}  each of {len(diagnosis.causes) - len(listed)} others"]
    if diagnosis.next_checks:
        lines += ["", "Look at next:"]
        for check in diagnosis.next_checks[:MOST_CHECKS]:
            lines += check_lines(check)
    if diagnosis.repair is not None:
        lines += ["", *repair_lines(diagnosis.repair)]
    return "\n".join(lines + wrap_all(diagnosis.notes))


def comparison_text(before: Analysis, after: Analysis, repair: Repair, titles: tuple[str, str]) -> str:
    """Two recordings side by side for a terminal."""
    lines = []
    for name, analysis, title in zip(("Before", "After"), (before, after), titles, strict=True):
        lines += [f"{name}: {title}"]
        lines += _wrapped([speed_words(analysis.speed), overall_words(analysis.overall)])
        lines += _mind(all_warnings(analysis))
    return "\n".join([*lines, "", *repair_lines(repair)])


def wrap_all(texts: Iterable[str]) -> list[str]:
    return _wrapped(texts, lead="")


def _mind(warnings: Iterable[Warn]) -> list[str]:
    return _wrapped((f"Mind: {w.message}" for w in warnings), hang="      ")


def _wrapped(texts: Iterable[str], *, lead: str = "  ", hang: str = "") -> list[str]:
    tie = "\N{NO-BREAK SPACE}"
    lines: list[str] = []
    for text in texts:
        lines += wrap(
            UNITS.sub(tie, text),
            WIDTH,
            initial_indent=lead,
            subsequent_indent=lead + hang,
            break_on_hyphens=False,
        )
    return [line.replace(tie, " ") for line in lines]


def _evidence_words(item: Evidence) -> str:
    weight = "" if item.says == "note" else f" ({abs(item.weight_db):.1f} dB)"
    where = f" [{', '.join(item.seen_in)}]" if item.seen_in else ""
    return f"{SAYS[item.says]} {item.text}{weight}{where}"


def _order_row(level: OrderLevel) -> str:
    head = f"{level.order:5g}  {level.frequency_hz:6.2f}"
    if not level.visible or level.rms_m_s2 is None:
        return f"{head}  not seen: {level.why_not or 'reason not known'}"
    if level.rms_m_s2 < SHOWN_FROM_M_S2:
        return f"{head}     none"
    floor = "      -   " if level.above_floor_db is None else f"{level.above_floor_db:7.1f} dB"
    steady = "" if level.coherence is None else f"{level.coherence:11.2f}"
    return f"{head}  {level.rms_m_s2:7.4f}  {floor}{steady}"


def _size(value_m_s2: float) -> str:
    return f"{value_m_s2:.3g} m/s2"

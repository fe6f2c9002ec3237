"""One car through the program, file bytes in, rows of results beside the truth out."""

from __future__ import annotations

import time
import traceback
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.benchmarks.following import WAYS, dice, drawn_suspect, follow
from tests.benchmarks.peer import comb_bound_hz, notebook_rpm, phone_noise, tone_bound_hz
from tests.benchmarks.rows import (
    WRONG,
    BudgetRow,
    CauseRow,
    OrderRow,
    Outcome,
    RepairRow,
    SpeedRow,
    relative_error,
)
from tests.benchmarks.subjects import Heard, Subject, simulated, with_reading
from tests.benchmarks.truth import KeptTruth, filter_loss_db, true_change_db
from vibecore.engine import Vehicle
from vibecore.evidence import gather
from vibecore.model import (
    Analysis,
    CheckOutcome,
    Condition,
    Diagnosis,
    RankedCause,
    Repair,
    SpeedTrack,
    Symptoms,
    Warn,
)
from vibecore.pipeline import analyze, diagnose_analysed, leaning
from vibecore.reading import read_recording
from vibecore.repair import DEFAULT_PLACING_DB, fault_lines, repair_by_suspects
from vibecore.speed import find_speed

MODES = ("with tachometer", "without, hold known", "nothing said")  # one recording alone
IN_ITS_JOB = "in its job, as the case says"  # the car's other recordings may help
LEAST_LINE_M_S2 = 0.03  # order levels are promised above this
HIGHEST_SHARE = 0.4  # and below this share of the sample rate
SHOWN_EVIDENCE = 4  # findings told of a case that failed


@dataclass(frozen=True)
class _Job:
    vehicle: Vehicle
    symptoms: Symptoms
    checks: tuple[CheckOutcome, ...]


def try_seed(task: tuple[int, bool | None, bool]) -> Outcome:
    """Simulate the car of a testing seed and score it. task: seed, with_repair, whether speeds are wanted in
    every mode."""
    seed, with_repair, all_modes = task
    return try_subject(simulated(seed, with_repair=with_repair), all_modes=all_modes)


def try_subject(subject: Subject, *, all_modes: bool = True) -> Outcome:
    """Every recording of the car read and analysed, the job diagnosed, all beside the truth."""
    started, errors, pairs = time.perf_counter(), [], []
    for heard in subject.heard:
        try:
            recording = read_recording(heard.data, name=heard.name)
            analysis = analyze(recording, subject.vehicle.engine, heard.condition)
        except Exception as error:  # a crash is a result to be counted
            errors.append(f"car {subject.key} {heard.name}: {_last_line(error)}")
            continue
        pairs.append((heard, analysis))
    speeds = [r for h, a in pairs for r in _speed_rows(subject, h, a, MODES if all_modes else ())]
    causes, repairs = [], []
    try:
        job = _Job(subject.vehicle, subject.symptoms, subject.checks)
        diagnosis = diagnose_analysed(job, [a for _, a in pairs])
        pairs = [(h, a) for (h, _), a in zip(pairs, diagnosis.analyses, strict=True)]
        causes = [_cause_row(subject, pairs, diagnosis)]
        if subject.verdict is not None and diagnosis.repair is not None:
            repairs = [
                _repair_row(subject, pairs, diagnosis.causes, diagnosis.repair),
                *_with_cause_given(subject, pairs, diagnosis),
            ]
    except Exception as error:
        errors.append(f"car {subject.key} diagnosis: {_last_line(error)}")
    speeds += [r for h, a in pairs for r in _speed_rows(subject, h, a, (IN_ITS_JOB,))]
    orders = [row for heard, analysis in pairs for row in _order_rows(subject, heard, analysis)]
    budgets = [_budget(a) for _, a in pairs if a.orders is not None and a.orders.total_ms > 0]
    return Outcome(
        tuple(speeds), tuple(orders), tuple(budgets), tuple(causes), tuple(repairs), tuple(errors),
        time.perf_counter() - started,
    )  # fmt: skip


def _last_line(error: Exception) -> str:
    frame = traceback.extract_tb(error.__traceback__)[-1]
    return f"{type(error).__name__}: {error} ({Path(frame.filename).name} line {frame.lineno})"


# ---------------------------------------------------------------- speed


def _speed_rows(subject: Subject, heard: Heard, analysis: Analysis, modes: Sequence[str]) -> list[SpeedRow]:
    engine, signal = subject.vehicle.engine, analysis.signal
    truth = heard.truth.mean_rpm(signal.used_span_s)
    said = with_reading(heard, truth, subject.seed)
    conditions = dict(zip(MODES, (said, replace(said, tachometer_rpm=None), Condition()), strict=True))
    conditions[IN_ITS_JOB] = heard.condition
    tone, comb = _bounds(heard, analysis, truth)
    kept = heard.truth if isinstance(heard.truth, KeptTruth) else None
    seen = kept.seen_orders(signal.used_span_s, signal.fs_hz) if kept else None
    rows = []
    for mode in modes:
        condition = conditions[mode]
        track, warnings = analysis.speed, analysis.warnings
        if condition != heard.condition:
            answer = find_speed(signal, engine, condition)
            track, warnings = answer.track, answer.warnings
        peer = notebook_rpm(analysis.recording, engine.firing_order, condition.tachometer_rpm)
        rows.append(
            SpeedRow(
                subject.key, heard.name, mode, subject.cause, subject.road, engine.cylinders,
                analysis.recording.sample_rate_hz, heard.condition.speed_hold, truth,
                *_answer(track), _why(track, warnings), peer, tone, comb, seen,
            )
        )  # fmt: skip
    return rows


def _answer(track: SpeedTrack | None) -> tuple[float | None, float | None, float | None, float | None]:
    if track is None:
        return None, None, None, None
    return track.mean_rpm, track.low_rpm, track.high_rpm, track.confidence


def _why(track: SpeedTrack | None, warnings: Sequence[Warn]) -> str:
    if track is None:
        return "; ".join(w.message for w in warnings if "speed" in w.message or w.code == "no-lines")
    runner = track.runner_up
    return f"runner-up {runner.mean_rpm:.0f} rpm ({100 * runner.probability:.0f} %)" if runner else ""


def _bounds(heard: Heard, analysis: Analysis, rpm: float | None) -> tuple[float | None, float | None]:
    """Least standard deviation as a share of the speed: from the best order that can be seen, from all."""
    truth = heard.truth
    if rpm is None or not isinstance(truth, KeptTruth):
        return None, None
    span, fs_hz = analysis.signal.used_span_s, analysis.recording.sample_rate_hz
    levels = truth.levels(span, truth.engine.orders)
    seen = {o: 2**0.5 * v for o, v in levels.items() if o * rpm / 60 < fs_hz / 2 and v > 0}
    if not seen:
        return None, None
    samples = round((span[1] - span[0]) * fs_hz)
    noise = phone_noise(truth.phone.noise_m_s2_rthz, truth.phone.step_m_s2, fs_hz)
    best = max(seen, key=lambda o: o * seen[o])
    tone = tone_bound_hz(fs_hz, samples, seen[best], noise) / best
    return tone / (rpm / 60), comb_bound_hz(fs_hz, samples, seen, noise) / (rpm / 60)


# ---------------------------------------------------------------- orders


def _order_rows(subject: Subject, heard: Heard, analysis: Analysis) -> list[OrderRow]:
    """Levels of a recording whose speed is right; a wrong speed is counted there, not here."""
    span, table, track = analysis.signal.used_span_s, analysis.orders, analysis.speed
    truth_rpm = heard.truth.mean_rpm(span)
    if table is None or track is None or truth_rpm is None:
        return []
    if abs(track.mean_rpm / truth_rpm - 1) > WRONG:
        return []
    orders = [level.order for level in table.levels]
    true, skirts = heard.truth.levels(span, orders), heard.truth.skirts(span, orders)
    phone = heard.truth.phone if isinstance(heard.truth, KeptTruth) else None
    rows = []
    for level in table.levels:
        frequency_hz = level.order * truth_rpm / 60
        share = frequency_hz / analysis.recording.sample_rate_hz
        value, skirt = true.get(level.order), skirts.get(level.order)
        if value is None or value <= LEAST_LINE_M_S2 or share >= HIGHEST_SHARE:
            continue
        rows.append(
            OrderRow(
                subject.key, heard.name, subject.cause, analysis.recording.sample_rate_hz, level.order, share,
                value, skirt, level.rms_m_s2, level.low_m_s2, level.high_m_s2,
                filter_loss_db(phone, frequency_hz) if phone else 0.0, level.why_not,
            )
        )  # fmt: skip
    return rows


def _budget(analysis: Analysis) -> BudgetRow:
    table = analysis.orders
    assert table is not None
    total = table.orders_ms + table.other_ms + table.rest_ms
    return BudgetRow(total / table.total_ms - 1, table.rest_ms / table.total_ms)


# ---------------------------------------------------------------- causes and repair


def _cause_row(subject: Subject, pairs: Sequence[tuple[Heard, Analysis]], diagnosis: Diagnosis) -> CauseRow:
    ranked = diagnosis.causes
    told = {c.id: [_words(e.weight_db, e.text) for e in c.evidence[:SHOWN_EVIDENCE]] for c in ranked}
    counts = {"right": 0, "wrong": 0, "null": 0}
    for heard, analysis in pairs:
        truth = heard.truth.mean_rpm(analysis.signal.used_span_s)
        if truth is not None:
            error = relative_error(analysis.speed.mean_rpm if analysis.speed else None, truth)
            counts["null" if error is None else "wrong" if error > WRONG else "right"] += 1
    kept = {subject.cause, subject.second_cause, *(c.id for c in ranked[:2])}
    return CauseRow(
        subject.key, subject.cause, subject.detail, subject.second_cause, subject.vehicle.engine.cylinders,
        min((h.rate_hz for h, _ in pairs), default=0.0), {c.id: c.probability for c in ranked},
        any(h.condition.tachometer_rpm for h, _ in pairs), _walks(subject, diagnosis),
        ", ".join(f"{n} {k}" for k, n in counts.items() if n), tuple(h.name for h, _ in pairs),
        {cause: words for cause, words in told.items() if cause in kept},
    )  # fmt: skip


def _walks(subject: Subject, diagnosis: Diagnosis) -> dict[str, tuple[float, bool]]:
    """From this evidence on to the suspect that is the matter, by the proposed checks and by a fixed list."""
    rng = np.random.default_rng([subject.seed, 17])
    truth = drawn_suspect(subject.cause, rng)
    if truth is None:
        return {}
    thrown, evidence = dice(rng), gather(leaning(subject.vehicle, diagnosis.analyses), subject.vehicle)
    walks = {way: follow(truth, way, thrown, evidence, subject.symptoms, subject.vehicle) for way in WAYS}
    return {way: (walk.minutes, walk.found) for way, walk in walks.items()}


def _words(weight_db: float, text: str) -> str:
    return f"{weight_db:+.1f} dB {text}"


def _with_cause_given(
    subject: Subject, pairs: Sequence[tuple[Heard, Analysis]], diagnosis: Diagnosis
) -> list[RepairRow]:
    """The proof where the checks had found the cause before it was mended."""
    found = [replace(c, probability=1.0) for c in diagnosis.causes if c.id == subject.cause]
    likely = leaning(subject.vehicle, diagnosis.analyses)
    repair = repair_by_suspects(diagnosis.analyses, subject.vehicle.engine, found, likely=likely)
    return [] if repair is None else [replace(_repair_row(subject, pairs, found, repair), cause_given=True)]


def _repair_row(
    subject: Subject, pairs: Sequence[tuple[Heard, Analysis]], ranked: Sequence[RankedCause], repair: Repair
) -> RepairRow:
    first = ranked[0].id
    assert subject.verdict is not None
    suspected = None if first == "normal" else first
    true_db, of_fault_db, words = _true_changes(subject, pairs, repair)
    truth = by_contract(subject.verdict, of_fault_db, true_db)
    return RepairRow(
        subject.key, subject.cause, subject.second_cause, suspected, truth, repair.verdict,
        repair.change_db, repair.low_db, repair.high_db, true_db, of_fault_db, words, repair.why,
    )  # fmt: skip


def by_contract(mended: str, of_fault_db: float | None, of_compared_db: float | None) -> str:
    """What was done to the car, unless neither the fault's own lines nor those that were compared moved by
    more than taping on anew moves them: that is `unchanged` by the contract's words, whatever was done."""
    if of_fault_db is None or max(abs(of_fault_db), abs(of_compared_db or 0.0)) >= DEFAULT_PLACING_DB:
        return mended
    return "unchanged"


def _true_changes(
    subject: Subject, pairs: Sequence[tuple[Heard, Analysis]], repair: Repair
) -> tuple[float | None, float | None, str]:
    """True change (dB) of the lines that were compared and of those of the true cause, and the lines in
    words."""
    afters = [p for p in pairs if p[0].condition.stage == "after"]
    befores = [p for p in pairs if p[1].name == repair.before and p[0].condition.stage == "before"]
    lines = repair.lines
    if len(afters) != 1 or not befores or lines is None or repair.change_db is None:
        return None, None, ""
    (heard, after), (was_heard, before) = afters[0], befores[0]
    if not (isinstance(was_heard.truth, KeptTruth) and isinstance(heard.truth, KeptTruth)):
        return None, None, ""
    spans = (before.signal.used_span_s, after.signal.used_span_s)
    own = fault_lines(None if subject.cause == "normal" else subject.cause, before, subject.vehicle.engine)
    true = [true_change_db(was_heard.truth, heard.truth, spans, each) for each in (lines, own)]
    words = [f"order {o:.3g}" for o in lines.orders] + [f"{h:.1f} Hz" for h in lines.hz]
    words += ["between orders"] if lines.between is not None else []
    words += ["{:.0f} to {:.0f} Hz".format(*lines.band_hz)] if lines.band_hz is not None else []
    return true[0], true[1], ", ".join(words)

"""The one place where the order of the steps is written. Pure: records in, records out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple, Protocol

from vibecore import comfort, copies, drives, firing
from vibecore.conditioning import condition as make_ready
from vibecore.engine import Engine, Vehicle
from vibecore.model import (
    Analysis,
    CheckOutcome,
    Condition,
    Diagnosis,
    OrderTable,
    Recording,
    Signal,
    SpeedTrack,
    Symptoms,
    Warn,
)
from vibecore.orders import TOO_BROKEN, lines_in_hertz, measure_orders
from vibecore.speed import SpeedAnswer, find_speed, standing
from vibecore.speed import job as job_speeds
from vibecore.speed.guesses import SAME_SPEED, USUAL_ENGINES

if TYPE_CHECKING:
    from vibecore.evidence.records import CauseEvidence

LARGEST_USUAL = Engine(max(USUAL_ENGINES))
LEAST_LEANING = 0.3  # a guess less sure than this says next to nothing
SETTLED = 0.98  # a speed this sure is not looked at again

BROKEN = Warn(
    "too-broken",
    f"The engine's orders cannot be measured: {TOO_BROKEN}. Close other apps, keep the screen on and record "
    "half a minute again.",
)

Say = Callable[[str], object]  # told what is done next; may raise to stop it


class CaseHistory(Protocol):
    """What a diagnosis needs to know of a job besides its recordings; a case file gives it."""

    @property
    def vehicle(self) -> Vehicle: ...
    @property
    def symptoms(self) -> Symptoms: ...
    @property
    def checks(self) -> tuple[CheckOutcome, ...]: ...


def analyze(
    recording: Recording,
    engine: Engine | None,
    condition: Condition,
    say: Say = lambda _: None,
) -> Analysis:
    """Everything that can be read from one recording. say: is told each step.

    engine None: the cylinders are not known; the speed is then looked for among usual engines, and the
    orders listed are those of the largest of them.
    """
    say("gravity out, knocks out")
    signal = make_ready(recording)
    condition = replace(condition, driven=condition.driven or drives.is_drive(condition, signal))
    say("all that vibrates")
    lines, spectrum = lines_in_hertz(signal)
    overall = comfort.overall(signal, condition.place)
    heard = Analysis(
        recording=recording,
        signal=signal,
        speed=None,
        orders=None,
        lines=lines,
        spectrum_hz=spectrum,
        overall=overall,
        condition=condition,
    )
    say("the engine's speed")
    answer = find_speed(signal, engine, condition)
    say("the engine's orders")
    return _with_speed(heard, engine, answer)


def _with_speed(analysis: Analysis, engine: Engine | None, answer: SpeedAnswer) -> Analysis:
    """The analysis with all that hangs on the engine's speed."""
    orders = _orders_at(answer.track, analysis, engine)
    broken = (BROKEN,) if orders is not None and not len(orders.spectrum.x) else ()
    warnings = (*analysis.recording.warnings, *analysis.signal.warnings, *answer.warnings, *broken)
    warnings += firing.doubts(orders, engine, analysis.condition) + _hold_doubts(analysis.condition)
    warnings += drives.told(analysis.condition)
    return replace(
        analysis,
        speed=answer.track,
        orders=orders,
        warnings=tuple(dict.fromkeys(warnings)),
        candidates=answer.candidates,
        leaning=answer.leaning,
    )


def _hold_doubts(condition: Condition) -> tuple[Warn, ...]:
    if not condition.contradicted:
        return ()
    text = (
        f"The engine is said to be off, but the tachometer showed {condition.tachometer_rpm:.0f} rpm: "
        "correct whichever is wrong. Until then this recording speaks for no cause."
    )
    return (Warn("hold-doubtful", text),)


def _orders_at(track: SpeedTrack | None, analysis: Analysis, engine: Engine | None) -> OrderTable | None:
    if track is None:
        return None
    heard = analysis.lines, analysis.spectrum_hz
    return measure_orders(analysis.signal, track, engine or LARGEST_USUAL, heard)


def settle(vehicle: Vehicle, analyses: Sequence[Analysis]) -> tuple[Analysis, ...]:
    """The recordings of one car again: where one alone cannot tell its speed for sure, the others and the
    maker's plate help, for an engine idles alike from one recording to the next. Where the others show a line
    to be none of the engine's, the speed must be found without it."""
    engine = vehicle.engine
    heard = [_without_standing(engine, analyses, i) for i in range(len(analyses))]
    hints = job_speeds.hints(
        [(h.analysis.condition, h.analysis.candidates) for h in heard], vehicle.idle_spec_rpm
    )
    return tuple(
        h.analysis
        if hint is None or _settled(h.analysis)
        else _with_speed(h.analysis, engine, h.told(find_speed(h.signal, engine, h.analysis.condition, hint)))
        for h, hint in zip(heard, hints, strict=True)
    )


class _Heard(NamedTuple):
    """A recording as far as it tells its speed alone, the signal that its speed is sought in, and the lines
    that this lacks."""

    analysis: Analysis
    signal: Signal
    without_hz: tuple[float, ...] = ()

    def told(self, answer: SpeedAnswer) -> SpeedAnswer:
        if not self.without_hz:
            return answer
        return replace(answer, warnings=(*answer.warnings, standing.told(self.without_hz)))


def _without_standing(engine: Engine, analyses: Sequence[Analysis], i: int) -> _Heard:
    """One of the recordings, its speed found without the lines that the others show to be none of the
    engine's; as it is, if that makes no difference."""
    mine, others = analyses[i], [*analyses[:i], *analyses[i + 1 :]]
    lines_hz = standing.standing_hz(_read(mine), [_read(a) for a in others if not a.condition.contradicted])
    if not lines_hz:
        return _Heard(mine, mine.signal)
    heard = _Heard(mine, standing.without(mine.signal, lines_hz), lines_hz)
    answer = find_speed(heard.signal, engine, mine.condition)
    if answer.track and mine.speed and _same(answer.track, mine.speed):
        return _Heard(mine, mine.signal)
    return heard._replace(analysis=_with_speed(mine, engine, heard.told(answer)))


def _read(analysis: Analysis) -> standing.Read:
    speed = analysis.speed
    return standing.Read(analysis.condition, analysis.lines, None if speed is None else speed.turns_hz)


def _same(one: SpeedTrack, other: SpeedTrack) -> bool:
    return abs(one.mean_rpm / other.mean_rpm - 1) < SAME_SPEED


def _settled(analysis: Analysis) -> bool:
    speed = analysis.speed
    off = analysis.condition.speed_hold == "engine off"
    return off or (speed is not None and speed.confidence > SETTLED)


def leaning(vehicle: Vehicle, analyses: Sequence[Analysis]) -> tuple[Analysis, ...]:
    """The recordings as evidence: where no speed is sure enough to be stated the likeliest is taken, and what
    is read with it counts as far as it is sure."""
    return tuple(
        a
        if a.speed is not None or a.leaning is None or a.leaning.confidence < LEAST_LEANING
        else replace(a, speed=a.leaning, orders=_orders_at(a.leaning, a, vehicle.engine))
        for a in analyses
    )


def diagnose(job: CaseHistory, recordings: Sequence[tuple[Recording, Condition]]) -> Diagnosis:
    """Ranked causes, next checks and proof of repair from all recordings of a job together."""
    engine = job.vehicle.engine
    return diagnose_analysed(
        job, [analyze(recording, engine, condition) for recording, condition in recordings]
    )


def diagnose_analysed(job: CaseHistory, analyses: Sequence[Analysis]) -> Diagnosis:
    """The same from recordings analysed already: all there is to do when only a check's outcome is new."""
    # Knowledge files are only loaded where causes are asked for: reading one recording starts the sooner.
    from vibecore.causes.planning import plan
    from vibecore.causes.ranking import rank, unused
    from vibecore.evidence import gather, gather_mended
    from vibecore.repair import repair_by_suspects

    repeats = copies.copies([a.recording for a in analyses])  # their evidence would count twice
    once = [i for i in range(len(analyses)) if i not in repeats]
    settled = dict(zip(once, settle(job.vehicle, [analyses[i] for i in once]), strict=True))
    analyses = copies.told([settled.get(i, a) for i, a in enumerate(analyses)], repeats)
    likely = leaning(job.vehicle, analyses)
    heard = [likely[i] for i in once]
    evidence = gather(heard, job.vehicle)
    suspected = rank(evidence, job.symptoms, job.checks, job.vehicle)
    changed = gather_mended(heard, job.vehicle)
    evidence += changed
    ranked = rank(evidence, job.symptoms, job.checks, job.vehicle) if changed else suspected
    found = _found(evidence, analyses)
    checks = plan(ranked, job.checks, symptoms=job.symptoms, vehicle=job.vehicle, found=found)
    # The proof weighs what changed by itself: it goes by what was suspected before.
    repair = repair_by_suspects(analyses, job.vehicle.engine, suspected, likely=likely)
    return Diagnosis(
        causes=ranked,
        next_checks=checks,
        repair=repair,
        analyses=analyses,
        notes=unused(job.symptoms, job.checks),
        found=found,
        suspected=suspected,
    )


def _found(evidence: Sequence[CauseEvidence], analyses: Sequence[Analysis]) -> tuple[str, ...]:
    """The findings that rest on no speed that is only likely."""
    unsure = {a.name for a in analyses if a.speed is None and a.leaning is not None}
    return tuple(dict.fromkeys(e.finding for e in evidence if unsure.isdisjoint(e.evidence.seen_in)))

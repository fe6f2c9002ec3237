"""What may be wrong in what was said of the car and its recordings: asked in a line, never refused."""

from __future__ import annotations

from collections.abc import Sequence

from vibecore.case import Case, CaseRecording
from vibecore.constants import CYLINDERS_DOUBTFUL
from vibecore.engine import Engine
from vibecore.guess import hardly_raised, is_odd_figure, is_odd_idle, looks_raised
from vibecore.model import Analysis
from vibecore.plan import unsaid_of
from vibecore.spoken import spoken_by_file


def cylinders_words(cylinders: int | None) -> str:
    """To make sure of a number of cylinders that hardly a car has; empty for a usual one."""
    if cylinders is None or Engine(cylinders).layouts:
        return ""
    return f"{cylinders} cylinders are rare in a car. Make sure: every engine order hangs on that number."


def figure_words(one_end_rpm: float | None, other_end_rpm: float | None) -> str:
    """To make sure of a maker's idle that hardly a car has; empty for a usual one, or half of one."""
    if one_end_rpm is None or other_end_rpm is None:
        return ""
    low, high = sorted((one_end_rpm, other_end_rpm))
    if not is_odd_figure((low, high)):
        return ""
    return f"An idle from {low:.0f} to {high:.0f} rpm is rare in a car. Make sure of both figures."


def hold_words(
    analysis: Analysis,
    analyses: Sequence[Analysis],
    spec: tuple[float, float] | None,
    where: str = "under Record",
) -> str:
    """A question where a recording's speed does not go with how the engine is said to have been held. where:
    that is said."""
    made, speed = analysis.condition, analysis.speed
    if speed is None:
        return ""
    reads, seen = f"It reads as {speed.mean_rpm:.0f} rpm", made.tachometer_rpm
    if made.speed_hold == "raised":
        idles = [a.speed.mean_rpm for a in analyses if a.speed and a.condition.speed_hold == "idle"]
        if hardly_raised(speed, idles):
            asks = f"{reads}, hardly more than the {max(idles):.0f} at idle: was it raised? Say so {where}."
            return f"{asks} Or did the tachometer show something else?" if seen else asks
    elif looks_raised(speed, spec) and (made.speed_hold is None or (made.speed_hold == "idle" and seen)):
        return f"{reads}: if the idle was raised, say so {where}."
    return ""


def engine_words(case: Case, analyses: Sequence[Analysis]) -> str:
    """A question where a recording reads as no idle of this car, or as another engine's: with a wrong number
    of cylinders it would."""
    spec, cylinders = case.vehicle.idle_spec_rpm, case.vehicle.engine.cylinders
    for a in analyses:
        idles = a.condition.speed_hold == "idle" and not a.condition.tachometer_rpm
        if idles and a.speed is not None and is_odd_idle(a.speed, spec):
            figure = f" The maker's is {spec[0]:.0f} to {spec[1]:.0f}: is that right?" if spec else ""
            read = f"Idle reads {a.speed.mean_rpm:.0f} rpm.{figure}"
            return f"{read} Is the number of cylinders ({cylinders}) right?"
    return next((w.message for a in analyses for w in a.warnings if w.code == CYLINDERS_DOUBTFUL), "")


def held_words(analyses: Sequence[Analysis], spec: tuple[float, float] | None) -> list[str]:
    """The same for each of a job's recordings, with what it is called, to be told on another page."""
    called = spoken_by_file(analyses)
    asked = [(called[a.name], hold_words(a, analyses, spec)) for a in analyses]
    return [f"In {name}: {asks[0].lower()}{asks[1:]}" for name, asks in asked if asks]


def unsaid(recordings: Sequence[CaseRecording]) -> list[str]:
    """Names of those of which gear or speed is not said."""
    return [r.name for r in unsaid_of(recordings)]


def unsaid_words(recordings: Sequence[CaseRecording]) -> list[str]:
    """What is not said of how they were made, and what that does to the ranking. The steering wheel is what
    levels are reckoned from, see vibecore/sound_cars.py."""
    placeless = sum(r.condition.place is None and r.condition.speed_hold != "engine off" for r in recordings)
    told = (
        ("Gear or speed is", len(unsaid(recordings)), "the ranking is weaker"),
        ("The phone's place is", placeless, "taken for the steering wheel, and shake differs by place"),
    )
    counted = [(what, "1 recording" if n == 1 else f"{n} recordings", then) for what, n, then in told if n]
    return [f"{what} not said for {which}: {then}." for what, which, then in counted]

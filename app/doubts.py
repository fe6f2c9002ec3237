"""What may be wrong in what was said of the car and its recordings: asked in a line, never refused."""

from __future__ import annotations

from collections.abc import Sequence

from vibecore.case import Case, CaseRecording
from vibecore.constants import CYLINDERS_DOUBTFUL
from vibecore.engine import Engine
from vibecore.guess import is_odd_idle
from vibecore.model import Analysis
from vibecore.plan import unsaid_of


def cylinders_words(cylinders: int | None) -> str:
    """To make sure of a number of cylinders that hardly a car has; empty for a usual one."""
    if cylinders is None or Engine(cylinders).layouts:
        return ""
    return f"{cylinders} cylinders are rare in a car. Make sure: every engine order hangs on that number."


def engine_words(case: Case, analyses: Sequence[Analysis]) -> str:
    """A question where a recording reads as no idle of this car, or as another engine's: with a wrong number
    of cylinders it would."""
    spec, cylinders = case.vehicle.idle_spec_rpm, case.vehicle.engine.cylinders
    for a in analyses:
        idles = a.condition.speed_hold == "idle" and not a.condition.tachometer_rpm
        if idles and a.speed is not None and is_odd_idle(a.speed, spec):
            return f"Idle reads {a.speed.mean_rpm:.0f} rpm. Is the number of cylinders ({cylinders}) right?"
    return next((w.message for a in analyses for w in a.warnings if w.code == CYLINDERS_DOUBTFUL), "")


def unsaid(recordings: Sequence[CaseRecording]) -> list[str]:
    """Their names."""
    return [r.name for r in unsaid_of(recordings)]

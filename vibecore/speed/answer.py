"""What is answered about an engine speed: the track, or why there is none, in words."""

from __future__ import annotations

from dataclasses import dataclass

from vibecore.model import Candidate, Condition, SpeedTrack, Warn
from vibecore.speed import prior

WORTH_NAMING, WORTH_ADDING = 0.3, 0.02  # a guess less likely is not worth a mechanic's look; nor as a second
NOT_FOUND = "The engine speed cannot be told: no family of engine orders stands out"
READ_OR_NEARER = "Read the tachometer and enter it, or tape the phone nearer to the engine."
NO_LINES = (
    "No lines stand out of the noise: the engine was off, or its shake is below what this phone can see. "
    "Tape the phone nearer to the engine and record again."
)
NOT_STEADY = (
    "The engine's lines come and go: its speed jumped, or it stopped and started. "
    "Hold the speed, foot off the pedal, and record half a minute again."
)
NOT_SWEPT = (
    "The engine's lines could not be followed through the sweep: what stands out hardly changes its speed. "
    "Raise the speed more slowly, over half a minute, and record again."
)


@dataclass(frozen=True)
class SpeedAnswer:
    """The track, or None with the reason among the warnings; `leaning` then is the likeliest, if there is
    one. candidates: every speed weighed, most likely first."""

    track: SpeedTrack | None
    warnings: tuple[Warn, ...]
    candidates: tuple[Candidate, ...] = ()
    leaning: SpeedTrack | None = None


def tachometer_note(track: SpeedTrack, condition: Condition) -> tuple[Warn, ...]:
    said = condition.tachometer_rpm
    if not said or prior.borne_out(track.mean_rpm, condition):
        return ()
    text = (
        f"The tachometer reading of {said:.0f} rpm does not fit the vibration, which says "
        f"{track.mean_rpm:.0f} rpm. Look at the tachometer again while recording."
    )
    return (Warn("tachometer-differs", text),)


def none(code: str, text: str) -> SpeedAnswer:
    return SpeedAnswer(None, (Warn(code, text),))


def undecided(
    candidates: tuple[Candidate, ...], leaning: SpeedTrack | None, condition: Condition
) -> SpeedAnswer:
    """No speed is sure enough: the likeliest is named, and the next if it is worth naming."""
    if not candidates or candidates[0].probability < WORTH_NAMING:
        return SpeedAnswer(None, (Warn("speed-not-found", _not_found(condition)),), candidates, leaning)
    named = [c for c in candidates[:2] if c.probability >= WORTH_ADDING]
    rpm = ", then ".join(f"{c.rpm:.0f} rpm ({100 * c.probability:.0f} %)" for c in named)
    told = f"The engine speed cannot be told for sure: most likely {rpm}."
    text = f"{told} {_next_step(named[0].rpm, condition)}"
    return SpeedAnswer(None, (Warn("speed-undecided", text),), candidates, leaning)


def _not_found(condition: Condition) -> str:
    said = condition.tachometer_rpm
    if not said:
        return f"{NOT_FOUND}. {READ_OR_NEARER}"
    nearer = "Tape the phone nearer to the engine and record again."
    return f"{NOT_FOUND} near the tachometer's {said:.0f} rpm. {nearer}"


def _next_step(likeliest_rpm: float, condition: Condition) -> str:
    """What to do about it: what was done already is not asked for again."""
    said = condition.tachometer_rpm
    if not said:
        return "Read the tachometer and enter it."
    if prior.borne_out(likeliest_rpm, condition):
        return (
            f"The tachometer's {said:.0f} rpm fits, but too little of the engine's own shake stands out: "
            "tape the phone nearer to the engine and record again."
        )
    return f"The tachometer's {said:.0f} rpm does not fit it: look at it again while recording."

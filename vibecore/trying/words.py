"""What came of something tried while the engine ran, in a mechanic's words."""

from __future__ import annotations

from vibecore.trying.records import MATTERS, SPEED, Reading, Tried, Unit
from vibecore.units import factor, signed, times
from vibecore.words import joined

NOT_UNDONE = "Undo it in the same recording and see whether it goes back: an idle drifts by itself too."
CUT_SHORT = "Record for 15 s after undoing it and see whether it goes back: an idle drifts by itself too."
NO_SPEED = "Its speed could not be told, so watch the rev counter."


def tried_words(tried: Tried) -> str:
    """Whether the engine noticed, by what it is told, or what could not have been seen."""
    if tried.heeded == "noticed":
        told = [r for r in tried.readings if r.noticed]
        back = f". {CUT_SHORT if tried.undone else NOT_UNDONE}"
        if all(r.undone is not None for r in told):
            back = ", and went back when it was undone."
        return f"The engine noticed: {joined([change_words(r) for r in told])}{back}"
    if tried.heeded == "not noticed":
        seen = [u for u in MATTERS if any(r.unit == u for r in tried.readings)]
        bounds = " or ".join(_amount(MATTERS[u], u) for u in seen)
        blind = "" if any(r.what == SPEED for r in tried.readings) else f" {NO_SPEED}"
        return f"The engine did not notice: no reading moved by as much as {bounds}.{blind}"
    if tried.blind:
        return f"Cannot tell: {tried.blind}"
    unknown = [r for r in tried.readings if not r.still]
    drifted = [r for r in unknown if r.begun.sure and r.undone is not None]
    if drifted:
        moved = joined([change_words(r) for r in drifted])
        return (
            f"Cannot tell: {moved}, but did not go back for sure when it was undone, so that may be the "
            "idle's own wandering. Try it again."
        )
    least = joined([f"{_amount(r.begun.half_width, r.unit)} in the {r.what}" for r in unknown])
    return (
        f"Cannot tell: this idle wanders so much that a change of less than {least} could not be seen. Try "
        "again with twice the time before, with and after it."
    )


def change_words(reading: Reading) -> str:
    """How a reading changed, with its interval: 'the engine speed rose by 34 rpm (28 to 40)'."""
    change = reading.begun
    if reading.unit == "dB":
        span = f"{signed(change.low)} to {signed(change.high)}"
        return f"the {reading.what} became {times(change.value)} ({signed(change.value)} dB, {span})"
    sign = 1 if change.value >= 0 else -1
    low, high = sorted((sign * change.low, sign * change.high))
    verb = "rose" if sign > 0 else "fell"
    return f"the {reading.what} {verb} by {sign * change.value:.0f} rpm ({low:.0f} to {high:.0f})"


def _amount(value: float, unit: Unit) -> str:
    return f"{value:.0f} rpm" if unit == "rpm" else f"{factor(value)} times ({value:.0f} dB)"

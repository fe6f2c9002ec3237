"""Lines that the car's other recordings show to be none of the engine's.

The same line at idle and at a raised idle is no order of a crank that turns so much faster, and a line that
is there with the engine off has a motor of its own. Alone, a fan beside the firing order looks like one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from scipy import fft

from vibecore.constants import SAME_HERTZ
from vibecore.model import Condition, Line, Signal, Warn

ONE_LINE = 0.004  # share: how well a line's place is read, and a motor keeps its speed while nothing changes
ALIKE_DB = 6.0  # a motor shakes alike from one recording to the next, give or take a phone taped on anew
CUT_SHARE, CUT_HZ = 0.015, 0.5  # half width that is taken out: the line, its drift, a window's main lobe


class Read(NamedTuple):
    """What was said of a recording, its lines in hertz, and how fast its crank turns, if that is known."""

    condition: Condition
    lines: Sequence[Line]
    turns_hz: float | None = None

    def on_order(self, line: Line) -> bool:
        """Whether this is an order of the engine at that speed, for all that is known. While the idle wanders
        a line's place is not read as well as a motor's."""
        if self.turns_hz is None:
            return False
        halves = 2 * line.frequency_hz / self.turns_hz
        return abs(halves - round(halves)) < SAME_HERTZ * halves


def standing_hz(mine: Read, others: Sequence[Read]) -> tuple[float, ...]:
    """Lines (hertz) of one recording that stand in others too in which the engine does not turn as fast; not
    those that are orders in both, as order 3 at idle meets order 1.5 at twice the speed."""
    if mine.condition.speed_hold not in ("idle", "raised"):
        return ()
    elsewhere = [(line, o) for o in others if _not_as_fast(mine.condition, o.condition) for line in o.lines]
    return tuple(
        line.frequency_hz
        for line in mine.lines
        if any(_same(line, its, o) and not (mine.on_order(line) and o.on_order(its)) for its, o in elsewhere)
    )


def _not_as_fast(one: Condition, other: Condition) -> bool:
    """A gear alone slows an engine by too little, or not at all where the idle is held up."""
    held = {one.speed_hold, other.speed_hold}
    return one.place == other.place and len(held) == 2 and held <= {"idle", "raised", "engine off"}


def _same(one: Line, other: Line, its: Read) -> bool:
    """Whether they are one line. Two may stand near each other by chance, but with the engine off only motors
    turn."""
    near = SAME_HERTZ if its.condition.speed_hold == "engine off" else ONE_LINE
    apart_db = 20 * abs(np.log10(one.rms_m_s2 / other.rms_m_s2))
    return bool(abs(one.frequency_hz / other.frequency_hz - 1) < near and apart_db < ALIKE_DB)


def without(signal: Signal, lines_hz: Sequence[float]) -> Signal:
    """The signal (n, 3) with these lines taken out."""
    n = len(signal.accel_m_s2)
    spectrum = fft.rfft(signal.accel_m_s2, axis=0)
    at_hz = fft.rfftfreq(n, 1 / signal.fs_hz)
    for line_hz in lines_hz:
        spectrum[np.abs(at_hz - line_hz) < max(CUT_HZ, CUT_SHARE * line_hz)] = 0.0
    return replace(signal, accel_m_s2=fft.irfft(spectrum, n, axis=0))


def told(lines_hz: Sequence[float]) -> Warn:
    """What a reader is told where that made a difference."""
    some = ", ".join(f"{hz:.1f}" for hz in lines_hz)
    text = (
        f"What shakes at {some} Hz does so just as strongly with the engine faster, slower or off, so it is "
        "not the engine: the speed was looked for without it."
    )
    return Warn("not-the-engine", text)

"""What was read of something tried while an engine ran, and what that comes to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vibecore.model import Floats, Frozen
from vibecore.trying.change import MeanChange

Heeded = Literal["noticed", "not noticed", "cannot tell"]
Unit = Literal["rpm", "dB"]

# Changes that somebody at the car would want to know of, and the least that could be one: levels are told
# apart from about 1 dB on (Griffin, Handbook of Human Vibration, from memory). Speeds: common practice, no
# source.
MATTERS: dict[Unit, float] = {"rpm": 25.0, "dB": 3.0}
LEAST: dict[Unit, float] = {"rpm": 5.0, "dB": 1.0}
SETTLING_S = 1.5  # left out at each side of a moment: the tap that marks it, and a hand that comes late
LEAST_S = 8.0  # of each part
SPEED, SHAKE, UNEVEN = "engine speed", "whole shake", "shake below the firing order"


@dataclass(frozen=True, eq=False)
class TimeSeries(Frozen):
    """One reading a second. t_s (m,) from the recording's start; values (m,) in rpm or dB re 1 m/s2."""

    what: str
    unit: Unit
    t_s: Floats
    values: Floats


@dataclass(frozen=True)
class Reading:
    """One thing that was read: its means in the parts, how it changed when it was begun and when it was
    undone (None: it was not, or too little was recorded after it)."""

    what: str
    unit: Unit
    means: tuple[float, ...]
    begun: MeanChange
    undone: MeanChange | None

    @property
    def noticed(self) -> bool:
        back = self.undone is None or self.undone.undoes(self.begun)
        return self.begun.sure and abs(self.begun.value) >= LEAST[self.unit] and back

    @property
    def still(self) -> bool:
        return self.begun.within(MATTERS[self.unit])


@dataclass(frozen=True, eq=False)
class Tried(Frozen):
    """Whether the engine noticed, the readings that tell it, and their series over the whole recording.
    undone: it was, while the phone recorded, however little came after it. blind: why a shake that did not
    change tells nothing; empty where it does."""

    heeded: Heeded
    readings: tuple[Reading, ...]
    series: tuple[TimeSeries, ...]
    undone: bool
    blind: str = ""

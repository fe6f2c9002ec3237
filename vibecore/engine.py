"""The engine as far as its vibration goes: cylinders, strokes and layout give the firing order.

A cylinder of a four-stroke engine fires once in two revolutions, so an evenly firing engine of N cylinders
excites engine order N / 2 and its multiples; a two-stroke fires N times a revolution.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Arrangement = Literal["inline", "vee", "flat"]


@dataclass(frozen=True)
class Engine:
    cylinders: int
    strokes: int = 4
    arrangement: Arrangement | None = None

    @property
    def firing_order(self) -> float:
        """Firings a crank revolution."""
        return self.cylinders * 2.0 / self.strokes


@dataclass(frozen=True)
class Vehicle:
    engine: Engine
    transmission: Literal["automatic", "manual"] | None = None
    idle_spec_rpm: tuple[float, float] | None = None
    pulleys_mm: dict[str, float] = field(default_factory=dict)
    belt_length_mm: float | None = None
    mileage_km: float | None = None

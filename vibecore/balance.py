"""What each engine layout leaves unbalanced, and how the torque of its cylinders adds up.

The table is data, in engine_balance.toml. Forces are in units of F1 = m r w^2 and F2 = (r / l) F1, with m the
mass that goes up and down in one cylinder, r half the stroke, l the connecting rod, w the crank's speed in
rad/s; couples in units of F1 a and F2 a, with a the spacing of the cylinders.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal

import numpy as np

Arrangement = Literal["inline", "vee", "flat"]


@dataclass(frozen=True)
class EngineLayout:
    """One row of the balance table: free forces (times F1, F2) and couples (times F1 a, F2 a)."""

    name: str
    cylinders: int
    arrangement: Arrangement
    note: str
    strokes: int = 4
    force_1: float = 0.0
    couple_1: float = 0.0
    force_2: float = 0.0
    couple_2: float = 0.0
    balanced_1: bool = False
    fires_at_deg: tuple[float, ...] = ()
    sequence: str | None = None
    usual: bool = True
    source: str = "textbook table, from memory, and phasor sum"

    @property
    def firing_angles_deg(self) -> tuple[float, ...]:
        """Crank angles at which the cylinders fire, within one working cycle."""
        cycle_deg = 180.0 * self.strokes
        return self.fires_at_deg or tuple(cycle_deg * i / self.cylinders for i in range(self.cylinders))


@cache
def balance_table() -> tuple[EngineLayout, ...]:
    """All rows of engine_balance.toml."""
    rows = tomllib.loads(files("vibecore").joinpath("engine_balance.toml").read_text("utf-8"))["layout"]
    return tuple(EngineLayout(**{**row, "fires_at_deg": tuple(row.get("fires_at_deg", ()))}) for row in rows)


def torque_sum(
    firing_angles_deg: Sequence[float], order: float, cylinder_factors: Sequence[float] | None = None
) -> float:
    """Size of the sum of equal torque phasors of one order, one for each cylinder.

    A cylinder that fires at angle a adds exp(-i order a), times its factor (1 sound, 0 dead). Den Hartog,
    Mechanical Vibrations, ch. 5.
    """
    angles = np.radians(np.asarray(firing_angles_deg, dtype=float))
    factors = np.ones(len(angles)) if cylinder_factors is None else np.asarray(cylinder_factors, dtype=float)
    return float(np.abs(np.sum(factors * np.exp(-1j * order * angles))))

"""Whether a fault can be felt: nobody brings a car to a workshop for a shake that cannot be.

The car with the fault is held against its twin without, in the same conditions and from the same random
numbers, so that nothing differs but the fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vibecore.model import Condition, Gear, Place, SpeedHold, Stage
from vibecore.simulate.car import Car
from vibecore.simulate.vibration import vibrate

TRIAL_S = 6.0
# A doubling. Levels of shake are told apart from about 1 dB on with one straight after the other (about 13 %;
# Griffin, Handbook of Human Vibration, from memory); an owner who compares with last month needs far more.
RISE_DB = 6.0
# Well over what a seated person or a hand just notices (0.015 m/s2 peak, ISO 2631-1 annex C).
LEAST_M_S2 = 0.1


@dataclass(frozen=True)
class Plan:
    """One recording to make."""

    name: str
    gear: Gear
    hold: SpeedHold
    stage: Stage = "before"
    place: Place = "steering wheel"
    accessories: tuple[str, ...] = ()
    road_m_s: float | None = None


def can_be_felt(twin: Car, faulty: Car, plans: Sequence[Plan], seed: int) -> bool:
    """Whether the fault doubles the shake where the driver is, in at least one recording before repair."""
    for i, plan in enumerate(plans):
        if plan.stage != "before" or plan.place == "engine":
            continue
        without, with_it = (_rms(car, plan, [seed, 3, i]) for car in (twin, faulty))
        if with_it >= LEAST_M_S2 and 20 * np.log10(with_it / without) >= RISE_DB:
            return True
    return False


def _rms(car: Car, plan: Plan, seed: list[int]) -> float:
    """rms of the three-axis vector at the plan's place, m/s2."""
    condition = Condition(plan.place, plan.gear, plan.hold, accessories=plan.accessories)
    made = vibrate(car, condition, TRIAL_S, np.random.default_rng(seed), plan.road_m_s)
    return float(np.sqrt(np.sum(np.mean((made.shake + made.rest) ** 2, axis=1))))

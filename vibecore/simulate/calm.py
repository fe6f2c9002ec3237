"""Whether a drawn car is one that nobody complains of.

Idle levels at the steering wheel: about 0.1 m/s2 in good cars, 0.5 in poor ones (order of magnitude, from
memory); half orders and order 1 of sound engines stay well under the firing order, because a maker who
finds the engine rocking on its mounts at order 0.5 changes the mounts. A draw beyond this would be a car
with a fault nobody named.
"""

from __future__ import annotations

import numpy as np

from vibecore.model import Condition, Gear, SpeedHold
from vibecore.simulate.car import Car
from vibecore.simulate.truth import tell
from vibecore.simulate.vibration import vibrate

TRIAL_S = 4.0  # long enough for some dozens of working cycles
FIRING_M_S2 = 0.35  # in gear, at the wheel
RAISED_M_S2 = 0.45  # of the firing order at raised idle, where it may pass a mode
BELOW_M_S2 = 0.05  # half orders and order 1 under the firing order
FREE_ORDER_ONE_M_S2 = 0.1  # where the layout leaves a couple or force at order 1 (three cylinders)
MULTIPLE_M_S2 = 0.2  # twice the firing order: mounts pass less of it
CONDITIONS: tuple[tuple[Gear, SpeedHold], ...] = (
    ("neutral", "idle"),
    ("drive", "idle"),
    ("neutral", "raised"),
)


def nobody_complains(car: Car, rng: np.random.Generator) -> bool:
    """Whether the car shakes at the wheel as a sound car does, in each condition of a job."""
    return all(_calm(car, gear, hold, rng) for gear, hold in CONDITIONS)


def _calm(car: Car, gear: Gear, hold: SpeedHold, rng: np.random.Generator) -> bool:
    vibration = vibrate(car, Condition("steering wheel", gear, hold), TRIAL_S, rng)
    levels = tell(vibration, car.engine, (0.0, TRIAL_S), ()).orders_m_s2
    firing, normal = car.engine.firing_order, car.engine.normal_orders()
    for order, level in levels.items():
        if order < firing:
            most = FREE_ORDER_ONE_M_S2 if order in normal else BELOW_M_S2
            most *= 2.0 if hold == "raised" else 1.0  # a pull of the throttle is not what they sit through
        elif order == firing:
            most = RAISED_M_S2 if hold == "raised" else FIRING_M_S2
        else:
            most = MULTIPLE_M_S2
        if level > most:
            return False
    return True

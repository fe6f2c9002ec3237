"""What a fault is, and the measure by which faults are sized."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vibecore.simulate.car import ROLL, Car, gain
from vibecore.simulate.crank import strongest_order

Lay = Callable[[Car, float], Car]


@dataclass(frozen=True)
class Fault:
    """A drawn fault. `lay(car, strength)` gives the car that has it. `felt_in_gear`: it is (mostly) felt
    in gear. `detail`: what is the matter, in words. `codes`: codes that a control unit may store for it.
    `most`: the strength at which it is complete and cannot get worse."""

    cause: str
    lay: Lay
    detail: str
    felt_in_gear: bool = False
    codes: tuple[str, ...] = ()
    accessory: str | None = None
    most: float = float("inf")


def firing_level(car: Car) -> float:
    """rms at the steering wheel of the strongest torque order of the sound car at neutral idle."""
    order, amplitude = strongest_order(car)
    return car.roll_gain * amplitude / np.sqrt(2) * gain(car, ROLL, order * car.idle.neutral_rpm / 60.0)

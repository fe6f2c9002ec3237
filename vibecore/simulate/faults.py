"""Faults laid on a sound car, each as the physics has it, in any strength from barely felt to violent.

A fault is drawn once (which cylinder, which frequency, how it behaves in gear) and laid on with a
strength: 1 as drawn, 0 mended, a half half mended. So a car before and after its repair differs by the
strength alone."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from vibecore.simulate.car import Car
from vibecore.simulate.fault import Fault
from vibecore.simulate.faults_engine import imbalance, misfire, mount, resonance, uneven
from vibecore.simulate.faults_other import accessory, driveline, exhaust, fan, propshaft, wheel

_DRAW: dict[str, Callable[[Car, np.random.Generator], Fault]] = {
    "cylinder-misfire": misfire,
    "uneven-combustion": uneven,
    "engine-mount": mount,
    "rotating-imbalance": imbalance,
    "accessory-drive": accessory,
    "cooling-fan": fan,
    "idle-resonance": resonance,
    "exhaust-contact": exhaust,
    "driveline": driveline,
    "wheel-imbalance": wheel,
    "propshaft": propshaft,
}
CAUSES: tuple[str, ...] = ("normal", *_DRAW)
ROAD_CAUSES = ("wheel-imbalance", "propshaft")


def draw_fault(cause: str, car: Car, rng: np.random.Generator) -> Fault:
    """A fault of this cause that fits the car; 'normal' gives one that does nothing."""
    if cause == "normal":
        return Fault("normal", lambda c, _strength: c, "a sound car")
    if cause not in _DRAW:
        raise ValueError(f"there is no cause {cause!r} to simulate; known: {', '.join(CAUSES)}")
    return _DRAW[cause](car, rng)


def add_fault(car: Car, cause: str, seed: int) -> Car:
    """A car with a fault of this cause, drawn from `seed`, as strong as drawn."""
    return draw_fault(cause, car, np.random.default_rng(seed)).lay(car, 1.0)

"""What the tests of conditioning share: an idling four in car axes, as a phone however it lies writes it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from tests.speed.closed_form import GRAVITY, Crank, as_recording, noise, shake
from vibecore.conditioning import condition
from vibecore.model import Floats, Recording, Signal

FS_HZ = 100.0
N = 3000
UP = np.array([0.0, 0.0, GRAVITY])


def times(n: int = N) -> Floats:
    return np.arange(n) / FS_HZ


def idle(n: int = N, seed: int = 0, level: float = 0.2) -> Floats:
    """(n, 3): an idling four in car axes, the last one up; vertical and sideways shake differ."""
    angle = Crank(12.0, n / FS_HZ, swing_hz=0.2).angle_rev(times(n))
    firing = shake(angle, {2.0: level, 0.5: level / 4}, seed=seed, axes=(0.2, 0.3, 0.9))
    rocking = shake(angle, {1.0: level / 3}, seed=seed + 1, axes=(0.9, 0.1, 0.0))
    return firing + rocking + noise(n, 0.03, seed=seed)


def with_gravity(recording: Recording, there: bool) -> Recording:
    return replace(recording, gravity_included=there)


def ready(accel: Floats, turned: Rotation | None = None, *, gravity: bool = True) -> Signal:
    """Condition shake given in car axes, as a phone lying as `turned` says writes it down."""
    there = accel + UP if gravity else accel
    seen = there if turned is None else turned.apply(there)
    recording = as_recording(times(len(seen)), seen, FS_HZ, gravity=None)
    return condition(with_gravity(recording, gravity))


def codes(signal: Signal) -> set[str]:
    return {w.code for w in signal.warnings}


def rms(accel: Floats) -> float:
    return float(np.sqrt(np.mean(np.sum(accel**2, axis=1))))

"""A signal along the crank's angle: read at even steps of it, every order is a sharp line (computed order
tracking, angular resampling).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibecore.between import read_at
from vibecore.model import Flags, Floats, Signal


@dataclass(frozen=True, eq=False)
class Turned:
    """accel_m_s2 (m, 3) and good (m,) at even steps of crank angle, per_rev steps a revolution."""

    accel_m_s2: Floats
    good: Flags
    per_rev: float

    @property
    def revolutions(self) -> float:
        return float(self.good.sum() / self.per_rev)


def turn(signal: Signal, angle_rev: Floats) -> Turned:
    """Resample a signal (n, 3) to even steps of its crank angle (n,), levels kept to 0.45 of the rate."""
    n = len(signal.accel_m_s2)
    fastest = float(np.max(np.diff(angle_rev[:: max(1, round(signal.fs_hz / 4))], prepend=angle_rev[0])))
    speed = max(fastest * 4, (angle_rev[-1] - angle_rev[0]) * signal.fs_hz / (n - 1))
    per_rev = float(np.ceil(signal.fs_hz / speed)) + 1
    even = np.arange(angle_rev[0], angle_rev[-1], 1 / per_rev)
    place = np.interp(even, angle_rev, np.arange(n))
    good = signal.good[np.rint(place).astype(int).clip(0, n - 1)]
    return Turned(read_at(signal.accel_m_s2.T, place).T, good, per_rev)

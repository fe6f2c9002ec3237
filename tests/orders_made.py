"""Signals of known orders along a known crank, and the levels measured in them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from tests.speed.closed_form import Crank, as_signal, noise, shake
from vibecore.engine import Engine
from vibecore.model import Floats, OrderLevel, OrderTable, SpeedTrack
from vibecore.orders import measure_orders

FOUR = Engine(4)
FS_HZ = 100.0
SOUND = {0.5: 0.04, 1.0: 0.06, 1.5: 0.04, 2.0: 0.2, 3.0: 0.05}
STEADY = Crank(12.0, 30.0)
HUNTING = Crank(12.0, 30.0, swing_hz=0.5, period_s=4.0)
DRIFTING = Crank(12.0, 30.0, slope_hz_s=0.03)


def true_track(crank: Crank, n: int, fs_hz: float) -> SpeedTrack:
    """The track that a perfect speed finder would give."""
    t_s = np.arange(n) / fs_hz
    at_s = np.arange(0.0, t_s[-1], 0.25)
    mean = crank.mean_rpm(0.0, float(t_s[-1]))
    speed = 60 * crank.speed_hz(at_s)
    return SpeedTrack(
        at_s, speed, mean, mean, mean, float(speed.std()), 0.99, "vibration", crank.angle_rev(t_s)
    )


def measured(accel: Floats, crank: Crank, engine: Engine = FOUR, fs_hz: float = FS_HZ) -> OrderTable:
    return measure_orders(as_signal(accel, fs_hz), true_track(crank, len(accel), fs_hz), engine)


def made_of(
    orders: Mapping[float, float], crank: Crank, fs_hz: float = FS_HZ, noise_rms: float = 0.03, seed: int = 0
) -> Floats:
    n = round(crank.duration_s * fs_hz)
    return shake(crank.angle_rev(np.arange(n) / fs_hz), orders, seed=seed) + noise(n, noise_rms, seed=seed)


def level_of(table: OrderTable, order: float) -> OrderLevel:
    level = table.level(order)
    assert level is not None
    return level


def rms_of(table: OrderTable, order: float) -> float:
    rms = level_of(table, order).rms_m_s2
    assert rms is not None
    return rms

"""Engines made of closed-form orders, and what the speed finder says of them. All levels are invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tests.speed.closed_form import Crank, as_signal, noise, shake
from vibecore.engine import Engine
from vibecore.model import Condition, Floats, Signal, SpeedTrack
from vibecore.speed import find_speed

FOUR = Engine(4)
IDLE = Condition(None, "neutral", "idle")
WANDERING = Crank(12.0, 24.0, swing_hz=0.12, period_s=3.7)
SOUND_FOUR = {0.5: 0.01, 1.0: 0.03, 1.5: 0.008, 2.0: 0.15, 4.0: 0.04}
WRONG = 0.03  # of the speed: the contract calls an answer wrong from here on


@dataclass(frozen=True, eq=False)
class Heard:
    """A signal (n, 3) and the crank it came from."""

    signal: Signal
    crank: Crank

    @property
    def mean_rpm(self) -> float:
        return self.crank.mean_rpm(0.0, (len(self.signal.accel_m_s2) - 1) / self.signal.fs_hz)


def orders_of(engine: Engine, *, weak_cylinder: bool = False) -> dict[float, float]:
    """Firing order and its double, order 1, and low multiples of the working cycle; m/s2 rms."""
    step = engine.cycle_order
    low = {step * i: 0.012 for i in range(1, round(engine.firing_order / step) + 1)}
    sound = low | {1.0: 0.03, engine.firing_order: 0.15, 2 * engine.firing_order: 0.04}
    if not weak_cylinder:
        return sound
    return sound | {step: 0.2, 2 * step: 0.12, engine.firing_order: 0.08}


def heard(
    orders: Mapping[float, float],
    crank: Crank,
    *,
    fs_hz: float = 200.0,
    noise_rms: float = 0.04,
    seed: int = 0,
    extra: Floats | None = None,
) -> Heard:
    """Orders above 0.47 of the rate are left out: here folding is made on purpose or not at all."""
    n = round(fs_hz * crank.duration_s)
    angle = crank.angle_rev(np.arange(n) / fs_hz)
    seen = {o: v for o, v in orders.items() if o * crank.mean_hz < 0.47 * fs_hz}
    accel = shake(angle, seen, seed=seed) + noise(n, noise_rms, seed=seed)
    return Heard(as_signal(accel if extra is None else accel + extra, fs_hz), crank)


def found(sound: Heard, engine: Engine | None, condition: Condition = IDLE) -> SpeedTrack | None:
    return find_speed(sound.signal, engine, condition).track


def codes(sound: Heard, engine: Engine | None, condition: Condition = IDLE) -> set[str]:
    return {w.code for w in find_speed(sound.signal, engine, condition).warnings}


def line(n: int, fs_hz: float, frequency_hz: float, rms: float, wander_hz: float = 0.0) -> Floats:
    """(n, 3): a tone of the clock, sampled as it is, so that above half the rate it folds down as in life."""
    t_s = np.arange(n) / fs_hz
    cycles = frequency_hz * t_s + wander_hz / (2 * np.pi * 0.2) * np.sin(2 * np.pi * 0.2 * t_s)
    wave = rms * np.sqrt(2) * np.cos(2 * np.pi * cycles)
    return np.asarray(wave[:, None] * np.array([0.48, 0.6, 0.64]))


def sure(sound: Heard, engine: Engine | None, condition: Condition = IDLE) -> SpeedTrack:
    track = found(sound, engine, condition)
    assert track is not None
    return track

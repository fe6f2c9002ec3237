"""Recordings whose truth is a formula: a crank of known angle, sines on its orders, noise of a known size.

Shared by the tests of the signal core. Nothing here is taken from the code under test but its plain records.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vibecore import read_recording
from vibecore.model import Floats, Recording, Signal
from vibecore.simulate import SimulatedRecording
from vibecore.simulate.writing import LAYOUTS, table_bytes

GRAVITY = 9.80665  # m/s2, standard gravity: SI Brochure, 9th edition


@dataclass(frozen=True)
class Crank:
    """speed(t) = mean + slope (t - middle) + swing sin(2 pi t / period), in hertz; its integral is exact."""

    mean_hz: float
    duration_s: float
    slope_hz_s: float = 0.0
    swing_hz: float = 0.0
    period_s: float = 4.0

    def speed_hz(self, t_s: Floats) -> Floats:
        wave = self.swing_hz * np.sin(2 * np.pi * t_s / self.period_s)
        return self.mean_hz + self.slope_hz_s * (t_s - self.duration_s / 2) + wave

    def angle_rev(self, t_s: Floats) -> Floats:
        """Revolutions since t = 0."""
        turn = 2 * np.pi / self.period_s
        wave = self.swing_hz / turn * (1 - np.cos(turn * t_s))
        return self.mean_hz * t_s + self.slope_hz_s * t_s * (t_s - self.duration_s) / 2 + wave

    def mean_rpm(self, start_s: float, end_s: float) -> float:
        """Turns counted over a span, over its length."""
        start, end = self.angle_rev(np.array([start_s, end_s]))
        return float(60 * (end - start) / (end_s - start_s))


def shake(
    angle_rev: Floats,
    orders: Mapping[float, float],
    *,
    seed: int = 0,
    axes: Sequence[float] = (0.6, 0.0, 0.8),
) -> Floats:
    """(n, 3): on each order a sine whose three-axis vector has the rms given, at a phase of its own."""
    rng = np.random.default_rng([seed, 99])
    direction = np.asarray(axes) / np.linalg.norm(axes)
    wave = np.zeros(len(angle_rev))
    for order, rms in orders.items():
        wave += rms * np.sqrt(2) * np.cos(2 * np.pi * (order * angle_rev + rng.random()))
    return np.asarray(wave[:, None] * direction)


def noise(n: int, rms: float, *, seed: int = 0) -> Floats:
    """(n, 3): white, rms of the three-axis vector as given."""
    return rms / np.sqrt(3) * np.random.default_rng([seed, 7]).standard_normal((n, 3))


def as_recording(
    t_s: Floats, accel: Floats, fs_hz: float, *, gravity: Sequence[float] | None = (0.0, 0.0, GRAVITY)
) -> Recording:
    """A recording of `accel` with gravity laid on, or without any."""
    there = np.array(accel) if gravity is None else accel + np.asarray(gravity)
    return Recording("invented", t_s - t_s[0], there, fs_hz, gravity is not None, len(t_s), 0)


def as_signal(accel: Floats, fs_hz: float, good: np.ndarray | None = None) -> Signal:
    n = len(accel)
    flags = np.ones(n, dtype=bool) if good is None else np.array(good)
    return Signal(fs_hz, 0.0, np.array(accel), flags, (0.0, (n - 1) / fs_hz), True, 0.0)


def of_simulated(made: SimulatedRecording) -> Recording:
    """What reading makes of a simulated phone's file."""
    return read_recording(table_bytes(made, LAYOUTS["plain"]), name=f"{made.name}.csv")


def fitted_amplitude(t_s: Floats, x: Floats, frequency_hz: float) -> float:
    """Amplitude of a sine of known frequency by linear least squares (scipy's solver)."""
    from scipy.linalg import lstsq

    turn = 2 * np.pi * frequency_hz * t_s
    columns = np.column_stack((np.sin(turn), np.cos(turn), np.ones_like(t_s)))
    sine, cosine, _ = lstsq(columns, x)[0]
    return float(np.hypot(sine, cosine))


def db(ratio: float) -> float:
    return float(20 * np.log10(ratio))

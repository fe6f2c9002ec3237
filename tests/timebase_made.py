"""What the tests of even time steps share: a sine in noise, taken early or late; its level on the grid."""

from __future__ import annotations

import numpy as np

from tests.speed.closed_form import as_recording, fitted_amplitude, noise
from vibecore.model import Floats
from vibecore.timebase import EvenSeries, even_steps

FS_HZ = 100.0
END = 64  # samples left out at each end, where any filter of finite reach sees only one side


def jittered(n: int, jitter_steps: float, seed: int = 0) -> Floats:
    """Times at which samples are really taken, seconds: early or late by a share of the step."""
    rng = np.random.default_rng(seed)
    return (np.arange(n) + jitter_steps * np.clip(rng.standard_normal(n), -2.5, 2.5)) / FS_HZ


def sine(t_s: Floats, frequency_hz: float, noise_rms: float = 0.004, seed: int = 1) -> Floats:
    accel = noise(len(t_s), noise_rms, seed=seed)
    accel[:, 0] += np.sin(2 * np.pi * frequency_hz * t_s + 0.4)
    return accel


def evened(t_s: Floats, accel: Floats, fs_hz: float = FS_HZ) -> EvenSeries:
    return even_steps(as_recording(t_s, accel, fs_hz, gravity=None))


def amplitude(series: EvenSeries, frequency_hz: float) -> float:
    t_s = np.arange(len(series.accel_m_s2)) / series.fs_hz
    inner = slice(END, -END)
    keep = series.good[inner]
    return fitted_amplitude(t_s[inner][keep], series.accel_m_s2[inner, 0][keep], frequency_hz)

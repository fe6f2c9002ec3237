"""What the results are held against: a plain notebook, and the least error that any method could have.

Notebook: one scipy.signal.periodogram of the three axes, the strongest peak taken for the firing order; with
a tachometer reading, the strongest peak within 10 % of where that puts it.

Bound (Cramer and Rao; Rife and Boorstyn, IEEE Trans. Inf. Theory 20, 1974, for tones; the harmonic form as
in Christensen and Jakobsson, Multi-Pitch Estimation, 2009; both from memory): a real tone of amplitude A in
white noise of variance s^2, N samples at fs, has
    std(f) >= sqrt(24 s^2 / (A^2 N (N^2 - 1))) fs / 2 pi,
and the fundamental of a comb has sum(l^2 A_l^2) in place of A^2. It speaks of a speed that does not change;
that an idle wanders, and that cars shake between the orders too, only makes things worse.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.signal import periodogram

from vibecore.model import Recording

LEAST_HZ = 3.0  # a notebook's reader would not look below: gravity, sway and handling are there
TACHOMETER_SHARE = 0.1  # how far a reading may be off


def notebook_rpm(recording: Recording, firing_order: float, tachometer_rpm: float | None) -> float | None:
    """Engine speed as a plain notebook reads it; None where no line can lie."""
    fs_hz = 1 / float(np.median(np.diff(recording.t_s)))
    f, psd = periodogram(recording.accel_m_s2, fs=fs_hz, detrend="constant", axis=0)
    low, high = LEAST_HZ, fs_hz / 2
    if tachometer_rpm is not None:
        expected_hz = tachometer_rpm / 60 * firing_order
        low, high = expected_hz * (1 - TACHOMETER_SHARE), expected_hz * (1 + TACHOMETER_SHARE)
    inside = (f >= low) & (f <= high)
    if not inside.any():
        return None
    return float(60 * f[inside][np.argmax(psd.sum(axis=1)[inside])] / firing_order)


def tone_bound_hz(fs_hz: float, samples: int, amplitude: float, noise: float) -> float:
    """Least standard deviation of the frequency of one real tone. noise: standard deviation of a sample."""
    return comb_bound_hz(fs_hz, samples, {1.0: amplitude}, noise)


def comb_bound_hz(fs_hz: float, samples: int, amplitudes: Mapping[float, float], noise: float) -> float:
    """The same of the fundamental of a comb, from the amplitude of each of its orders."""
    weight = sum(order**2 * a**2 for order, a in amplitudes.items())
    if weight <= 0:
        return float("inf")
    n = float(samples)
    return float(np.sqrt(24 * noise**2 / (weight * n * (n**2 - 1))) * fs_hz / (2 * np.pi))


def phone_noise(density_m_s2_rthz: float, step_m_s2: float, fs_hz: float) -> float:
    """Standard deviation of a sample of one axis, m/s2: the sensor's noise and its rounding to steps
    (uniform: step^2 / 12; Bennett, Bell Syst. Tech. J. 27, 1948)."""
    return float(np.sqrt(density_m_s2_rthz**2 * fs_hz / 2 + step_m_s2**2 / 12))

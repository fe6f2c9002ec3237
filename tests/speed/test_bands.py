"""Narrow bands and the finer signal against scipy.signal, and the crank's angle against scipy.integrate."""

import numpy as np
import pytest
import scipy.signal
from scipy import integrate

from vibecore.constants import USABLE_SHARE
from vibecore.model import Signal
from vibecore.speed import bands, tracking

FS_HZ = 100.0


def a_signal(n: int, seed: int = 1) -> Signal:
    accel = np.random.default_rng(seed).normal(size=(n, 3))
    end_s = (n - 1) / FS_HZ
    return Signal(FS_HZ, 0.0, accel, np.ones(n, dtype=bool), (0.0, end_s), True, 0.0, (), ())


@pytest.mark.parametrize("n", [2000, 2001, 1999])
def test_the_finer_signal_is_the_fourier_interpolation(n: int) -> None:
    signal = a_signal(n)
    fine = bands.transform(signal).fine
    reference = scipy.signal.resample(signal.accel_m_s2, 2 * n, axis=0)
    off, whole = (np.fft.rfft(x, axis=0) for x in (fine.accel_m_s2 - reference, fine.accel_m_s2))
    usable = int(USABLE_SHARE * n)
    assert fine.fs_hz == 2 * FS_HZ
    assert len(fine.good) == 2 * n
    assert np.abs(off[:usable]).max() < 1e-9 * n
    assert np.abs(whole[usable:]).max() < 1e-9 * n  # nothing is left that would fold


def test_windows_are_hann_weighted_sums() -> None:
    hops, hop = 20, 7
    series = np.random.default_rng(2).normal(size=(3, hops * hop)) * np.exp(1j)
    window = scipy.signal.get_window("hann", 4 * hop)  # periodic
    expected = [[np.sum(axis[i * hop : (i + 4) * hop] * window) for i in range(hops - 3)] for axis in series]
    assert np.allclose(bands.windowed(series, hops), expected)


@pytest.mark.parametrize("line_hz", [13.3, 86.7])  # one below half the rate, one that folds to the same place
def test_a_tone_keeps_its_level_in_its_band(line_hz: float) -> None:
    n, level = 3000, 0.25
    tone = level * np.cos(2 * np.pi * line_hz * np.arange(n) / FS_HZ)
    signal = a_signal(n)
    series, t_s, zero_hz = bands.transform(
        Signal(FS_HZ, 0.0, np.outer(tone, [1, 0, 0]), signal.good, signal.used_span_s, True, 0.0, (), ())
    ).around(line_hz, line_hz)
    turned = series[0] * np.exp(-2j * np.pi * (line_hz - zero_hz) * t_s)
    # A real tone's two halves carry half its amplitude each; a transform of n is n times that.
    assert np.abs(turned[50:-50]).mean() * len(t_s) / n == pytest.approx(level / 2, rel=0.01)


def test_the_angle_is_the_integral_of_the_speed() -> None:
    node_t, speed = np.array([0.0, 0.4, 1.0, 1.7, 2.0]), np.array([11.0, 12.5, 12.0, 9.0, 10.0])
    sample_t = np.concatenate((np.arange(0, 2.0, 0.01), node_t[1:-1]))
    sample_t.sort()
    expected = [
        integrate.quad(np.interp, 0, t, args=(node_t, speed), points=node_t[1:-1])[0] for t in sample_t
    ]
    assert np.allclose(tracking.crank_angle(sample_t, node_t, speed), expected, atol=1e-9)

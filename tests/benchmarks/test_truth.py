"""What the benchmark holds results against: the bound, the notebook and the truth over a span."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize
from scipy.signal import periodogram

from tests.benchmarks.peer import comb_bound_hz, notebook_rpm, phone_noise, tone_bound_hz
from tests.benchmarks.truth import KeptTruth, WrittenTruth, filter_loss_db, true_change_db
from vibecore.engine import Engine
from vibecore.model import Recording
from vibecore.repair import FaultLines
from vibecore.simulate import Phone, Truth
from vibecore.simulate.vibration import Vibration

# ---------------------------------------------------------------- bound


def test_bound_of_one_tone() -> None:
    """fs 100 Hz, 30 s, A 0.1, s 0.02: 9.49e-5 Hz; 10 s, s 0.05: 1.2328e-3 Hz (Kay, Fundamentals of
    Statistical Signal Processing I, example 3.14; from memory, values computed apart)."""
    assert tone_bound_hz(100.0, 3000, 0.1, 0.02) == pytest.approx(9.49e-5, rel=1e-3)
    assert tone_bound_hz(100.0, 1000, 0.1, 0.05) == pytest.approx(1.2328e-3, rel=1e-4)


def test_bound_of_a_comb() -> None:
    """Orders 1 to 4 alike: 2.2508e-4 Hz, better than one tone by sqrt(1 + 4 + 9 + 16) (Christensen and
    Jakobsson, Multi-Pitch Estimation, 2009, asymptotic; from memory, values computed apart)."""
    comb = comb_bound_hz(100.0, 1000, {1.0: 0.1, 2.0: 0.1, 3.0: 0.1, 4.0: 0.1}, 0.05)
    assert comb == pytest.approx(2.2508e-4, rel=1e-4)
    assert tone_bound_hz(100.0, 1000, 0.1, 0.05) / comb == pytest.approx(30**0.5)


def test_least_squares_reaches_the_bound() -> None:
    """The best estimator of a tone in white noise is least squares, and it does no better than the bound."""
    fs, n, noise, f = 100.0, 500, 0.05, 12.3
    t = np.arange(n) / fs
    rng = np.random.default_rng(3)

    def misfit(frequency: float, x: np.ndarray) -> float:
        basis = np.column_stack([np.cos(2 * np.pi * frequency * t), np.sin(2 * np.pi * frequency * t)])
        return float(np.linalg.lstsq(basis, x, rcond=None)[1][0])

    found = [
        optimize.minimize_scalar(
            misfit,
            bounds=(f - 0.05, f + 0.05),
            args=(0.1 * np.cos(2 * np.pi * f * t + rng.uniform(0, 6)) + noise * rng.standard_normal(n),),
            method="bounded",
            options={"xatol": 1e-7},
        ).x
        for _ in range(200)
    ]
    assert np.std(found) == pytest.approx(tone_bound_hz(fs, n, 0.1, noise), rel=0.15)  # 200 runs: +-5 %


def test_no_line_has_no_bound() -> None:
    assert comb_bound_hz(100.0, 1000, {2.0: 0.0}, 0.05) == float("inf")


def test_noise_of_a_sample() -> None:
    """White noise of density d up to half the rate has variance d^2 fs / 2; rounding adds step^2 / 12."""
    rng = np.random.default_rng(1)
    white = 0.02 * rng.standard_normal(200_000)
    _, psd = periodogram(white, fs=200.0)
    assert phone_noise(float(np.sqrt(psd.mean())), 0.0, 200.0) == pytest.approx(white.std(), rel=0.01)
    exact = rng.uniform(-5, 5, 200_000)
    rounding = np.round(exact / 0.1) * 0.1 - exact
    assert phone_noise(0.0, 0.1, 200.0) == pytest.approx(rounding.std(), rel=0.01)


# ---------------------------------------------------------------- notebook and truth


def _recording(f_hz: float, fs: float = 100.0) -> Recording:
    t = np.arange(0, 20, 1 / fs)
    axes = np.outer(np.cos(2 * np.pi * f_hz * t), [0.1, 0.2, 0.05])
    axes[:, 2] += 9.8
    axes[:, 0] += 0.5 * np.cos(2 * np.pi * 37.0 * t)
    return Recording("r", t, axes, fs, True, len(t), 0)


def test_notebook_takes_the_strongest_peak() -> None:
    recording = _recording(24.0)
    assert notebook_rpm(recording, 2.0, None) == pytest.approx(37.0 * 30, abs=1.6)  # a bin: 1.5 rpm
    assert notebook_rpm(recording, 2.0, 700.0) == pytest.approx(24.0 * 30, abs=1.6)
    assert notebook_rpm(recording, 2.0, 5000.0) is None


def _kept(
    levels: dict[float, float], rpm: float = 720.0, seconds: float = 30.0, factor: float = 1.0
) -> KeptTruth:
    """Steady lines of these rms levels on engine orders, at a speed that rises by 5 % from end to end."""
    step = 1 / 1200
    t = np.arange(0, seconds, step)
    speed_hz = rpm / 60 * (0.975 + 0.05 * t / seconds)
    angle = np.cumsum(speed_hz) * step
    wave = sum(v * 2**0.5 * np.cos(2 * np.pi * o * angle) for o, v in levels.items())
    shake = factor * np.outer([0.6, 0.8, 0.0], wave)
    told = Truth(rpm, (0.0, seconds), np.zeros(0), np.zeros(0), {}, 0.0)
    motion = Vibration(step, shake, np.zeros_like(shake), angle, speed_hz)
    return KeptTruth(told, motion, Engine(4), factor, Phone())


def test_truth_over_a_part_of_the_recording() -> None:
    """The mean over the middle third of an even rise is that of the whole, over the first third 1.67 %
    less."""
    kept = _kept({2.0: 0.1})
    assert kept.mean_rpm((10.0, 20.0)) == pytest.approx(720.0, rel=1e-5)
    assert kept.mean_rpm((0.0, 10.0)) == pytest.approx(720.0 * (1 - 0.05 / 3), rel=1e-4)
    levels = kept.levels((5.0, 25.0), (0.5, 2.0))
    assert levels[2.0] == pytest.approx(0.1, rel=0.01)
    assert levels[0.5] < 1e-4
    assert kept.skirts((5.0, 25.0), (2.0,))[2.0] < 1e-3


def test_true_change_leaves_the_taping_out() -> None:
    before, after = _kept({1.0: 0.2, 2.0: 0.1}), _kept({1.0: 0.1, 2.0: 0.1}, factor=1.4)
    spans = ((2.0, 28.0), (2.0, 28.0))
    lines = FaultLines((1.0,))
    assert true_change_db(before, after, spans, lines) == pytest.approx(-6.02, abs=0.05)
    assert true_change_db(before, after, spans, FaultLines((2.0,))) == pytest.approx(0.0, abs=0.05)
    at_hz = FaultLines((), (24.0,))  # order 2 rises through 24 Hz: twice 12 a second
    assert abs(true_change_db(before, after, spans, at_hz) or 9.0) < 0.05


def test_true_change_of_a_line_that_the_phone_shows_folded_down() -> None:
    """Order 5.5 at 720 rpm, 66 Hz, shows at 34 Hz in 100 samples a second: the sampling theorem."""
    slow = Phone(rate_hz=100.0)
    before, after = (replace(_kept({5.5: level, 2.0: 0.1}), phone=slow) for level in (0.2, 0.1))
    spans = ((12.0, 18.0), (12.0, 18.0))  # the middle, where the speed is 720 rpm within half a percent
    at_hz = FaultLines((), (34.0,))
    assert true_change_db(before, after, spans, at_hz) == pytest.approx(-6.02, abs=0.1)


def test_orders_that_the_phone_can_see() -> None:
    """12 turns a second at 100 samples a second: order 4 lies at 48 Hz, too near half the rate. The phone's
    white noise (three axes, density d) holds 3 d^2 x 0.1 order x 12 Hz in a line's width; a line of four
    times that power is seen."""
    kept = _kept({0.5: 0.02, 2.0: 0.1, 4.0: 0.1})
    assert kept.seen_orders((2.0, 28.0), 100.0) == 2
    assert kept.seen_orders((2.0, 28.0), 200.0) == 3
    for level, seen in ((0.9, 0), (1.1, 1)):
        density = 0.1 / (level * 2 * (3 * 1.2) ** 0.5)
        noisy = replace(_kept({2.0: 0.1}), phone=Phone(noise_m_s2_rthz=density, step_m_s2=0.0))
        assert noisy.seen_orders((2.0, 28.0), 100.0) == seen


def test_filter_is_three_decibels_down_at_its_corner() -> None:
    """A Butterworth low-pass of any number of poles (from any filter handbook)."""
    for poles in (1, 2, 3):
        assert filter_loss_db(Phone(filter_hz=40.0, filter_poles=poles), 40.0) == pytest.approx(
            -3.01, abs=0.01
        )
    assert filter_loss_db(Phone(filter_hz=40.0, filter_poles=2), 80.0) == pytest.approx(-12.30, abs=0.01)
    assert filter_loss_db(Phone(), 80.0) == 0.0


def test_written_truth_reads_its_track() -> None:
    track = np.array([[0.0, 700.0], [1.0, 710.0], [2.0, 720.0]])
    truth = WrittenTruth(705.0, track, {2.0: 0.1})
    assert truth.mean_rpm((0.5, 2.0)) == 715.0
    assert truth.levels((0, 1), (0.5, 2.0)) == {2.0: 0.1}

"""Spectra against scipy.signal, closed forms, and published window and chi-square tables (reference/)."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal as ss

from vibecore import spectra
from vibecore.model import Spectrum

REFERENCE = Path(__file__).parent / "reference"
RNG = np.random.default_rng


def test_density_is_that_of_scipy_welch() -> None:
    x = RNG(0).normal(size=(6000, 3)) * [1.0, 2.0, 0.5]
    ours = spectra.density(x, 100.0, resolution_hz=0.5)
    f, theirs = ss.welch(x, 100.0, "hann", nperseg=200, noverlap=100, detrend=False, axis=0)
    np.testing.assert_allclose(ours.x, f)
    np.testing.assert_allclose(ours.psd, theirs.sum(axis=1), rtol=1e-10)


def test_noise_density_closed_form() -> None:
    # White noise of standard deviation s has the one-sided density 2 s^2 / fs (Bendat and Piersol, ch. 5).
    x = 0.3 * RNG(1).normal(size=100_000)
    psd = spectra.density(x, 200.0, resolution_hz=1.0).psd[2:-2]
    assert psd.mean() == pytest.approx(2 * 0.3**2 / 200.0, rel=0.01)


@pytest.mark.parametrize("f_hz", [20.0, 20.13, 20.25])
def test_sine_level_wherever_it_falls_between_bins(f_hz: float) -> None:
    # A sine of amplitude A has the mean square A^2 / 2, on a bin or half way between two.
    t = np.arange(20_000) / 200.0
    spectrum = spectra.density(1.7 * np.sin(2 * np.pi * f_hz * t + 0.4), 200.0, resolution_hz=0.5)
    assert spectra.band_rms(spectrum, f_hz - 2, f_hz + 2) == pytest.approx(1.7 / np.sqrt(2), rel=2e-3)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.01, 100), st.integers(300, 3000))
def test_parseval_scaling_and_rotation(seed: int, factor: float, n: int) -> None:
    x = ss.lfilter([1, 1], [1], RNG(seed).normal(size=(n, 3)), axis=0)
    turn = np.linalg.qr(RNG(seed + 1).normal(size=(3, 3)))[0]
    plain = spectra.density(x, 50.0, resolution_hz=1.0)
    np.testing.assert_allclose(
        spectra.density(factor * x, 50.0, resolution_hz=1.0).psd, factor**2 * plain.psd
    )
    np.testing.assert_allclose(spectra.density(x @ turn, 50.0, resolution_hz=1.0).psd, plain.psd, rtol=1e-6)
    assert plain.psd.sum() * 1.0 == pytest.approx((x**2).sum(axis=1).mean(), rel=0.5)


def test_window_bandwidth_and_overlap() -> None:
    # Harris, Proc. IEEE 66(1) 1978, Table I.
    table = pd.read_csv(REFERENCE / "window_constants.csv").query("window == 'hann'").set_index("quantity")
    assert pytest.approx(table.published["enbw_bins"]) == spectra.NOISE_BANDWIDTH_BINS
    assert (
        pytest.approx(table.computed_4096_periodic["overlap_correlation_50"], abs=1e-5)
        == spectra.OVERLAP_CORRELATION
    )
    window = ss.get_window("hann", 4096)
    assert pytest.approx(4096 * (window**2).sum() / window.sum() ** 2) == spectra.NOISE_BANDWIDTH_BINS


def interval_factors(averages: float, level: float) -> tuple[float, float]:
    """Factors that turn a density into the ends of its interval."""
    tail = (1 - level) / 2
    return 1 / spectra.chi2_per_dof(1 - tail, averages), 1 / spectra.chi2_per_dof(tail, averages)


def test_confidence_factors() -> None:
    # Bendat and Piersol, Random Data, ch. 8: chi-square with two degrees of freedom an average.
    table = pd.read_csv(REFERENCE / "psd_confidence.csv")
    assert len(table) == 22
    for row in table.itertuples():
        low, high = interval_factors(float(row.averages), float(row.level))
        assert low == pytest.approx(row.lower_factor, abs=5.1e-5)
        assert high == pytest.approx(row.upper_factor, abs=5.1e-5)


def test_intervals_cover_white_noise() -> None:
    # The statistical truth of the whole: effective averages and chi-square together.
    inside = []
    for seed in range(60):
        spectrum = spectra.density(RNG(seed).normal(size=4000), 100.0, resolution_hz=1.0)
        low, high = interval_factors(spectrum.averages, 0.95)
        truth, psd = 2 / 100.0, spectrum.psd[2:-2]
        inside.append((psd * low <= truth) & (truth <= psd * high))
    assert np.mean(inside) == pytest.approx(0.95, abs=0.01)


def test_bad_samples_change_neither_level_nor_floor() -> None:
    t = np.arange(20_000) / 200.0
    x = np.sin(2 * np.pi * 20 * t) + 0.1 * RNG(5).normal(size=len(t))
    good = np.ones(len(t), bool)
    for start in (1000, 7000, 12345):
        good[start : start + 150] = False
    knocked = np.where(good, x, 50.0)
    clean = spectra.density(x, 200.0, resolution_hz=0.5)
    holed = spectra.density(knocked, 200.0, resolution_hz=0.5, good=good)
    assert spectra.band_rms(holed, 18, 22) == pytest.approx(spectra.band_rms(clean, 18, 22), rel=0.02)
    assert np.median(holed.psd) == pytest.approx(np.median(clean.psd), rel=0.2)
    assert holed.averages < clean.averages


def test_density_of_noise_with_a_fifth_missing_is_unbiased() -> None:
    fs_hz, x = 200.0, RNG(6).normal(size=200_000)
    good = RNG(7).random(len(x)) > 0.2
    psd = spectra.density(x, fs_hz, resolution_hz=1.0, good=good).psd[2:-2]
    assert psd.mean() == pytest.approx(2 / fs_hz, rel=0.01)


def test_short_signal_gets_the_resolution_it_can_have() -> None:
    spectrum = spectra.density(RNG(2).normal(size=100), 100.0, resolution_hz=0.25)
    assert spectrum.x[1] == pytest.approx(1.0)
    assert spectrum.averages == 1


def test_nothing_good_gives_an_empty_spectrum() -> None:
    spectrum = spectra.density(np.ones(100), 100.0, resolution_hz=1.0, good=np.zeros(100, bool))
    assert len(spectrum.x) == len(spectrum.psd) == 0
    assert spectra.peaks(spectrum, floor_width=10.0) == ()


def lines_in_noise(seed: int, seconds: float = 120.0) -> tuple[np.ndarray, float]:
    fs_hz = 100.0
    t = np.arange(int(seconds * fs_hz)) / fs_hz
    x = 0.05 * RNG(seed).normal(size=(len(t), 3))
    for f_hz, rms in ((5.83, 0.03), (23.31, 0.4), (31.7, 0.1)):
        x[:, 1] += rms * np.sqrt(2) * np.sin(2 * np.pi * f_hz * t + seed)
    return x, fs_hz


def test_local_floor_is_the_noise_under_the_lines() -> None:
    x, fs_hz = lines_in_noise(1, 600.0)
    spectrum = spectra.density(x, fs_hz, resolution_hz=0.25)
    floor = spectra.local_floor(spectrum, width=6.0)
    truth = 3 * 2 * 0.05**2 / fs_hz
    assert np.abs(10 * np.log10(floor[4:-4] / truth)).max() < 0.6


def test_local_floor_of_few_averages_is_unbiased() -> None:
    floors = [
        spectra.local_floor(spectra.density(RNG(s).normal(size=1000), 100.0, resolution_hz=0.5), width=20.0)
        for s in range(60)
    ]
    assert np.mean(floors) == pytest.approx(2 / 100.0, rel=0.02)


def test_local_floor_follows_a_slope() -> None:
    # Noise through a first-order low-pass: density 2 s^2 / fs / |1 - a e^(-iw)|^2, closed form.
    fs_hz, a = 100.0, 0.9
    x = ss.lfilter([1], [1, -a], RNG(4).normal(size=120_000))
    spectrum = spectra.density(x, fs_hz, resolution_hz=0.25)
    truth = 2 / fs_hz / np.abs(1 - a * np.exp(-2j * np.pi * spectrum.x / fs_hz)) ** 2
    error_db = 10 * np.log10(spectra.local_floor(spectrum, width=4.0) / truth)
    assert np.abs(error_db[20:-20]).max() < 1.0


def test_peaks_have_right_frequency_and_level() -> None:
    x, fs_hz = lines_in_noise(2)
    found = spectra.peaks(spectra.density(x, fs_hz, resolution_hz=0.25), floor_width=6.0)
    assert [round(p.frequency_hz, 1) for p in found] == [5.8, 23.3, 31.7]
    for peak, (f_hz, rms) in zip(found, ((5.83, 0.03), (23.31, 0.4), (31.7, 0.1)), strict=True):
        assert peak.frequency_hz == pytest.approx(f_hz, abs=0.02)
        assert peak.rms_m_s2 == pytest.approx(rms, rel=0.08)
    assert found[1].above_floor_db > found[2].above_floor_db > found[0].above_floor_db > 6


def test_noise_alone_seldom_makes_a_peak() -> None:
    alarms = sum(
        bool(
            spectra.peaks(
                spectra.density(RNG(s).normal(size=6000), 100.0, resolution_hz=0.25), floor_width=6.0
            )
        )
        for s in range(200)
    )
    assert alarms <= 10  # 1 % of recordings asked for; 5 % leaves room for the floor's own scatter


def test_order_axis_keeps_its_unit() -> None:
    x = np.linspace(0, 10, 401)
    psd = 1.0 + 50 * np.exp(-(((x - 2.87) / 0.03) ** 2))
    (peak,) = spectra.peaks(Spectrum(x, psd, "order", 40.0), floor_width=1.0)
    assert peak.order == pytest.approx(2.87, abs=0.01)


def test_an_hour_is_quick() -> None:
    x = RNG(0).normal(size=(1_440_000, 3))
    begin = time.process_time()
    spectra.density(x, 400.0, resolution_hz=0.25)
    assert time.process_time() - begin < 0.8  # 0.25 s on the machine it was written on


@pytest.mark.parametrize("f_hz", [20.0, 20.06, 20.125, 20.2])
@pytest.mark.parametrize("swing_hz", [0.0, 0.3])
def test_a_line_strays_as_far_as_its_frequency_does(f_hz: float, swing_hz: float) -> None:
    # A frequency that swings by a about its mean as a sine does has the standard deviation a / sqrt(2);
    # blocks of 4 s follow swings of 20 s. Noise within the window's lobe strays by up to 1.2 bins of 0.25 Hz.
    t = np.arange(12_000) / 200.0
    phase = 2 * np.pi * f_hz * t + swing_hz * 20 * np.sin(2 * np.pi * t / 20)
    x = np.sin(phase) + 0.01 * RNG(4).normal(size=len(t))
    spectrum = spectra.density(x, 200.0, resolution_hz=0.25)
    strays = spectra.straying(spectrum, f_hz, floor_width=8.0)
    assert strays == pytest.approx(swing_hz / np.sqrt(2), abs=0.06)


@pytest.mark.parametrize("period_s", [1.0, 2.0, 4.0, 20.0])
def test_a_line_broken_up_by_a_fast_swing_strays_as_far(period_s: float) -> None:
    # The mean square of a spectrum's frequency about its middle is that of the frequency over time, however
    # fast it swings: Parseval. What clears no floor is cut off, which takes a little.
    t = np.arange(12_000) / 200.0
    phase = 2 * np.pi * 20.0 * t + 0.5 * period_s * np.sin(2 * np.pi * t / period_s)
    x = np.sin(phase) + 0.01 * RNG(4).normal(size=len(t))
    spectrum = spectra.density(x, 200.0, resolution_hz=0.25)
    strays = spectra.straying_within(spectrum, 20.0, 2.5, floor_width=8.0)
    assert strays == pytest.approx(0.5 / np.sqrt(2), rel=0.1)


def test_what_stands_over_no_floor_strays_nowhere() -> None:
    empty = Spectrum(np.arange(100.0), np.zeros(100), "hertz")
    assert spectra.straying(empty, 20.0, floor_width=8.0) == 0.0
    assert spectra.straying_within(empty, 20.0, 3.0, floor_width=8.0) == 0.0

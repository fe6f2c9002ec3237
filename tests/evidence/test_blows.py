"""Blows: bursts against the chi-square law of noise, how far up the shake reaches against densities by hand.

Averages of the square of white noise over T seconds and B hertz, on n axes alike, scatter as chi-square with
2 B T n degrees of freedom (Bendat and Piersol, Random Data, 4th ed., ch. 8; quantiles from scipy.stats).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal as filters
from scipy.stats import chi2

from tests.evidence import made as maker
from vibecore.evidence import gather
from vibecore.evidence.blows import bursts_db
from vibecore.model import Analysis, Floats, Place, Signal, Spectrum

TOP_HZ = 90.0


def shaken(accel: Floats, fs_hz: float) -> Signal:
    return Signal(fs_hz, 0.0, accel, np.ones(len(accel), bool), (0.0, len(accel) / fs_hz), True, 0.0)


def noise(fs_hz: float, seed: int = 1, length_s: float = 60.0) -> Floats:
    return np.random.default_rng(seed).standard_normal((round(length_s * fs_hz), 3))


def blows(fs_hz: float, seed: int = 2, a_second: float = 4.0, length_s: float = 60.0) -> Floats:
    """Blows at no even times on a sheet that rings at 60 Hz and dies within some 20 ms, beside some hiss."""
    rng = np.random.default_rng(seed)
    struck = np.zeros(round(length_s * fs_hz))
    struck[rng.integers(0, len(struck), round(a_second * length_s))] = 1.0
    ring_s = np.arange(0.0, 0.1, 1 / fs_hz)
    ring = np.exp(-ring_s / 0.02) * np.sin(2 * np.pi * 60 * ring_s)
    rung = filters.fftconvolve(struck, ring)[: len(struck)]
    return np.outer(rung, [0.6, 0.3, 0.74]) + 0.05 * noise(fs_hz, seed, length_s)


@pytest.mark.parametrize(
    ("fs_hz", "top_hz", "values"), [(400.0, 90.0, 1.95), (200.0, 80.0, 2.0), (100.0, 40.0, 2.0)]
)
def test_noise_bursts_as_much_as_chance_lets_it(fs_hz: float, top_hz: float, values: float) -> None:
    """values: B T. A narrow band is read over longer moments, so that chance is alike at all rates."""
    even = bursts_db(shaken(noise(fs_hz), fs_hz), top_hz)
    expected = 10 * np.log10(chi2.ppf(0.95, 6 * values) / chi2.ppf(0.5, 6 * values))
    assert even == pytest.approx(expected, abs=0.5)


def test_steady_lines_do_not_burst_and_blows_do() -> None:
    t = np.arange(0, 60, 1 / 400.0)
    lines = np.outer(np.sin(2 * np.pi * 31 * t), [1.0, 0.4, 0.2]) + 0.01 * noise(400.0)
    steady, struck = (bursts_db(shaken(a, 400.0), TOP_HZ) for a in (lines, blows(400.0)))
    assert steady is not None
    assert struck is not None
    assert steady < 0.5
    assert struck > 5.0


def test_what_swells_slowly_is_no_burst() -> None:
    """A fan that starts half way: ten times the shake, but no blow."""
    hiss = noise(400.0)
    hiss[len(hiss) // 2 :] *= 10
    level = bursts_db(shaken(hiss, 400.0), TOP_HZ)
    assert level == pytest.approx(bursts_db(shaken(noise(400.0), 400.0), TOP_HZ), abs=0.3)


def test_a_slow_phone_or_a_short_recording_cannot_tell() -> None:
    assert bursts_db(shaken(noise(60.0), 60.0), 24.0) is None
    assert bursts_db(shaken(noise(400.0, length_s=3.0), 400.0), TOP_HZ) is None


def job(accel: Floats, place: Place = "steering wheel") -> list[Analysis]:
    one = maker.made("n", fs_hz=400.0, place=place)
    return [replace(one, signal=shaken(accel, 400.0))]


def said(analyses: list[Analysis], finding: str) -> dict[str, tuple[float, str]]:
    found = gather(analyses, maker.FOUR)
    return {e.cause: (e.log_ratio_db, e.evidence.text) for e in found if e.finding == finding}


def test_blows_speak_for_metal_on_metal_and_none_against_it() -> None:
    struck, even = said(job(blows(400.0)), "bursts"), said(job(noise(400.0)), "bursts")
    assert struck["exhaust-contact"][0] > 3
    assert struck["exhaust-contact"][0] > struck["uneven-combustion"][0] > 0
    assert struck["exhaust-contact"][1].endswith("blows, as of metal on metal")
    assert even["exhaust-contact"][0] < 0
    assert not said(job(blows(400.0), "engine"), "bursts")


def between(low: float, high: float, turns_hz: float = 12.0) -> list[Analysis]:
    """Densities (m/s2)^2/Hz under and over 20 Hz."""
    one = maker.made("n", rpm=60 * turns_hz, fs_hz=400.0)
    assert one.orders is not None
    x = np.arange(0.0, 200.0 / turns_hz, 1 / 64)
    psd = np.where(x * turns_hz < 20.0, low, high) * turns_hz
    return [replace(one, orders=replace(one.orders, spectrum=Spectrum(x, psd, "order")))]


def test_rubber_keeps_back_what_is_fast_and_blows_reach_high() -> None:
    """Above its natural frequency a mount passes a force by 1 / f^2, 40 dB a decade (any handbook of
    vibration; from memory); a blow is flat up to one over its length (the same)."""
    flat, fallen = said(between(1e-3, 1e-3), "reach"), said(between(4e-3, 4e-5), "reach")
    assert "about as strong as under 16 Hz" in flat["exhaust-contact"][1]
    assert flat["exhaust-contact"][0] > 2 > 0 > flat["uneven-combustion"][0]
    assert "(-20 dB)" in fallen["uneven-combustion"][1]
    assert fallen["uneven-combustion"][0] > 3 > 0 > fallen["exhaust-contact"][0]


def test_where_no_more_shakes_than_in_a_sound_car_its_shape_says_nothing() -> None:
    assert not said(between(1e-8, 1e-8), "reach")

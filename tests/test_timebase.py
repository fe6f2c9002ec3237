"""Even time steps under jitter and loss, against closed forms (a sine keeps its amplitude) and scipy's fit
at the true stamps."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest
from scipy import signal as ss

from tests.speed.closed_form import as_recording, db, fitted_amplitude
from tests.timebase_made import END, FS_HZ, amplitude, evened, jittered, sine
from vibecore import read_recording
from vibecore.model import Recording
from vibecore.timebase import EvenSeries, even_steps


# Closed form: the sine put in has amplitude 1. Peer: scipy.linalg.lstsq at the true, uneven times.
@pytest.mark.parametrize("jitter", [0.02, 0.05, 0.12])
@pytest.mark.parametrize("share", [0.03, 0.1, 0.2, 0.3, 0.4, 0.43, 0.449])
def test_a_sine_keeps_its_amplitude_under_jitter(jitter: float, share: float) -> None:
    t_s = jittered(4096, jitter)
    accel = sine(t_s, share * FS_HZ)
    series = evened(t_s, accel)
    ours = amplitude(series, share * FS_HZ)
    assert abs(db(ours)) < 0.15
    peer = fitted_amplitude(t_s, accel[:, 0], share * FS_HZ)
    assert abs(db(ours / peer)) < 0.15


# A fifth of a step is worse than any phone met; the series still converges up to 0.43 of the rate.
@pytest.mark.parametrize("share", [0.1, 0.3, 0.4, 0.43])
def test_heavy_jitter_keeps_the_amplitude_to_0_43_of_the_rate(share: float) -> None:
    t_s = jittered(4096, 0.2)
    assert abs(db(amplitude(evened(t_s, sine(t_s, share * FS_HZ)), share * FS_HZ))) < 0.15


def test_correction_beats_the_usual_ways_by_scipy_near_the_top() -> None:
    # scipy.interpolate's cubic spline through the same stamps sags by 0.9 dB at 0.4 of the rate.
    from scipy.interpolate import CubicSpline

    f = 0.4 * FS_HZ
    t_s = jittered(4096, 0.2)
    accel = sine(t_s, f)
    grid = np.arange(END, 4096 - END) / FS_HZ
    spline = fitted_amplitude(grid, CubicSpline(t_s, accel[:, 0])(grid), f)
    ours = amplitude(evened(t_s, accel), f)
    assert abs(db(ours)) < 0.1 < 0.5 < abs(db(spline))


def test_noise_between_the_lines_stays_low() -> None:
    """Uncorrected jitter of rms e steps makes of a sine of power P a noise of about P (2 pi f e)^2 (closed
    form for small e); corrected, it is at least 20 dB below that."""
    f, jitter = 0.25 * FS_HZ, 0.05
    t_s = jittered(8192, jitter)
    series = evened(t_s, sine(t_s, f, noise_rms=1e-4))
    hertz, psd = ss.welch(series.accel_m_s2[END:-END, 0], FS_HZ, nperseg=1024)
    aside = (hertz > 2) & (hertz < 0.44 * FS_HZ) & (np.abs(hertz - f) > 2)
    left = float(psd[aside].mean() * FS_HZ / 2)
    uncorrected = 0.5 * (2 * np.pi * 0.25 * jitter) ** 2
    assert left < 0.01 * uncorrected


def test_even_stamps_leave_every_sample_as_it_is() -> None:
    t_s = np.arange(3000) / FS_HZ
    accel = sine(t_s, 31.3, noise_rms=0.1)
    series = evened(t_s, accel)
    np.testing.assert_array_equal(series.accel_m_s2, accel)
    assert series.good.all()
    assert series.fs_hz == FS_HZ


def test_stamps_rounded_to_a_millisecond_do_no_harm() -> None:
    """Rounding to q is an error of rms q / sqrt(12) (Bennett, 1948): 0.029 of a step at 100 a second."""
    even = np.arange(4096) / FS_HZ
    accel = sine(even, 0.4 * FS_HZ, noise_rms=0.05)
    series = evened(np.round(even * 1.0007, 3), accel, FS_HZ / 1.0007)
    t_s = np.arange(len(series.accel_m_s2)) / FS_HZ
    inner = slice(END, -END)
    assert abs(db(fitted_amplitude(t_s[inner], series.accel_m_s2[inner, 0], 0.4 * FS_HZ))) < 0.15


@pytest.mark.parametrize("jitter", [0.05, 0.15, 0.2])
def test_samples_even_but_stamps_uneven_are_recognised(jitter: float) -> None:
    n = 6000
    accel = sine(np.arange(n) / FS_HZ, 31.3, noise_rms=0.02)
    series = evened(jittered(n, jitter, seed=4), accel)
    shift = len(series.accel_m_s2) - n
    assert abs(shift) <= 1
    same = series.accel_m_s2[max(shift, 0) : n + min(shift, 0)] == accel[: n - abs(shift)]
    assert same.mean() > 0.98  # a place of the grid may change hands where two stamps cross
    assert abs(db(amplitude(series, 31.3))) < 0.05


@pytest.mark.parametrize("samples_uneven", [True, False])
def test_the_two_kinds_of_jitter_are_told_apart_by_the_floor(samples_uneven: bool) -> None:
    """Whichever way the phone erred, the floor beside the line stays that of its noise (by scipy.signal)."""
    n, f = 8192, 0.3 * FS_HZ
    stamps = jittered(n, 0.1, seed=8)
    taken = stamps if samples_uneven else np.arange(n) / FS_HZ
    series = evened(stamps, sine(taken, f, noise_rms=0.01 * np.sqrt(3)))
    hertz, psd = ss.welch(series.accel_m_s2[END:-END, 0], FS_HZ, nperseg=1024)
    aside = (hertz > 2) & (hertz < 0.44 * FS_HZ) & (np.abs(hertz - f) > 1)
    assert float(np.median(psd[aside])) == pytest.approx(2 * 0.01**2 / FS_HZ, rel=0.35)


def _with_losses(keep: np.ndarray, share: float, jitter: float = 0.0) -> EvenSeries:
    t_s = jittered(len(keep), jitter)
    keep[[0, -1]] = True
    return evened(t_s[keep], sine(t_s, share * FS_HZ)[keep])


@pytest.mark.parametrize("share", [0.05, 0.1, 0.2, 0.3, 0.4])
@pytest.mark.parametrize("jitter", [0.0, 0.05])
def test_single_lost_samples_are_bridged(share: float, jitter: float) -> None:
    """1 % lost: level within issue 3's 0.3 dB up to 0.4 of the rate, and no time slips."""
    keep = np.random.default_rng(3).random(6000) > 0.01
    series = _with_losses(keep, share, jitter)
    assert len(series.accel_m_s2) == 6000
    assert abs(db(amplitude(series, share * FS_HZ))) < 0.3


@pytest.mark.xfail(
    strict=True,
    reason="bridged samples are counted as good: at 3 % lost, 0.4 of the rate reads 0.5 dB low, not 0.3",
)
@pytest.mark.parametrize("share", [0.35, 0.4])
def test_three_per_cent_lost_samples_leave_the_level(share: float) -> None:
    keep = np.random.default_rng(3).random(6000) > 0.03
    assert abs(db(amplitude(_with_losses(keep, share), share * FS_HZ))) < 0.3


def test_long_gaps_are_marked_not_good_and_short_ones_used() -> None:
    keep = np.ones(6000, dtype=bool)
    keep[2000:2030] = keep[3000] = keep[4000:4020] = False
    series = _with_losses(keep, 0.1)
    bad = np.flatnonzero(~series.good)
    assert set(bad) == set(range(2000, 2030)) | set(range(4000, 4020))
    assert np.isfinite(series.accel_m_s2).all()
    # After each gap the phase is that of before: the whole is one sine (closed form).
    t_s = np.arange(6000) / FS_HZ
    left = np.abs(series.accel_m_s2[:, 0] - np.sin(2 * np.pi * 10 * t_s + 0.4))
    assert left[3000] < 0.1  # the single one that was bridged
    assert left[keep].max() < 0.02


@pytest.mark.parametrize("share", [0.1, 0.35, 0.42])
@pytest.mark.parametrize("jitter", [0.12, 0.15, 0.2])
def test_a_sample_later_than_half_a_step_moves_no_other(jitter: float, share: float) -> None:
    """One in 160 normal deviates of 0.2 of a step is beyond half a step, and one sample in 100 is lost. Peer:
    scipy.linalg.lstsq at the true, uneven times."""
    rng = np.random.default_rng(8)
    t_s = np.sort(np.arange(6000) + jitter * rng.standard_normal(6000))[rng.random(6000) > 0.01] / FS_HZ
    accel = sine(t_s, share * FS_HZ)
    series = evened(t_s, accel)
    assert "no even grid" not in series.history[0]
    assert np.mean(~series.good) < 0.01  # two lost in a row are bridged
    peer = fitted_amplitude(t_s, accel[:, 0], share * FS_HZ)
    assert abs(db(amplitude(series, share * FS_HZ) / peer)) < 0.3


def test_bursts_from_a_file_come_out_even() -> None:
    """Samples handed over in packets of five, stamps crowded at each packet's end; read as any other file."""
    n, size = 6000, 5
    even = np.arange(n) / FS_HZ
    last = np.minimum((np.arange(n) // size + 1) * size - 1, n - 1)
    stamps = even[last] - 2e-4 * (size - 1 - np.arange(n) % size)
    accel = sine(even, 31.3, noise_rms=0.01) + np.array([0, 0, 9.80665])
    rows = np.column_stack((stamps - stamps[0], accel))
    text = "time_s,x_m_s2,y_m_s2,z_m_s2\n" + "\n".join(",".join(f"{v:.6f}" for v in row) for row in rows)
    series = even_steps(read_recording(text.encode(), name="bursts.csv"))
    assert series.fs_hz == pytest.approx(FS_HZ, rel=1e-3)
    assert series.good.mean() > 0.98
    assert abs(db(amplitude(series, 31.3 * series.fs_hz / FS_HZ))) < 0.15


def test_a_long_recording_is_the_same_throughout() -> None:
    """Long recordings are worked through in pieces: against the closed form no seam is seen anywhere."""
    n, f = 60_000, 0.4 * FS_HZ
    t_s = jittered(n, 0.1, seed=2)
    accel = np.zeros((n, 3))
    accel[:, 0] = np.sin(2 * np.pi * f * t_s + 0.4)
    series = evened(t_s, accel)
    grid = np.arange(n) / FS_HZ
    turn = 2 * np.pi * f * grid
    columns = np.column_stack((np.sin(turn), np.cos(turn)))
    inner = slice(END, -END)
    fit = np.linalg.lstsq(columns[inner], series.accel_m_s2[inner, 0], rcond=None)[0]
    error = np.abs(series.accel_m_s2[:, 0] - columns @ fit)[inner]
    pieces = error[: len(error) // 100 * 100].reshape(-1, 100).max(axis=1)
    assert pieces.max() < 0.06
    assert pieces.max() < 4 * np.median(pieces)


def test_a_part_reads_as_it_does_within_the_whole() -> None:
    n = 50_000
    t_s = jittered(n, 0.1, seed=2)
    accel = sine(t_s, 31.3, noise_rms=0.01)
    whole = evened(t_s, accel)
    part = slice(15_000, 20_000)  # across any seam near a power of two
    alone = even_steps(Recording("part", t_s[part] - t_s[15_000], accel[part], FS_HZ, False, 5000, 0))
    a = whole.accel_m_s2[part][END:-END, 0]
    b = alone.accel_m_s2[END:-END, 0]
    time_s = np.arange(len(a)) / FS_HZ
    size_a, size_b = fitted_amplitude(time_s, a, 31.3), fitted_amplitude(time_s, b[: len(a)], 31.3)
    assert size_a == pytest.approx(size_b, rel=3e-3)
    assert np.var(a) == pytest.approx(np.var(b), rel=5e-3)


def _cpu_s(work: Callable[[], object]) -> float:
    def once() -> float:
        begin = time.process_time()
        work()
        return time.process_time() - begin

    return min(once() for _ in range(3))


def test_cost_grows_in_line_with_length() -> None:
    """Four times the samples: about four times the time (quadratic: sixteen). Wide, for a busy machine."""
    made = {}
    for n in (50_000, 200_000):
        t_s = jittered(n, 0.05)
        made[n] = as_recording(t_s, sine(t_s, 20.0), FS_HZ, gravity=None)
    few, many = (_cpu_s(lambda r=r: even_steps(r)) for r in made.values())
    assert many < 9 * few


def test_input_is_left_alone() -> None:
    t_s = jittered(2000, 0.1)
    recording = as_recording(t_s, sine(t_s, 20.0), FS_HZ)
    before = recording.t_s.copy(), recording.accel_m_s2.copy()
    even_steps(recording)
    np.testing.assert_array_equal(recording.t_s, before[0])
    np.testing.assert_array_equal(recording.accel_m_s2, before[1])


@pytest.mark.parametrize("n", [16, 31, 32, 40, 130])
def test_very_short_recordings_are_served(n: int) -> None:
    t_s = jittered(n, 0.05)
    series = evened(t_s, sine(t_s, 10.0))
    assert len(series.accel_m_s2) == n
    assert np.isfinite(series.accel_m_s2).all()


def test_stamps_that_crowd_shoot_nowhere() -> None:
    """Rows all but on top of each other hold unlike values: a spline through them all overshoots a hundred
    times (C. de Boor, A Practical Guide to Splines, on data that is not evenly spaced; from memory)."""
    rng = np.random.default_rng(6)
    t_s = np.cumsum(rng.exponential(1 / FS_HZ, 4000))
    t_s[1000:3000:40] = t_s[999:2999:40] + 1e-6
    accel = sine(t_s, 0.1 * FS_HZ, noise_rms=0.05)
    series = evened(t_s, accel)
    assert "no even grid" in series.history[0]
    assert np.abs(series.accel_m_s2).max() < 3 * np.abs(accel).max()

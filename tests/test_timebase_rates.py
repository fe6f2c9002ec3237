"""Even time steps where the rate itself drifts, steps or is none.

Against closed forms: a sine keeps its amplitude and its phase.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.speed.closed_form import db
from tests.timebase_made import END, FS_HZ, amplitude, evened, sine
from vibecore.model import Floats


def _rate_drifts(n: int) -> Floats:
    """By 0.2 % to and fro within the minute: a phone's clock that warms up."""
    turn = 2 * np.pi / 60
    at_s = np.arange(n) / FS_HZ
    return np.asarray(at_s + 0.002 / turn * (1 - np.cos(turn * at_s)))


def _rate_steps(n: int, share: float) -> Floats:
    """Another rate from the middle on, as a phone takes when it saves power."""
    return np.cumsum(np.where(np.arange(n) < n // 2, 1 - share, 1 + share)) / FS_HZ


def _rate_wanders(n: int, share: float) -> Floats:
    return np.cumsum(1 + share * np.random.default_rng(3).standard_normal(n)) / FS_HZ


# Closed form: the sine put in has amplitude 1. A cubic spline through even samples reads 0.8 dB low at 0.35
# of the rate and 1.7 dB at 0.4 (Unser 1999: its response is 3 sinc(f)^4 / (2 + cos(2 pi f)), f in rates).
@pytest.mark.parametrize(
    "t_s",
    [_rate_drifts(6000), _rate_steps(6000, 0.001), _rate_steps(6000, 0.005), _rate_wanders(6000, 0.03)],
    ids=["drifts", "steps a little", "steps", "wanders"],
)
@pytest.mark.parametrize("share", [0.03, 0.2, 0.35, 0.42])
def test_a_rate_that_changes_slowly_is_followed(t_s: Floats, share: float) -> None:
    fs_hz = (len(t_s) - 1) / (t_s[-1] - t_s[0])
    series = evened(t_s, sine(t_s, share * FS_HZ), fs_hz)
    assert series.good.all()
    assert abs(db(amplitude(series, share * FS_HZ))) < 0.2
    assert not series.warnings


@pytest.mark.parametrize("share", [0.01, 0.04])
def test_a_last_stretch_at_another_rate_is_not_thrown_away(share: float) -> None:
    """After nine tenths another rate, by more than can be followed in one case: it is all there, at its time
    (closed form)."""
    t_s = np.cumsum(np.where(np.arange(3000) < 2700, 1.0, 1.0 - share)) / FS_HZ
    series = evened(t_s, sine(t_s, 8.0, noise_rms=1e-4))
    assert len(series.good) == pytest.approx((t_s[-1] - t_s[0]) * FS_HZ + 1, abs=1.5)
    grid_s = np.arange(len(series.good)) / FS_HZ + t_s[0]
    off = np.abs(series.accel_m_s2[:, 0] - np.sin(2 * np.pi * 8.0 * grid_s + 0.4))
    assert series.good[-100:].all()
    assert off[-300:-END].max() < 0.1


def test_a_rate_that_changes_keeps_the_time_across_lost_samples() -> None:
    """What is lost is bridged or not good; after it the phase is that of before (closed form)."""
    t_s = _rate_steps(6000, 0.004)
    keep = np.ones(6000, dtype=bool)
    keep[1500], keep[4000:4010] = False, False
    accel = sine(t_s, 20.0, noise_rms=1e-4)
    series = evened(t_s[keep], accel[keep])
    grid_s = np.arange(len(series.good)) / FS_HZ + t_s[0]
    off = np.abs(series.accel_m_s2[:, 0] - np.sin(2 * np.pi * 20.0 * grid_s + 0.4))
    inner = series.good.copy()
    inner[:END] = inner[-END:] = False
    assert 8 <= np.count_nonzero(~series.good) <= 14
    # A grid of another phase, by a part of a step, would show as a few hundredths all along.
    assert np.median(off[inner]) < 0.06
    assert off[inner].max() < 0.2


def test_event_driven_stamps_are_told_and_low_lines_kept() -> None:
    """Steps of 1 to 50 ms, as loggers that record on change make: lines to a sixth of the rate are kept."""
    steps = np.random.default_rng(5).uniform(0.001, 0.050, 6000)
    t_s = np.cumsum(steps)
    fs_hz = 1 / float(steps.mean())
    for frequency_hz in (1.5, 4.0, 6.0):
        series = evened(t_s, sine(t_s, frequency_hz, noise_rms=1e-3), fs_hz)
        assert "no even grid" in series.history[0]
        assert [w.code for w in series.warnings] == ["uneven-clock"]
        assert abs(db(amplitude(series, frequency_hz))) < 0.15


def test_a_long_pause_of_an_event_driven_logger_is_not_good() -> None:
    steps = np.random.default_rng(5).uniform(0.006, 0.018, 3000)
    steps[1500] = 1.0
    t_s = np.cumsum(steps)
    fs_hz = 1 / float(np.median(steps))
    series = evened(t_s, sine(t_s, 4.0), fs_hz)
    at_s = np.arange(len(series.good)) / fs_hz
    pause = (at_s > t_s[1499] - t_s[0] + 0.1) & (at_s < t_s[1500] - t_s[0] - 0.1)
    assert pause.sum() > 50
    assert not series.good[pause].any()
    assert series.good[~pause].mean() > 0.9

"""The rate and the lost samples as the stamps alone tell them, against known truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.reading.make import codes, shake, with_stamps
from vibecore.reading.rate import find_rate

TRUTH = shake()


@settings(max_examples=60, deadline=None)
@given(
    rate_hz=st.sampled_from([50.0, 59.4, 104.3, 208.1, 400.7, 499.0]),
    jitter=st.sampled_from([0.0, 0.05, 0.15, 0.25]),
    loss=st.sampled_from([0.0, 0.002, 0.01, 0.05]),
    gap=st.sampled_from([0, 3, 100, 1000]),
    rounded=st.booleans(),
    seed=st.integers(0, 10_000),
)
@example(rate_hz=59.4, jitter=0.25, loss=0.05, gap=1000, rounded=False, seed=1477)  # the gap slipped a turn
@example(rate_hz=499.0, jitter=0.0, loss=0.01, gap=1000, rounded=True, seed=4415)  # 501 fits whole ms as well
def test_rate_and_lost_samples(
    rate_hz: float, jitter: float, loss: float, gap: int, rounded: bool, seed: int
) -> None:
    """Stamps with known rate, jitter (in steps), single losses and a gap: the rate within 0.05 %, the count
    within the two ends."""
    rng = np.random.default_rng(seed)
    n = int(rate_hz * 40)
    kept = rng.random(n) >= loss
    kept[n // 2 : n // 2 + gap] = False
    kept[[0, -1]] = True
    t = (np.arange(n) + np.clip(rng.normal(0, jitter, n), -0.49, 0.49)) / rate_hz
    if rounded:
        t = np.round(t, 3)
    t = t[kept] - t[0]
    t = t[np.concatenate([[True], np.diff(t) > 0])]
    found = find_rate(t)
    if not found.steady:  # so much disorder that no beat is left: it must say so rather than guess
        assert rounded
        assert jitter >= 0.15
        return
    if rounded and jitter >= 0.15 and 1 / found.step_s == pytest.approx(1000 - rate_hz, rel=5e-4):
        return  # whole ms fit 499 and 501 a second alike (aliasing), and so much jitter hides which it was
    assert 1 / found.step_s == pytest.approx(rate_hz, rel=5e-4)
    assert found.lost == pytest.approx(n - len(t), abs=2)


def test_event_driven_stamps_are_told() -> None:
    rng = np.random.default_rng(1)
    t = np.cumsum(rng.uniform(0.001, 0.05, 2000))
    recording = with_stamps([f"{v:.5f}" for v in t])
    assert codes(recording) == ["uneven-stamps"]
    assert recording.sample_rate_hz == pytest.approx(1999 / (t[-1] - t[0]), rel=0.01)
    assert recording.lost_samples == 0


@pytest.mark.parametrize("pause_s", [12.0, 60.0, 86400.0 * 3])
def test_two_recordings_with_a_pause_between_are_not_bridged(pause_s: float) -> None:
    """20 s at 100 a second, the pause after 13 s: the first 1300 rows are the longest part."""
    recording = with_stamps([f"{t + pause_s * (t > 12.995):.6f}" for t in TRUTH.t_s])
    assert codes(recording) == ["several-recordings"]
    assert (len(recording.t_s), recording.lost_samples) == (1300, 0)
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=1e-4)


def test_a_gap_is_counted_and_not_filled() -> None:
    recording = with_stamps([f"{t + 3 * (t > 10):.6f}" for t in TRUTH.t_s])
    assert recording.lost_samples == 300
    assert codes(recording) == ["lost-samples"]
    assert len(recording.t_s) == 2000


@pytest.mark.parametrize(
    ("rate_hz", "unit"), [(80.0, 0.01), (92.0, 0.01), (75.0, 0.01), (800.0, 1e-3), (833.0, 1e-3)]
)
@pytest.mark.parametrize("cut", [np.floor, np.round])
def test_an_even_beat_under_two_units_of_its_stamps(rate_hz, unit, cut) -> None:
    """80 Hz in hundredths of a second step by 1, 1, 1, 2: none is lost. A quarter lost at random is."""
    t_s = cut(np.arange(4000) / rate_hz / unit) * unit
    found = find_rate(t_s)
    assert 1 / found.step_s == pytest.approx(rate_hz, rel=1e-3)
    assert found.lost == 0
    assert found.steady
    gap = np.delete(t_s, np.s_[1000:1400])
    assert find_rate(gap).lost == pytest.approx(400, abs=3)
    assert 1 / find_rate(gap).step_s == pytest.approx(rate_hz, rel=3e-3)
    random = np.flatnonzero(np.random.default_rng(1).random(4000) < unit * rate_hz) * unit
    assert 1 / find_rate(random).step_s == pytest.approx(1 / unit, rel=1e-3)

"""The change of a mean, against scipy's test for unlike samples and against series of known correlation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal, stats

from vibecore.trying.change import MeanChange, changes_of_mean


def first_order(correlation: float, n: int, seed: int) -> np.ndarray:
    """A series whose each value is `correlation` times the one before plus fresh noise."""
    noise = np.random.default_rng(seed).standard_normal(n + 200)
    return signal.lfilter([1], [1, -correlation], noise)[200:]


@pytest.mark.parametrize("chance", [0.05, 0.01])
def test_values_that_do_not_follow_one_another_are_compared_as_students_t_does(chance):
    """W. S. Gosset, Biometrika 6, 1908, as in scipy.stats.ttest_ind with equal variances."""
    rng = np.random.default_rng(3)
    swing = np.tile([1.0, -1.0], 10)  # every value unlike the one before: no correlation to allow for
    was, now = 5 + swing * rng.uniform(0.5, 1.5, 20), 6 + swing[:16] * rng.uniform(0.5, 1.5, 16)
    (change,) = changes_of_mean([was, now], chance)
    interval = stats.ttest_ind(now, was).confidence_interval(1 - chance)
    assert (change.low, change.high) == pytest.approx((interval.low, interval.high), rel=1e-9)
    assert change.value == pytest.approx(now.mean() - was.mean())


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.6, 0.8])
def test_a_series_that_only_wanders_seldom_seems_to_change(correlation):
    """Parts of 15 s at 5 %: at most a tenth, where Student's test takes up to half of them for a change."""
    trials = [first_order(correlation, 45, seed) for seed in range(600)]
    thirds = [np.split(x, 3) for x in trials]
    wrong = np.mean([changes_of_mean(three, 0.05)[0].sure for three in thirds])
    assert 0.01 < wrong < 0.11
    if correlation >= 0.6:
        plain = np.mean([stats.ttest_ind(a, b).pvalue < 0.05 for a, b, _ in thirds])
        assert plain > 2 * wrong


def test_the_error_of_a_mean_is_that_of_so_many_independent_values():
    """n (1 - r) / (1 + r): at r = 0.6 a quarter of them. The mean's own scatter over many series tells it."""
    n, correlation = 400, 0.6
    means = [first_order(correlation, n, seed).mean() for seed in range(800)]
    (change,) = changes_of_mean(np.split(first_order(correlation, 2 * n, 1), 2), 0.05)
    assert change.half_width == pytest.approx(1.96 * np.sqrt(2) * np.std(means), rel=0.15)


def test_a_change_undoes_another_only_if_it_is_sure_and_goes_back():
    up = MeanChange(5.0, 3.0, 7.0)
    assert MeanChange(-4.0, -6.0, -2.0).undoes(up)
    assert not MeanChange(-4.0, -9.0, 1.0).undoes(up)
    assert not MeanChange(4.0, 2.0, 6.0).undoes(up)


def test_a_series_that_stands_quite_still_changes_by_nothing():
    (change,) = changes_of_mean([np.full(12, 700.0), np.full(12, 700.0)], 0.05)
    assert (change.value, change.low, change.high) == (0.0, 0.0, 0.0)
    assert not change.sure

"""The two shapes of likelihood, against scipy.stats."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from vibecore.evidence.likelihood import TAIL_DEGREES, Presence, Spread, log_t

values = st.floats(-60, 60)


@given(values, values, st.floats(0.1, 30))
def test_the_density_is_students(value: float, centre: float, spread: float) -> None:
    expected = stats.t.logpdf(value, TAIL_DEGREES, loc=centre, scale=spread)
    assert log_t(value, centre, spread) == pytest.approx(expected, abs=1e-9)


@given(values, st.floats(0, 10))
def test_a_cause_moves_a_quantity_in_its_share_of_cases(value: float, error: float) -> None:
    told = Spread((0.0, 3.0), {"a": (20.0, 6.0, 0.8)}).log_likelihood(value, error)
    sound = stats.t.pdf(value, TAIL_DEGREES, scale=math.hypot(3.0, error))
    moved = stats.t.pdf(value, TAIL_DEGREES, loc=20.0, scale=math.hypot(6.0, error))
    assert math.exp(told["normal"]) == pytest.approx(sound, rel=1e-9)
    assert math.exp(told["a"]) == pytest.approx(0.8 * moved + 0.2 * sound, rel=1e-9)


def test_what_some_sound_cars_show_as_well_counts_for_no_more_than_their_share_allows() -> None:
    """Bayes: far from what is usual, 'a' moves it in 0.8 of cases and something else in 0.05 of sound ones:
    the ratio is 0.8 / 0.05 + 0.2 at most."""
    plain = Spread((0.0, 3.0), {"a": (200.0, 6.0, 0.8)})
    told = plain.log_likelihood(200.0)
    assert told["a"] - told["normal"] > math.log(1000)
    told = Spread(plain.normal, plain.causes, astray=0.05).log_likelihood(200.0)
    assert math.exp(told["a"] - told["normal"]) == pytest.approx(0.8 / 0.05 + 0.2, rel=0.01)


def test_a_line_that_is_missed_speaks_by_how_often_it_is_there() -> None:
    line = Presence((0.1, -30.0, 8.0), {"a": (0.9, -10.0, 8.0)})
    told = line.log_likelihood(None)
    assert told["normal"] - told["a"] == pytest.approx(math.log(0.9 / 0.1))
    there = line.log_likelihood(-10.0)
    expected = math.log(0.9) + stats.t.logpdf(-10.0, TAIL_DEGREES, loc=-10.0, scale=8.0)
    assert there["a"] == pytest.approx(expected)


@given(st.none() | values)
def test_a_line_of_a_cause_is_there_in_its_share_of_cases(level: float | None) -> None:
    told = Presence((0.4, -20.0, 5.0), {"a": (0.9, -4.0, 3.0)}, {"a": 0.25}).log_likelihood(level)
    if level is None:
        sound, own = 0.6, 0.1
    else:
        sound = 0.4 * stats.t.pdf(level, TAIL_DEGREES, loc=-20.0, scale=5.0)
        own = 0.9 * stats.t.pdf(level, TAIL_DEGREES, loc=-4.0, scale=3.0)
    assert math.exp(told["normal"]) == pytest.approx(sound, rel=1e-9)
    assert math.exp(told["a"]) == pytest.approx(0.25 * own + 0.75 * sound, rel=1e-9)

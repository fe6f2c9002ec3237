"""What a car's recordings let expect of each other: closed forms of Bayes' rule on normal spreads, and order.

The ratios of idle in gear and of a raised idle to idle are common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vibecore.model import Candidate, Condition
from vibecore.speed.job import GEAR_DRAG, LOG_RPM, STEP, Hint, hints
from vibecore.speed.prior import log_prior

NEUTRAL = Condition(gear="neutral", speed_hold="idle")
DRIVE = Condition(gear="drive", speed_hold="idle")
RAISED = Condition(gear="neutral", speed_hold="raised")
SWEEP = Condition(gear="neutral", speed_hold="sweep")
SURE_700 = (Candidate(700.0, 0.99),)


def middle(hint: Hint | None) -> float:
    """The speed (rpm) whose logarithm is the mean of the density."""
    assert hint is not None
    mass = hint.at_grid * STEP
    return float(np.exp(np.sum(mass * LOG_RPM) / mass.sum()))


def test_one_idle_foretells_the_next() -> None:
    """Two readings of one base speed, each 3.5 % about it: the one given the other is sqrt(2) x 3.5 % about
    it (variances of independent normals add), so 7 % away the density is down to exp(-1)."""
    (hint, _) = hints([(NEUTRAL, ()), (NEUTRAL, SURE_700)], None)
    assert middle(hint) == pytest.approx(700.0, rel=0.01)
    assert hint is not None
    for away in (-0.07, 0.07):
        assert hint.density(700.0 * np.exp(away)) / hint.density(700.0) == pytest.approx(np.exp(-1), rel=0.15)


def test_a_hint_is_a_density() -> None:
    for hint in hints([(NEUTRAL, SURE_700), (DRIVE, SURE_700), (RAISED, SURE_700)], (650.0, 750.0)):
        assert hint is not None
        assert hint.at_grid.sum() * STEP == pytest.approx(1.0, abs=0.02)


def test_gear_drags_and_a_raised_idle_lies_above() -> None:
    neutral, drive, raised = hints([(NEUTRAL, SURE_700), (DRIVE, ()), (RAISED, ())], None)
    assert neutral is None  # nothing else was heard
    assert middle(drive) == pytest.approx(700.0 * GEAR_DRAG, rel=0.015)
    assert raised is not None
    assert raised.density(1120.0) > 30 * raised.density(700.0)  # a raised idle is no idle
    assert raised.density(1120.0) > 3 * raised.density(2240.0)


def test_a_sweep_is_told_of_its_low_end_and_tells_nothing() -> None:
    """Its mean may be twice and more the idle, and is what its candidates are known by."""
    swept, idle = hints([(SWEEP, (Candidate(1400.0, 0.99),)), (NEUTRAL, SURE_700)], None)
    assert idle is None
    assert swept is not None
    assert middle(swept) == pytest.approx(700.0, rel=0.1)
    for mean in (1200.0, 1800.0):  # whatever its mean, its path begins at the idle
        right, half = (log_prior(r * mean, SWEEP, swept, r * 720.0) for r in (1.0, 0.5))
        assert right - half > np.log(30)


def test_the_plate_alone_tells_of_an_idle() -> None:
    (hint,) = hints([(NEUTRAL, (Candidate(1400.0, 0.6),))], (620.0, 720.0))
    assert middle(hint) == pytest.approx(670.0, rel=0.05)
    assert hint is not None
    assert hint.density(688.0) > 20 * hint.density(1376.0)


@pytest.mark.parametrize(
    "apart",
    [
        Condition(gear="drive", speed_hold="raised"),  # on the road
        Condition(gear="neutral", speed_hold="engine off"),
    ],
)
def test_the_road_and_a_still_engine_neither_tell_nor_are_told(apart: Condition) -> None:
    assert hints([(apart, SURE_700), (NEUTRAL, SURE_700)], None) == [None, None]


@given(
    mine=st.lists(st.tuples(st.floats(400, 3000), st.floats(0, 0.3)), max_size=3),
    others=st.lists(st.tuples(st.floats(400, 3000), st.floats(0.5, 0.99)), min_size=1, max_size=3),
    plate=st.none() | st.just((600.0, 700.0)),
)
def test_no_recording_speaks_for_itself(
    mine: list[tuple[float, float]],
    others: list[tuple[float, float]],
    plate: tuple[float, float] | None,
) -> None:
    rest = [(NEUTRAL, (Candidate(*other),)) for other in others]
    told = hints([(NEUTRAL, tuple(Candidate(*c) for c in mine)), *rest], plate)[0]
    silent = hints([(NEUTRAL, ()), *rest], plate)[0]
    assert told is not None
    assert silent is not None
    np.testing.assert_array_equal(told.at_grid, silent.at_grid)
    assert np.isfinite(told.at_grid).all()
    assert (told.at_grid >= 0).all()


@given(st.permutations(range(4)))
def test_the_order_of_the_recordings_says_nothing(order: list[int]) -> None:
    """Bayes' rule knows no order. Three say as much as each other, one of them twice the speed."""
    lone = [(NEUTRAL, (Candidate(rpm, 0.895), Candidate(2 * rpm, 0.05))) for rpm in (690.0, 730.0, 1380.0)]
    found = [(DRIVE, ()), *lone]
    usual, shuffled = hints(found, None)[0], hints([found[i] for i in order], None)[order.index(0)]
    assert usual is not None
    assert shuffled is not None
    np.testing.assert_allclose(shuffled.at_grid, usual.at_grid, rtol=1e-9, atol=1e-12)

"""The normal density against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from vibecore.normal import density


@pytest.mark.parametrize("sd", [0.035, 1.0, 8.0])
def test_it_is_that_of_scipy(sd: float) -> None:
    x = np.linspace(-6 * sd, 6 * sd, 101)
    np.testing.assert_allclose(density(x, sd), stats.norm.pdf(x, scale=sd), rtol=1e-12)
    assert density(0.5 * sd, sd) == pytest.approx(stats.norm.pdf(0.5 * sd, scale=sd), rel=1e-12)


def test_two_halves_meet_and_hold_all_that_may_be() -> None:
    """A density has area 1, whatever its halves; `stats.norm` has each half twice as high as its share."""
    below, above = 0.2, 0.5
    x = np.linspace(-8 * below, 8 * above, 200_001)
    halves = density(x, np.where(x < 0, below, above), (below + above) / 2)
    assert np.trapezoid(halves, x) == pytest.approx(1.0, abs=1e-6)
    share = above / (below + above)
    assert halves[-70_000] == pytest.approx(2 * share * stats.norm.pdf(x[-70_000], scale=above), rel=1e-9)

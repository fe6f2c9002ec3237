"""An even series read between its samples, against sines in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from vibecore.between import BLOCK, MARGIN, read_at


@pytest.mark.parametrize("of_rate", [0.01, 0.1, 0.25, 0.4, 0.45])
def test_a_sine_is_read_where_it_is(of_rate: float) -> None:
    """Its samples fix a sine below half the rate (Shannon's theorem), so its value at any place is known. The
    level is kept up to 0.45 of the rate, as the module says; the ends are read less well."""
    n = 2 * BLOCK + 100
    place = np.arange(2 * MARGIN, n - 2 * MARGIN) + np.random.default_rng(1).uniform(0, 1, n - 4 * MARGIN)
    there = np.sin(2 * np.pi * of_rate * place)
    read = read_at(np.sin(2 * np.pi * of_rate * np.arange(n))[None], place)[0]
    gain = read @ there / (there @ there)
    assert 20 * np.log10(gain) == pytest.approx(0.0, abs=0.1)
    assert np.sqrt(np.mean((read - gain * there) ** 2)) < 0.01


def test_at_the_samples_themselves_they_come_back() -> None:
    """It is no smoothing: shake up to 0.4 of the rate is left as it is. By definition, no source."""
    rng = np.random.default_rng(2)
    n = 3000
    lines = np.fft.rfft(rng.standard_normal((3, n)), axis=1)
    lines[:, int(0.4 * n) :] = 0.0
    values = np.fft.irfft(lines, n, axis=1)
    inside = np.arange(2 * MARGIN, n - 2 * MARGIN)
    np.testing.assert_allclose(read_at(values, inside.astype(float)), values[:, inside], atol=1e-3)


def test_nothing_is_read_of_no_places() -> None:
    assert read_at(np.ones((3, 100)), np.empty(0)).shape == (3, 0)

"""The Hann window against scipy's, and against what is tabled of it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import windows

from vibecore import hann
from vibecore.spectra import NOISE_BANDWIDTH_BINS, OVERLAP_CORRELATION

SIZES = [2, 5, 64, 401]


@pytest.mark.parametrize("size", SIZES)
def test_both_forms_are_those_of_scipy(size: int) -> None:
    np.testing.assert_allclose(hann.periodic(size), windows.hann(size, sym=False), atol=1e-15)
    np.testing.assert_allclose(hann.inner(size), windows.hann(size + 2, sym=True)[1:-1], atol=1e-15)
    assert hann.inner(size).min() > 0


def test_what_is_tabled_of_it() -> None:
    """F. J. Harris, Proc. IEEE 66(1), 1978, Table I: noise bandwidth 1.5 bins, correlation of blocks that
    overlap by half 16.7 %."""
    window = hann.periodic(4096)
    bandwidth = len(window) * (window**2).sum() / window.sum() ** 2
    half = window[: len(window) // 2] @ window[len(window) // 2 :] / (window @ window)
    assert bandwidth == pytest.approx(NOISE_BANDWIDTH_BINS, rel=1e-9)
    assert half == pytest.approx(OVERLAP_CORRELATION, abs=5e-4)


def test_what_is_kept_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        hann.periodic(16)[0] = 1.0

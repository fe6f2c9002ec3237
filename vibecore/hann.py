"""The Hann window in the two forms that are needed.

A discrete Fourier transform takes a block for one period, so its window is `periodic` (F. J. Harris, Proc.
IEEE 66(1), 1978). In a weighted mean over some samples ends of 0 would only be two samples lost: `inner`.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from vibecore.model import Floats


@lru_cache(maxsize=16)
def periodic(size: int) -> Floats:
    """(size,) from 0 up to 1 and down, without the 0 that begins the next period. Kept, so read-only."""
    window = np.asarray(0.5 - 0.5 * np.cos(2 * np.pi * np.arange(size) / size))
    window.setflags(write=False)
    return window


def inner(size: int) -> Floats:
    """(size,) symmetric, none of them 0."""
    return np.asarray(np.hanning(size + 2)[1:-1])

"""Runs of True in a row of flags."""

from __future__ import annotations

import numpy as np

from vibecore.model import Flags


def runs(flags: Flags) -> np.ndarray:
    """(k, 2) where each run of True begins and where it has ended. flags: (n,)."""
    edges = np.diff(np.concatenate(([False], flags, [False])).astype(np.int8))
    return np.flatnonzero(edges).reshape(-1, 2)

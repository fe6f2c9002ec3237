"""Angles between directions."""

from __future__ import annotations

import numpy as np

from vibecore.model import Floats


def degrees(cosine: Floats) -> Floats:
    """Angles (...) of these cosines, which rounding may take a little beyond 1."""
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def between_deg(one: Floats, other: Floats) -> Floats:
    """Angles (m,) between vectors (m, 3) or (3,), each with its own or with the same one."""
    lengths = np.maximum(np.linalg.norm(one, axis=-1) * np.linalg.norm(other, axis=-1), 1e-12)
    return degrees((one * other).sum(axis=-1) / lengths)

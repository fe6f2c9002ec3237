"""By how much the mean of a series changes from part to part, when one value is much like the next.

An idle wanders by itself; so a change is held against the scatter with its serial correlation, n values
counting as n (1 - r) / (1 + r) for the mean and as n (1 - r^2) / (1 + r^2) for the scatter itself (Bayley and
Hammersley, Supplement to the J. R. Statist. Soc. 8, 1946, for a first-order process; r freed of its bias,
Kendall, Biometrika 41, 1954; both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import special

from vibecore.model import Floats

# Correlation of a value with the next: a governor steers back within some seconds, slower is drift.
MOST_ALIKE = 0.8
LEAST_FREEDOM = 4.0  # degrees of it: below, an interval says nothing


@dataclass(frozen=True)
class MeanChange:
    """What a mean changed by, with the ends of its interval."""

    value: float
    low: float
    high: float

    @property
    def sure(self) -> bool:
        return self.low > 0 or self.high < 0

    @property
    def half_width(self) -> float:
        return (self.high - self.low) / 2

    def within(self, bound: float) -> bool:
        return -bound < self.low and self.high < bound

    def undoes(self, other: MeanChange) -> bool:
        return self.sure and self.value * other.value < 0


def changes_of_mean(parts: Sequence[Floats], chance: float) -> list[MeanChange]:
    """Change of the mean from each part of a series to the next, with an interval that leaves the true one
    out with this chance. Scatter and correlation are taken to be the same in all parts."""
    left = [part - part.mean() for part in parts]
    count = sum(map(len, parts))
    variance = sum(float(x @ x) for x in left) / (count - len(parts))
    alike = _correlation(left)
    share = (1 - alike) / (1 + alike)
    worth = [max(len(part) * share, 1.0) for part in parts]
    freedom = max(count * (1 - alike**2) / (1 + alike**2) - len(parts), LEAST_FREEDOM)
    t = float(special.stdtrit(freedom, 1 - chance / 2))
    changes = []
    for (was, n), (now, m) in pairwise(zip(parts, worth, strict=True)):
        step, half = float(now.mean() - was.mean()), t * float(np.sqrt(variance * (1 / n + 1 / m)))
        changes.append(MeanChange(step, step - half, step + half))
    return changes


def _correlation(left: Sequence[Floats]) -> float:
    """Of each value with the next, from deviations of parts from their means; freed of its bias."""
    square = sum(float(x @ x) for x in left)
    if square <= 0:
        return 0.0
    raw = sum(float(x[1:] @ x[:-1]) for x in left) / square
    mean_length = sum(map(len, left)) / len(left)
    return float(np.clip(raw + (1 + 4 * raw) / mean_length, 0.0, MOST_ALIKE))

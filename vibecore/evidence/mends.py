"""What a repair does to the levels: how much of a fault is left, and how far it moves them besides.

Nobody tells what was mended. Under each cause the repair may have left the fault as it was, halved it, taken
it away or made it worse; a sound car, and a fault that lies on no order, has nothing to change. So levels
that fell speak for the causes whose levels they are, and levels that stayed speak a little against all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from vibecore.constants import DEFAULT_PLACING_DB, NOTHING_MENDED
from vibecore.evidence.levels import FAMILIES, LevelReading
from vibecore.evidence.patterns import Pattern
from vibecore.model import Floats
from vibecore.normal import density


class Mend(NamedTuple):
    """left: amplitude of the fault after over before. chance: that a repair comes to this."""

    left: float
    chance: float


AS_IT_WAS = Mend(1.0, 1.0)
# Of repairs that mended nothing one in ten made it worse, of the others seven were whole. Common practice, no
# source.
MENDS = (
    Mend(1.0, 0.9 * NOTHING_MENDED),
    Mend(2.0, 0.1 * NOTHING_MENDED),
    Mend(0.0, 0.7 * (1 - NOTHING_MENDED)),
    Mend(0.5, 0.3 * (1 - NOTHING_MENDED)),
)
# What else a repair changes, of parts moved and bolts drawn, in each level; and how far what it takes from a
# family differs from what the cause usually adds there, as a share. Common practice, no source.
BESIDE_DB, UNLIKE_SHARE = 3.0, 0.3

CHANGES_DB = 50.0  # a repair changes a line's level by anything from -40 to +10


def of_change(change_db: float, sd_db: float, other_reason: float) -> tuple[float, float]:
    """Density (per dB) of a line's change, read with that standard deviation, if the line is the fault's, be
    it mended or not, and if it is another's, which changes for reasons of its own with that chance."""
    by_chance = float(density(change_db, sd_db))
    by_repair = 1 / CHANGES_DB
    theirs = NOTHING_MENDED * by_chance + (1 - NOTHING_MENDED) * by_repair
    return theirs, (1 - other_reason) * by_chance + other_reason * by_repair


def mends_of(way: Pattern, readings: Sequence[LevelReading]) -> tuple[Mend, ...]:
    """What a repair may have come to, as far as the levels can show it."""
    read_again = any(r.again_db is not None for r in readings)
    return MENDS if read_again and (way.adds or way.own_spread) else (AS_IT_WAS,)


def share_left(mend: Mend, adds: Floats, readings: Sequence[LevelReading]) -> Floats:
    """(n,) of the decibels that the fault adds the share that is there: all of them before the repair."""
    return np.array(
        [1.0 if r.again_db is None else _left(mend.left, a) for a, r in zip(adds, readings, strict=True)]
    )


def _left(amplitude: float, adds_db: float) -> float:
    """The fault's mean square adds to the sound car's, and goes with the square of its amplitude."""
    if adds_db <= 0:
        return amplitude
    return 10 * math.log10(1 + amplitude**2 * (10 ** (adds_db / 10) - 1)) / adds_db


def mend_covariance(mend: Mend, adds: Floats, left: Floats, readings: Sequence[LevelReading]) -> Floats:
    """(n, n) dB squared: what reading again brings, and what the repair did besides if it did anything."""
    again = np.array([r.again_db is not None for r in readings])
    family = np.array([FAMILIES.index(r.family) for r in readings])
    total = DEFAULT_PLACING_DB**2 * np.outer(again, again) + np.diag(
        [(r.again_db or 0.0) ** 2 for r in readings]
    )
    if mend.left == 1.0:
        return total
    taken = UNLIKE_SHARE * adds * (1 - left)
    return total + np.diag(BESIDE_DB**2 * again) + np.outer(taken, taken) * (family[:, None] == family)

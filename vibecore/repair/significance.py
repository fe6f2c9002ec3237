"""Is a change more than chance, and if not, is it sure to be small? And what could have been seen at all?

Not significant is not the same as unchanged: `unchanged` needs two one-sided tests, each against a change
worth the name (Schuirmann, J. Pharmacokinet. Biopharm. 15, 1987).
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr, stdtr

from vibecore.constants import Z_95

TEST_LEVEL = 0.05  # chance of a wrong `unchanged`, and of a wrong `lower` or `higher`
# A repair that leaves more than half the shake has not found the fault.
WORTH_THE_NAME_DB = 20 * np.log10(2.0)
# Smallest change of seated vibration that people feel, about 13 % (Mansfield and Griffin, J. Sound Vib.
# 235, 2000, from memory): a smaller one is no repair, however surely it was measured.
FELT_DB = 20 * np.log10(1.13)


def equivalence_p(
    difference: float, standard_error: float, low: float, high: float, dof: float | None = None
) -> float:
    """p of the two one-sided tests that a difference lies between low and high: the greater of the two.

    dof: degrees of freedom of the standard error, None if it is as good as known (normal distribution).
    """
    above_low = (difference - low) / standard_error
    below_high = (high - difference) / standard_error
    worse = min(above_low, below_high)
    return float(ndtr(-worse) if dof is None else stdtr(dof, -worse))


def is_unchanged(change_db: float, sd_db: float) -> bool:
    """Sure to be less than a halving or a doubling."""
    if sd_db <= 0:
        return abs(change_db) < WORTH_THE_NAME_DB
    p = equivalence_p(change_db, sd_db, -float(WORTH_THE_NAME_DB), float(WORTH_THE_NAME_DB))
    return p < TEST_LEVEL


def smallest_visible_db(sd_db: float) -> float:
    """The change that has to be exceeded to be told from none."""
    return max(Z_95 * sd_db, float(FELT_DB))

"""How far the taping moved all levels alike, told by the lines that the repair cannot have touched.

A taping raises or lowers what the phone hears by much the same factor on every line. A fault with lines of
its own leaves the others as they were, so what those have moved alike is the taping, and the change of the
fault's lines is reckoned from there. Three things may be wrong with that, and each has its chance in the
reckoning: a line may have changed for a reason of its own, all of them may have (then they tell nothing), and
the factor is never quite the same on every line.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vibecore.model import Floats
from vibecore.normal import density
from vibecore.repair.lines import LevelChange

# Share of the placing scatter (a standard deviation) that differs from line to line, and chances that one
# line or all of them changed for another reason. Common practice, no source.
OWN_SHARE = 0.5
ONE_CHANGED, ALL_CHANGED = 0.15, 0.2
CHANGED_DB = 8.0  # by how much they then change: a standard deviation
LEAST_SURE_DB = 2.0  # a line known worse than this has little to say
_GRID_DB = np.arange(-20.0, 20.05, 0.1)


def shift(untouched: Sequence[LevelChange], placing_db: float) -> LevelChange:
    """The shift of all levels from the first recording to the second in dB, with the standard deviation that
    it leaves on the change of any line, from the changes of lines that the repair cannot have touched.

    placing_db: standard deviation of the change that taping on again makes on a line. Without any line to
    tell, no shift, known to placing_db.
    """
    own = OWN_SHARE * placing_db
    common = float(np.sqrt(placing_db**2 - own**2))
    told = [c for c in untouched if c.sd_db < LEAST_SURE_DB]
    if not told or placing_db <= 0:
        return LevelChange(0.0, placing_db)
    log_likelihood = np.sum([_log_of_line(c, own) for c in told], axis=0)
    likelihood = np.exp(log_likelihood - log_likelihood.max())
    taped = likelihood * density(_GRID_DB, common)
    repaired = likelihood * density(_GRID_DB, float(np.hypot(common, CHANGED_DB)))
    taping_only, all_changed = (1 - ALL_CHANGED) * taped.sum(), ALL_CHANGED * repaired.sum()
    trust = float(taping_only / (taping_only + all_changed))
    mean = float(np.average(_GRID_DB, weights=taped))
    square = float(np.average(_GRID_DB**2, weights=taped))
    variance = trust * square + (1 - trust) * common**2 - (trust * mean) ** 2
    return LevelChange(trust * mean, float(np.sqrt(variance + own**2)))


def _log_of_line(change: LevelChange, own_db: float) -> Floats:
    """Log likelihood of one line's change over the shifts of the grid."""
    sd, off = float(np.hypot(change.sd_db, own_db)), change.db - _GRID_DB
    wide = float(np.hypot(sd, CHANGED_DB))
    return np.asarray(np.log((1 - ONE_CHANGED) * density(off, sd) + ONE_CHANGED * density(off, wide)))

"""Placing repeatability, measured where the person taped the phone on anew and recorded the same again.

A taping raises or lowers all that the phone hears by one factor, so two tapings are one measurement, however
many orders they share. One is little: the default has its word beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vibecore.constants import DEFAULT_PLACING_DB
from vibecore.copies import same_contents
from vibecore.model import Analysis
from vibecore.repair.likeness import likeness
from vibecore.repair.lines import change, level_at_order

# How many pairs of tapings the default is worth. With 2, intervals drawn from one pair hold 93 % where taping
# scatters as the default says, 99 % at 1 dB, 83 % at 2.2 dB (the default alone holds 82 % there).
_DEFAULT_COUNTS_AS = 2


@dataclass(frozen=True)
class Placing:
    """What taping the phone on anew does on this car: standard deviation of the change between two tapings,
    in dB, and the pairs of recordings that tell."""

    sd_db: float
    pairs: tuple[tuple[str, str], ...]

    def words(self) -> str:
        """The note under a verdict that rests on it."""
        listed = " and ".join(f"{first} and {second}" for first, second in self.pairs)
        return (
            f"How far taping on moves the levels was measured with {listed}: {_share(self.sd_db)}, "
            f"weighed with the usual {_share(DEFAULT_PLACING_DB)}."
        )


def _share(db: float) -> str:
    return f"about {100 * (10 ** (db / 20) - 1):.0f} % ({db:.1f} dB)"


def placing_db_of(measured: Placing | None) -> float:
    """Placing repeatability to reckon with: as measured, else the default."""
    return measured.sd_db if measured is not None else DEFAULT_PLACING_DB


def measured_placing(analyses: Sequence[Analysis]) -> Placing | None:
    """Placing repeatability from all recordings of a job said to be taped on anew, each against the one
    before it that was made alike; None if no such pair shares an order seen well."""
    found = []
    for i, again in enumerate(analyses):
        first = _repeated(again, analyses[:i]) if again.condition.taped_anew else None
        moved_db2 = _moved(first, again) if first is not None else None
        if first is not None and moved_db2 is not None:
            found.append((moved_db2, (first.name, again.name)))
    if not found:
        return None
    return Placing(_joined([moved for moved, _ in found]), tuple(names for _, names in found))


def _repeated(again: Analysis, earlier: Sequence[Analysis]) -> Analysis | None:
    """The latest of the earlier recordings made in the same way; the same file twice is no second taping."""
    alike = [a for a in earlier if a.condition.made_as(again.condition)]
    other = [a for a in alike if not same_contents(a.recording, again.recording)]
    return other[-1] if other else None


def _moved(first: Analysis, second: Analysis) -> float | None:
    """Mean square change in dB^2 of the orders that both show well, less what measuring them scatters."""
    if likeness(first, second).blocking is not None or first.orders is None:
        return None
    moved = []
    for lv in first.orders.levels:
        b, a = level_at_order(first, lv.order), level_at_order(second, lv.order)
        if b is not None and a is not None and (c := change(b, a)).sd_db < DEFAULT_PLACING_DB:
            moved.append(c.db**2 - c.sd_db**2)
    return max(float(np.mean(moved)), 0.0) if moved else None


def _joined(moved_db2: Sequence[float]) -> float:
    all_db2 = sum(moved_db2) + _DEFAULT_COUNTS_AS * DEFAULT_PLACING_DB**2
    return float(np.sqrt(all_db2 / (len(moved_db2) + _DEFAULT_COUNTS_AS)))

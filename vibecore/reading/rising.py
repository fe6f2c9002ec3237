"""What a column does down its rows: counts, rises as time does, or measures."""

from __future__ import annotations

import numpy as np

from vibecore.model import Floats

from . import names
from .table import Column

_COUNTED = 0.99  # share of the steps that are of a counter
_MOSTLY_ONES = 0.5  # share of steps of 1 in a counter of samples some of which were lost
_COUNTER_ROWS = 8  # fewer rows than this count nothing
_SELDOM = 0.02  # share of the steps: fewer falls are slips of a clock, fewer climbs are no rise
_SIZE_ERROR = 0.01  # of a vector's length: what printed figures leave of it
_FALLS_PER_CLIMB = 0.2  # at most, of a time whose stamps are out of order


def is_measured(column: Column) -> bool:
    """True for numbers that neither are a time by name nor count nor rise."""
    return not (column.numbers is None or _is_special(column) or is_counter(column) or rises(column))


def _is_special(column: Column) -> bool:
    values = column.floats()
    return not np.isfinite(values).any() or bool(column.name and names.is_time(column.name))


def is_counter(column: Column) -> bool:
    """True if a column just counts its rows, or the samples of which some were lost. A time in whole ms may
    step by ones and twos as well, so what is named time must count without a loss."""
    values = column.floats()
    if len(values) < _COUNTER_ROWS:
        return False
    with np.errstate(invalid="ignore"):  # figures too large for any number are infinite here
        steps = np.diff(values)
        ones = float(np.mean(steps == 1.0))
        if ones > _COUNTED or ones < _MOSTLY_ONES or (column.name and names.is_time(column.name)):
            return ones > _COUNTED
        return bool(np.mean((steps >= 1.0) & (steps == np.rint(steps))) > _COUNTED)


def rises(column: Column) -> bool:
    """True if a column never falls and rises overall, as time does."""
    values = column.floats()
    steps = np.diff(values[np.isfinite(values)])
    falls, climbs = np.count_nonzero(steps < 0), np.count_nonzero(steps > 0)
    # A coarse phone on a still engine stays on one value and seldom steps: as often down as up.
    seldom_falls = falls < min(_SELDOM * len(steps), _FALLS_PER_CLIMB * climbs)
    return len(steps) >= _COUNTER_ROWS and bool(seldom_falls and climbs > _SELDOM * len(steps))


def is_size(size: Floats, axes: list[Column]) -> bool:
    """True if one column is the length of the vector of the three others."""
    x, y, z = (c.floats() for c in axes)
    length = np.hypot(np.hypot(x, y), z)
    known = np.isfinite(size) & np.isfinite(length)
    return bool(known.any()) and bool(
        np.median(np.abs(size - length)[known]) < _SIZE_ERROR * np.median(length[known]) + 1e-6
    )

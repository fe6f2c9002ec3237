"""A clock in several columns: hour, minute, second; seconds and nanoseconds; a time of day and its ms."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from . import dates, names
from .clock import Clock
from .table import Column, Table

_COMES_AGAIN_S = {3600.0: 86400.0, 60.0: 3600.0}  # hours after a day, minutes without hours after an hour
_UNITS = ("h", "min", "s", "ms", "us", "ns")
_LEAST_RISING = 0.99  # share of the steps of time that do not go back
_PLACE_S = 1e-6  # a second's fraction below this is none
_ROWS = 3


def together(table: Table, taken: tuple[Column, ...]) -> Clock | None:
    """The clock that columns named for parts of one make, or None: each counts within a unit of the one
    before, and all but the last are whole."""
    free = [c for c in table.columns if c not in taken]
    parts = _by_unit(free) or _under_one_name(free)
    whole = _time_of_day(free) if "s" not in parts and "min" not in parts else None
    columns = [parts[u] for u in _UNITS if u in parts]
    sizes = [names.TIME_UNITS_S[u] for u in _UNITS if u in parts]
    values = [c.floats() for c in columns]
    if whole is not None:
        columns, sizes, values = [whole[0], *columns], [1.0, *sizes], [whole[1], *values]
    if len(columns) < 2 or table.rows < _ROWS or not _nested(values, sizes):
        return None
    total = np.sum([(v - v[0]) * size for v, size in zip(values, sizes, strict=True)], axis=0)
    steps = np.diff(total)
    if (round_s := _COMES_AGAIN_S.get(sizes[0])) is not None:
        total[1:] += round_s * np.cumsum(steps < -0.5 * round_s)
    if np.mean(np.diff(total) >= 0) < _LEAST_RISING:
        return None
    return Clock(total, "time from " + ", ".join(f"'{c.name}'" for c in columns))


def _under_one_name(free: list[Column]) -> dict[str, Column]:
    """Columns whose names end in a unit of time behind the same words, 'stamp.secs' and 'stamp.nsecs'."""
    groups: dict[tuple[str, ...], list[Column]] = {}
    for column in free:
        groups.setdefault(names.tokens(column.name)[:-1], []).append(column)
    for words, columns in groups.items():
        ends = [replace(c, name=names.tokens(c.name)[-1]) for c in columns] if words else []
        parts = _by_unit(ends)
        if len(parts) > 1:
            own = dict(zip(map(id, ends), columns, strict=True))
            return {unit: own[id(end)] for unit, end in parts.items()}
    return {}


def _by_unit(free: list[Column]) -> dict[str, Column]:
    """Columns whose whole name is a unit of time; none where a unit comes twice."""
    words = {word: unit for unit, own in names.words()["clock_parts"].items() for word in own}
    named = [
        (words.get(names.plain(c.name).strip()) or names.unit_of_cell(c.name), c)
        for c in free
        if c.numbers is not None and c.name
    ]
    found = [(unit, c) for unit, c in named if unit in _UNITS]
    return dict(found) if len({unit for unit, _ in found}) == len(found) else {}


def _time_of_day(free: list[Column]) -> tuple[Column, np.ndarray] | None:
    """A clock in words that shows whole seconds only, and its seconds (n,)."""
    for column in free:
        at_s = None if column.text is None else dates.seconds(column.text)
        if at_s is not None and np.ptp(at_s) > 0 and np.all(np.abs(at_s - np.rint(at_s)) < _PLACE_S):
            return column, at_s
    return None


def _nested(values: list[np.ndarray], sizes: list[float]) -> bool:
    """Whether each part but the first stays within one of the part before; the last alone has fractions."""
    within = all(
        np.nanmin(values[i + 1]) >= 0 and np.nanmax(values[i + 1]) * sizes[i + 1] < sizes[i]
        for i, _ in enumerate(pairwise(values))
    )
    return within and all(np.array_equal(v, np.rint(v)) for v in values[:-1])

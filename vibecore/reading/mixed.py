"""Files that mix the rows of several sensors or devices: told by name, else by where gravity is.

Which sensor or device a row is of stands in a column, as a word or a small whole number. Logs of sensors by
number are common practice, no source; what tells an accelerometer is gravity.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from string import ascii_lowercase

import numpy as np
from numpy.typing import NDArray

from vibecore.errors import ReadingError
from vibecore.model import Flags, Floats, Warn

from . import clock, columns, limits, names, rising, scale
from .table import Column, Table

_HEAD_ROWS = 2000  # that show whether a column is worth a look
_MOST_VALUES = 9  # sensors or devices in one file
_LARGEST = 1000  # number of a sensor; whole numbers above are measures
# Share of the rows, where they take turns one by one: of two sensors one may be ten times as fast.
_LEAST_CHANGES = 0.15
_MOST_UNEVEN = 0.5  # of the rows from one to the next of a value, rms over mean; by chance it is 0.7 and more
_FEW = 0.05  # share of the rows: seldom ones, such as steps or light, come when they come
# Share of the changes from sensor to sensor at which time goes back, if they write in batches.
_LEAST_FALLS = 0.3
_ELSEWHERE = 0.05  # share of the times time goes back that may lie at no change
_MORE_HOLES = 0.03  # share of the steps: pulses that leave fewer are too seldom to be looked at
_TURNED = 0.02  # of gravity: two phones never lie alike to a degree, but what merely counts rows has one mean


@dataclass(frozen=True, eq=False)
class _Part:
    """The rows (n,) of one value of a column: steady size and mean (3,) of their axes."""

    value: str
    rows: Flags
    size: float
    mean: Floats


def named_sensor(table: Table) -> Table:
    """Files that mix sensors row by row and name them in a column: the rows of the accelerometer alone."""
    for column in table.columns:
        if column.text is None:
            continue
        codes, values = column.coded
        ranked = sorted(
            (names.RANK[k], names.is_uncalibrated(v), i)
            for i, v in enumerate(values)
            if len(v) < 60 and (k := names.kind_of(v)) in ("total", "acceleration", "linear")
        )
        letters = "".join(sorted(values)).lower()
        if letters in ascii_lowercase:
            continue  # devices A and B
        if not ranked or names.triples(list(values)) or len(values) < 2:
            continue
        if len(ranked) > 1 and ranked[0][:2] == ranked[1][:2]:
            continue  # two accelerometers: gravity tells
        best = ranked[0][2]
        keep = codes == best
        text = (
            f"The file mixes {len(values)} sensors; the {int(keep.sum())} rows of '{values[best]}' were read."
        )
        kept = table.where(keep)
        return replace(
            kept,
            source=f"{table.source} {values[best]}",
            warnings=(*table.warnings, Warn("sensor-chosen", text)),
        )
    return table


def unmixed(table: Table) -> Table:
    """The rows of the one sensor that has gravity, where a column parts the rows; any other table as it is.

    Raises ReadingError if several parts have gravity, as those of two phones.
    """
    likely = [c for c in table.columns if _may_part(c)]
    if not likely:
        return table
    for column, triple in _with_axes(table, likely):
        parts = _parts(table, column, triple)
        units = [triple.unit] if triple.unit in scale.M_S2_PER_UNIT else ["m/s2", "g", "mg"]
        has_gravity = scale.with_gravity([p.size for p in parts], units)
        heavy = [p for p, has in zip(parts, has_gravity, strict=True) if has]
        if len(heavy) == 1 and len(parts) > 1:
            return _alone(table, column, heavy[0], len(parts))
        if len(heavy) > 1 and (column.text is not None or _apart(heavy)):
            raise ReadingError(_several(table, column, heavy))
    return table


def _may_part(column: Column) -> bool:
    """Whether a column holds a few words or small whole numbers."""
    if column.numbers is not None:
        if column.name and (names.is_time(column.name) or names.kind_of(column.name) in columns.WORDS):
            return False
        values = column.floats()
        with np.errstate(invalid="ignore"):
            whole = all(
                np.all((rows == np.rint(rows)) & (rows >= 0) & (rows <= _LARGEST))
                for rows in (values[:_HEAD_ROWS], values)  # the head alone mostly tells
            )
        if not whole:
            return False
    return 2 <= len(column.coded[1]) <= _MOST_VALUES


def _with_axes(table: Table, likely: list[Column]) -> Iterator[tuple[Column, columns.Triple]]:
    """Columns that may part the rows, each with the axes beside it; in a table without names it may stand in
    the way of finding them."""
    try:
        triple, found, _ = columns.find_triple(table)
    except ReadingError:
        for column in likely:
            try:
                triple, _, _ = columns.find_triple(_without(table, column))
            except ReadingError:
                continue
            yield column, triple
        return
    axes = [c for t in (triple, *found) for c in t.columns]
    yield from ((c, triple) for c in likely if c not in axes)


def _without(table: Table, column: Column) -> Table:
    return replace(table, columns=tuple(c for c in table.columns if c is not column))


def _parts(table: Table, column: Column, triple: columns.Triple) -> list[_Part]:
    """The rows of each value with their axes; none if the values take turns neither evenly nor in batches of
    one time, as a measure or a mark does not."""
    codes, values = column.coded
    masks = [codes == i for i in range(len(values))]
    if _is_one_beat(table, triple, masks):
        return []
    uneven = np.mean(np.diff(codes) != 0) < _LEAST_CHANGES or any(_is_uneven(rows) for rows in masks)
    if uneven and not _in_batches(table, column, triple, codes):
        return []
    axes = triple.values()
    whole = (np.abs(axes) < limits.MOST_BELIEVED).all(axis=1)
    parts = []
    for value, rows in zip(values, masks, strict=True):
        own = axes[rows & whole]
        if len(own) >= limits.MIN_ROWS:
            parts.append(_Part(value, rows, scale.steady_size(own), own.mean(axis=0)))
    return parts


def _is_one_beat(table: Table, triple: columns.Triple, masks: list[Flags]) -> bool:
    """Whether all rows keep a beat in which those of the commonest value leave holes: pulses beside one
    sensor."""
    commonest = max(masks, key=np.count_nonzero)
    for other in table.columns:
        if other.numbers is None or other in triple.columns:
            continue
        found = clock.read_clock(other) if rising.rises(other) else None
        if found is not None and not rising.is_counter(other):
            return _holes(found.t_s[commonest]) > _holes(found.t_s) + _MORE_HOLES
    return False


def _holes(t_s: Floats) -> float:
    """Share of the steps of time that are far from the usual one."""
    steps = np.diff(t_s[np.isfinite(t_s)])
    usual = float(np.median(steps)) if len(steps) else 0.0
    return float(np.mean(np.abs(steps - usual) > 0.5 * usual)) if usual > 0 else 1.0


def _is_uneven(rows: Flags) -> bool:
    """Whether rows (n,) come in runs or by chance, not in turn with others."""
    steps = np.diff(np.flatnonzero(rows))
    return len(steps) > _FEW * len(rows) and float(np.std(steps)) > _MOST_UNEVEN * float(np.mean(steps))


def _in_batches(table: Table, column: Column, triple: columns.Triple, codes: NDArray[np.int64]) -> bool:
    """Whether a time goes back just where another sensor's rows begin: each wrote what it had kept of the
    same time."""
    changes = np.diff(codes) != 0
    for other in table.columns:
        if other is column or other in triple.columns:
            continue
        found = clock.read_clock(other)
        back = np.diff(found.t_s) < 0 if found is not None else np.zeros(1, dtype=bool)
        count = np.count_nonzero(back)
        if (
            count > _LEAST_FALLS * np.count_nonzero(changes)
            and np.count_nonzero(back & ~changes) <= _ELSEWHERE * count
        ):
            return True
    return False


def _apart(heavy: list[_Part]) -> bool:
    """Whether gravity points another way in one part than in another."""
    first = heavy[0]
    return any(float(np.linalg.norm(p.mean - first.mean)) > _TURNED * first.size for p in heavy[1:])


def _alone(table: Table, column: Column, part: _Part, count: int) -> Table:
    text = (
        f"The file mixes {count} sensors; the {int(part.rows.sum())} rows with '{part.value}' in "
        f"{_title(column)} were read, as they alone have gravity."
    )
    kept = _without(table, column).where(part.rows)
    return replace(kept, warnings=(*table.warnings, Warn("sensor-chosen", text)))


def _several(table: Table, column: Column, heavy: list[_Part]) -> str:
    shown = [f"'{p.value[:40]}'" for p in heavy]
    return (
        f"{table.source} holds {len(heavy)} recordings in one, row by row: "
        f"{', '.join(shown[:-1])} and {shown[-1]} in {_title(column)} are accelerometers of their own. "
        "Split it into a file for each."
    )


def _title(column: Column) -> str:
    return f"the {column.title}" if column.name else column.title

"""Axes one below the other, or in a file each: put side by side where their time stamps agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vibecore.errors import ReadingError
from vibecore.model import Flags, Warn

from . import columns, names, rising
from .table import Column, Table

_APART = 0.25  # of the usual step: so much may each axis have a stamp of its own
_LEAST_COMMON = 0.9  # share of the rows whose stamps must be in all three
_MOST_AXES = 9  # numbers of axes in a column of whole numbers


def pivoted(table: Table) -> Table:
    """A table with a row for each axis (time, axis, value) as one with a row for each sample; any other as it
    is.

    Raises ReadingError if the axes' time stamps do not agree.
    """
    for column in table.columns:
        named = _names_in(column)
        sets = names.triples(named) if named else []
        if not sets or columns.named_triples(table):
            continue
        stem, places = min(sets, key=lambda s: names.RANK.get(names.kind_of(s[0]), 99))
        rest = replace(table, columns=tuple(c for c in table.columns if c is not column))
        at, _ = column.coded
        parts = [(named[i] or "axis", rest.where(at == i)) for i in places]
        wide = joined(parts, table.source)
        if wide is not None:
            return replace(wide, source=f"{table.source} {stem.strip()}".strip(), hints=table.hints)
    return table


def _names_in(column: Column) -> list[str]:
    """The different values of a column of few texts, or of few whole numbers under a name that says axis."""
    if column.text is not None:
        return list(column.coded[1])
    if not (column.name and names.has_word(column.name, names.words()["axes"]["words"])):
        return []
    numbers = column.coded[1]
    return [f"axis {v}" for v in numbers] if len(numbers) <= _MOST_AXES else []


def joined(parts: Sequence[tuple[str, Table]], title: str) -> Table | None:
    """One table of three that hold a time and one value each, under the names given; None if they hold
    something else.

    Raises ReadingError if their time stamps do not agree.
    """
    values = [_value_of(table) for _, table in parts]
    stamps = [_stamps_of(table, value) for (_, table), value in zip(parts, values, strict=True) if value]
    if any(v is None for v in values) or any(s is None for s in stamps):
        return None
    rows = _common_rows([_keys(s) for s in stamps if s is not None])
    if rows is None:
        shown = ", ".join(name for name, _ in parts)
        raise ReadingError(
            f"{title}: the time stamps of {shown} do not agree, so their axes cannot be put "
            "side by side. Export all three axes in one table."
        )
    first = parts[0][1]
    side = [_named(v.where(r), name) for (name, _), v, r in zip(parts, values, rows, strict=True) if v]
    kept = [c.where(rows[0]) for c in first.columns if c is not values[0]]
    missing = max(len(r) for r in rows) - len(side[0])
    text = f"{missing} rows have a time stamp that is not in all three axes; they were left out."
    told = (Warn("unmatched-axes", text),) if missing else ()
    return replace(
        first, columns=(*kept, *side), rows=len(side[0]), named=True, warnings=(*first.warnings, *told)
    )


def _named(value: Column, name: str) -> Column:
    return replace(value, name=name, unit=value.unit or names.unit_in(value.name))


def _value_of(table: Table) -> Column | None:
    """The one column of measured values, None if there is not one alone."""
    left = [c for c in table.columns if rising.is_measured(c)]
    moving = [c for c in left if np.nanmax(c.floats()) > np.nanmin(c.floats())]
    left = moving if len(left) > 1 else left
    return left[0] if len(left) == 1 else None


def _stamps_of(table: Table, value: Column) -> Column | None:
    """The likeliest column of times."""
    rest = [c for c in table.columns if c is not value]
    named = [c for c in rest if c.name and names.is_time(c.name)]
    return next(iter([*named, *(c for c in rest if c.numbers is not None), *rest]), None)


def _keys(column: Column) -> NDArray[Any]:
    return column.numbers if column.numbers is not None else np.array(column.text.to_pylist(), dtype=str)


def _common_rows(keys: list[NDArray[Any]]) -> list[Flags] | None:
    """For each of three axes the rows (n,) whose stamps all three have, None if those are too few."""
    if len({k.dtype.kind for k in keys}) > 1:
        return None
    everything = [np.ones(len(k), dtype=bool) for k in keys]
    if len({len(k) for k in keys}) == 1 and all(_agree(keys[0], k) for k in keys[1:]):
        return everything
    if any(len(np.unique(k)) < len(k) for k in keys):
        return None
    common = np.intersect1d(np.intersect1d(keys[0], keys[1]), keys[2])
    if len(common) < _LEAST_COMMON * max(len(k) for k in keys):
        return None
    return [np.isin(k, common) for k in keys]


def _agree(one: NDArray[Any], other: NDArray[Any]) -> bool:
    """Whether two columns of stamps (n,) are the same, or as near as the axes of one sample lie."""
    if one.dtype.kind not in "if":
        return np.array_equal(one, other)
    step = float(np.median(np.abs(np.diff(one)))) if len(one) > 1 else 0.0
    return bool(np.all(np.abs(other - one) <= _APART * step))

"""Columns of a text under the names of its header, where the two may not be equally many."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from vibecore.errors import ReadingError

from . import arrow, dressed, limits, scale
from .layout import Layout
from .names import RANK, kind_of, triples, unit_in, unit_of_cell
from .table import MISSING, Column

_MOST_FRACTION = 999_999  # of a second, in microseconds
_CLOCK_ROWS = 50
_TO_THE_SECOND = re.compile(r"\d:\d\d:\d\d$")


def under_names(layout: Layout, columns: list[Any], source: str) -> list[Column]:
    """Columns under their names. One name too few over a first column that counts rows: the names move right;
    over a clock whose fraction of a second was cut off by a comma: the two are joined. Units cut off their
    names by a comma are put back. Any other count of names could stand anywhere and is refused, unless
    gravity lies just where the names have the axes."""
    names = list(layout.names)
    units = list(layout.units[: layout.width])
    filled = _filled(columns)
    if len(names) > layout.width and len(whole := _with_units(names)) == filled:
        names = whole
    if len(names) == layout.width - 1 and _counts_rows(columns[0]):
        names, units = ["index", *names], ["", *units]
    elif len(names) == layout.width - 1 and _is_cut_clock(columns):
        columns = [_rejoined(columns[0], columns[1]), *columns[2:]]
    elif _named(names) not in (0, filled, layout.width):
        sure = _sure_names(names, columns, filled - _named(names))
        if sure is None:
            raise ReadingError(
                f"{source} has {_named(names)} names over {filled} cells a row, so what stands under which "
                "cannot be told. Give every column a name, or export it again."
            )
        names = sure
    names, units = names[: layout.width], units[: layout.width]
    names += [""] * (len(columns) - len(names))
    units += [""] * (len(columns) - len(units))
    return [
        _column(name, unit, c, layout.decimal) for name, unit, c in zip(names, units, columns, strict=True)
    ]


def _column(name: str, unit: str, column: Any, decimal: str) -> Column:
    import pyarrow as pa

    if pa.types.is_string(column.type):
        return _text_column(name, unit, column, decimal)
    return Column(name, to_numpy(column), None, unit)


def _counts_rows(column: Any) -> bool:
    import pyarrow as pa

    if pa.types.is_string(column.type):
        return False
    values = to_numpy(column)
    return len(values) > 1 and bool(np.all(np.diff(values) == 1))


def _named(names: list[str]) -> int:
    """Up to the last name that is one: a comma at the end of the header makes an empty one."""
    return max((i + 1 for i, name in enumerate(names) if name), default=0)


def _with_units(names: list[str]) -> list[str]:
    """Names with the units that follow them in cells of their own: 'Time', 's' as 'Time (s)'."""
    out: list[str] = []
    for name in names:
        if out and unit_of_cell(name):
            out[-1] = f"{out[-1]} ({name})"
        else:
            out.append(name)
    return out


def _sure_names(names: list[str], columns: list[Any], moved: int) -> list[str] | None:
    """The names that are sure where cells outnumber them by so many, or they the cells: up to axes that have
    gravity under them, and nowhere they would be had the missing ones come before or among them. All names
    where none is an axis, None where no axes are sure."""
    found = triples(names[: len(columns)])
    sets = [sorted(places) for stem, places in found if kind_of(stem) in RANK]
    for places in sets:
        unit = next((u for i in places if (u := unit_in(names[i])) in scale.M_S2_PER_UNIT), "")
        others = [[*places[: 3 - count], *(i + moved for i in places[3 - count :])] for count in (1, 2, 3)]
        if _hold_gravity(places, columns, unit) and not any(_hold_gravity(o, columns, unit) for o in others):
            return names[: places[-1] + 1]
    return None if sets else names


def _filled(columns: list[Any]) -> int:
    """Up to the last column that holds anything: a comma at the end of each row makes an empty one."""
    import pyarrow as pa
    import pyarrow.compute as pc

    for count in range(len(columns), 0, -1):
        last = columns[count - 1]
        empty = last.null_count + (
            pc.sum(pc.equal(last, "")).as_py() or 0 if pa.types.is_string(last.type) else 0
        )
        if empty < len(last):
            return count
    return 0


def _hold_gravity(places: list[int], columns: list[Any], unit: str) -> bool:
    """Do these three hold gravity as exactly as a phone reads it, in their unit, else in m/s2 or in g?"""
    import pyarrow as pa

    if len(set(places)) < len(places) or min(places) < 0 or max(places) >= len(columns):
        return False
    if any(pa.types.is_string(columns[i].type) for i in places):
        return False
    axes = np.column_stack([to_numpy(columns[i]) for i in places])
    whole = (np.abs(axes) < limits.MOST_BELIEVED).all(axis=1)
    if not whole.any():
        return False
    size = scale.steady_size(axes[whole])
    units = [unit] if unit else ["m/s2", "g"]
    return any(scale.is_gravity(size, scale.M_S2_PER_UNIT[u], scale.ZERO_G_OFFSET) for u in units)


def _is_cut_clock(columns: list[Any]) -> bool:
    """A time of day in words, to the second, and beside it whole numbers that may be its fraction."""
    import pyarrow as pa

    if not pa.types.is_string(columns[0].type) or pa.types.is_string(columns[1].type):
        return False
    beside = to_numpy(columns[1])
    whole = bool(np.all((beside >= 0) & (beside <= _MOST_FRACTION) & (beside == np.rint(beside))))
    head = [text or "" for text in columns[0][:_CLOCK_ROWS].to_pylist()]
    return whole and all(_TO_THE_SECOND.search(text) for text in head)


def _rejoined(clock: Any, fraction: Any) -> Any:
    """Clock and fraction as one text; what noughts the number has lost is seen to with the dates."""
    import pyarrow as pa
    import pyarrow.compute as pc

    return pc.binary_join_element_wise(clock, fraction.cast(pa.int64()).cast(pa.string()), ".")


def _text_column(name: str, unit: str, text: Any, decimal: str) -> Column:
    """A column of text, which may be numbers with units in their cells."""
    found = dressed.numbers(text, decimal)
    return Column(name, None, text, unit) if found is None else Column(name, found[0], None, unit or found[1])


def to_numpy(column: Any) -> Any:
    """Arrow numbers as numpy: float64 with nan where empty, or int64 with MISSING where empty."""
    return arrow.numbers(column, MISSING if str(column.type) == "int64" else float("nan"))

"""Columns counted in parts or multiples of a unit, 'time (10 us)' or 'x (0.001 g)', put into that unit."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from . import limits, names
from .table import Column, Table

_FIGURE = r"(?:1\s*/\s*(?P<part>[1-9]\d*)|(?P<times>\d*\.?\d+(?:[eE][-+]?\d+)?))"
_MULTIPLE = re.compile(rf"\s*{_FIGURE}\s*[*x·]?\s*(?P<unit>[^\W\d].*?)\s*")
_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_OTHER_UNIT = re.compile(r"[^\W\d].*[/^²*·]")  # what nothing but a unit looks like


def counted_out(table: Table) -> Table:
    """The table with such columns in plain units, any other as it is."""
    columns = tuple(_plain(c) for c in table.columns)
    changed = any(new is not old for new, old in zip(columns, table.columns, strict=True))
    return replace(table, columns=columns) if changed else table


def unknown_unit(column: Column) -> str:
    """What stands for a unit in a column's name or under it and is none that is known; '' if nothing is."""
    said = [column.unit.strip("()[]{} "), *_BRACKETS.findall(column.name)]
    return next((s for s in said if _OTHER_UNIT.search(s) and not names.unit_of_cell(s)), "")


def _plain(column: Column) -> Column:
    if column.numbers is None or not any(map(str.isdigit, column.name + column.unit)):
        return column
    for said in (column.unit.strip("()[]{} "), *_BRACKETS.findall(column.name)):
        parts = _MULTIPLE.fullmatch(said)
        if parts is None or names.unit_of_cell(said):
            continue
        unit = names.unit_of_cell(parts["unit"])
        factor = 1.0 / float(parts["part"]) if parts["part"] else float(parts["times"])
        if _is_meant(column, factor, unit):
            name = re.sub(rf"[(\[{{]{re.escape(said)}[)\]}}]", "", column.name).strip()
            return replace(column, numbers=column.floats() * factor, unit=unit, name=name)
    return column


def _is_meant(column: Column, factor: float, unit: str) -> bool:
    """Times that make a rate of it, and parts of an acceleration: a multiple of one, (4 g), is a range."""
    if unit in names.ACCELERATION_UNITS - {"counts"}:
        return 0.0 < factor < 1.0
    steps = np.abs(np.diff(column.floats()))
    steps = steps[steps > 0]
    if unit not in names.TIME_UNITS_S or factor <= 0 or not len(steps):
        return False
    low, high = limits.TYPICAL_RATES_HZ
    return low <= 1.0 / (factor * names.TIME_UNITS_S[unit] * float(np.median(steps))) <= high

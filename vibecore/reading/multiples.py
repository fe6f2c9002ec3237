"""Columns counted in parts or multiples of a unit, 'time (10 us)', 'x (0.001 g)', 'x (g/1000)',
'x (4 mg/LSB)' or 'x (LSB = 4 mg)', put into that unit; and axes in units that differ, put into one."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import replace

import numpy as np

from vibecore.units import STANDARD_GRAVITY_M_S2

from . import columns, counts, limits, names, scale
from .table import Column, Table

_POWER = r"10\s*(?:\^|\*\*)?\s*[-\u2212](?P<power>\d+)"
_FIGURE = rf"(?:{_POWER}|1\s*/\s*(?P<part>[1-9]\d*)|(?P<times>\d*\.?\d+(?:[eE][-+]?\d+)?))"
_MULTIPLE = re.compile(rf"\s*[*x\u00d7·]?\s*{_FIGURE}\s*[*x\u00d7·]?\s*(?P<unit>[^\W\d].*?)\s*")
_SHARE = re.compile(r"\s*(?P<unit>[^\W\d].*?)\s*[*x\u00d7·/]\s*(?P<part>[1-9]\d*)\s*")  # g/1000, g x 1000
_LONGEST = 40  # characters of a unit; matching takes the cube of them
_AROUND = "()[]{} "
_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_OTHER_UNIT = re.compile(r"[^\W\d].*[/^²*·]|%|[cdhk](?:g|m/s)")  # what nothing but a unit looks like


def counted_out(table: Table) -> Table:
    """The table with such columns in plain units, any other as it is."""
    plain = _in_one_unit(tuple(_plain(c) for c in table.columns))
    changed = any(new is not old for new, old in zip(plain, table.columns, strict=True))
    return replace(table, columns=plain) if changed else table


def is_unit(cell: str) -> bool:
    """True if a whole cell is a part or multiple of a unit, or counts with their size."""
    return bool(_parts(unicodedata.normalize("NFKC", cell.strip(_AROUND)))[1] or counts.per_count(cell)[1])


def _in_one_unit(own: tuple[Column, ...]) -> tuple[Column, ...]:
    """Axes that name units of acceleration which differ, 'x (m/s2)' beside 'y (g)', all put into m/s2; not
    where gravity tells that one was named wrongly."""
    units = {i: names.unit_of_cell(c.unit) or names.unit_in(c.name) for i, c in enumerate(own) if c.name}
    told = [i for i, u in units.items() if u in scale.M_S2_PER_UNIT and own[i].numbers is not None]
    if len({units[i] for i in told}) < 2:
        return own
    bare, out = [columns.bare(own[i].name).strip() for i in told], list(own)
    for stem, places in names.triples(bare):
        at = [told[k] for k in places]
        x, y, z = (
            replace(
                own[i], name=bare[k], unit="m/s2", numbers=own[i].floats() * scale.M_S2_PER_UNIT[units[i]]
            )
            for i, k in zip(at, places, strict=True)
        )
        as_said, as_it_stands = (
            scale.is_gravity_in(scale.steady_size(columns.Triple(stem, "", "", three).sample()))
            for three in ((x, y, z), (own[at[0]], own[at[1]], own[at[2]]))
        )
        if len({units[i] for i in at}) > 1 and (as_said or not as_it_stands):
            out[at[0]], out[at[1]], out[at[2]] = x, y, z
    return tuple(out)


def unknown_unit(column: Column) -> str:
    """What stands for a unit in a column's name or under it and is none that is known; '' if nothing is."""
    said = [column.unit.strip(_AROUND), *_BRACKETS.findall(column.name)]
    return next((s for s in said if _OTHER_UNIT.search(s) and not names.unit_of_cell(s)), "")


def _plain(column: Column) -> Column:
    if column.numbers is None or not any(map(str.isdigit, column.name + column.unit)):
        return column
    for said in (column.unit.strip(_AROUND), *_BRACKETS.findall(column.name)):
        factor, unit = _parts(unicodedata.normalize("NFKC", said))
        if unit and not names.unit_of_cell(said) and _is_meant(column, factor, unit):
            name = re.sub(rf"[(\[{{]{re.escape(said)}[)\]}}]", "", column.name).strip()
            return replace(column, numbers=column.floats() * factor, unit=unit, name=name)
    factor, unit = counts.per_count(f"{column.name} {column.unit}")
    if unit and _is_meant(column, factor, unit):
        return replace(column, numbers=column.floats() * factor, unit=unit)
    return column


def _parts(said: str) -> tuple[float, str]:
    """How much of which unit is said; no unit if that is not what is said."""
    said = said if len(said) <= _LONGEST else ""
    found = _MULTIPLE.fullmatch(said) or _SHARE.fullmatch(said)
    if found is None:
        return 0.0, ""
    unit, _, count = found["unit"].rpartition("/")
    if names.unit_of_cell(count) != "counts":  # 4 mg/LSB is 4 mg
        unit = found["unit"]
    figures = {"power": "", "times": "", **found.groupdict()}
    if figures["times"]:
        return float(figures["times"]), names.unit_of_cell(unit)
    whole = float(figures["part"] or 10.0 ** float(figures["power"]))
    return 1.0 / whole, names.unit_of_cell(unit)


def _is_meant(column: Column, factor: float, unit: str) -> bool:
    """Times that make a rate of it, and parts of gravity: more, (4 g) or (2000 mg), is a range."""
    if unit in scale.M_S2_PER_UNIT:
        return 0.0 < factor * scale.M_S2_PER_UNIT[unit] < STANDARD_GRAVITY_M_S2
    steps = np.abs(np.diff(column.floats()))
    steps = steps[steps > 0]
    if unit not in names.TIME_UNITS_S or factor <= 0 or not len(steps):
        return False
    low, high = limits.TYPICAL_RATES_HZ
    return low <= 1.0 / (factor * names.TIME_UNITS_S[unit] * float(np.median(steps))) <= high

"""Packets of samples in JSON, {"t0": 1.5, "samples": [[x, y, z], ...]}: opened into a record a sample; and
all samples in one list of numbers."""

from __future__ import annotations

from typing import Any

import numpy as np

from . import limits, scale
from .names import unit_of_cell

LONGEST_VECTOR = 4  # numbers of one sample; a longer list holds many samples
_LEAST_LISTS = 3  # of single values, of which each sample has one from each
_BESIDE = 2.0  # times that the axes lie further apart than one axis moves from sample to sample
_MOST_SAID = 40  # values of a packet that are put beside each of its samples

_Record = dict[str, Any]


def opened(records: list[_Record]) -> dict[str, list[_Record]]:
    """By the name of the list, the samples of all packets as records, each with what its packet says of all;
    under '' those whose values stand in a list for each name. Empty if the records hold one sample each."""
    lists = {k: v for k, v in records[0].items() if isinstance(v, list) and v} if records else {}
    of_samples = [k for k, v in lists.items() if isinstance(v[0], (dict, list))]
    if of_samples:
        return {k: [{**_said(r), k: sample} for r in records for sample in _list(r, k)] for k in of_samples}
    names = [k for k, v in lists.items() if len(v) > LONGEST_VECTOR]
    if len(names) < _LEAST_LISTS:
        return {}
    return {
        "": [
            {**_said(r), **dict(zip(names, row, strict=True))}
            for r in records
            for row in zip(*(_list(r, k) for k in names), strict=False)
        ]
    }


def channels(records: list[Any]) -> dict[str, list[Any]]:
    """The lists of numbers of records that hold a name and one list each, under their names, with the unit if
    they tell one; empty if that is not what they are."""
    out: dict[str, list[Any]] = {}
    for record in records[: limits.MAX_COLUMNS]:
        lists = [v for v in record.values() if isinstance(v, list)] if isinstance(record, dict) else []
        said = [v for v in record.values() if isinstance(v, str)] if lists else []
        units = [v for v in said if unit_of_cell(v)]
        named = [v for v in said if v not in units] or units
        if len(lists) != 1 or not named or isinstance((lists[0] or [{}])[0], (dict, list)):
            return {}
        out[f"{named[0]} ({units[0]})" if units and named != units else named[0]] = lists[0]
    alike = len({len(v) for v in out.values()}) == 1 and len(out) == len(records)
    return out if alike and all(len(v) > LONGEST_VECTOR for v in out.values()) else {}


def in_one(values: list[Any]) -> list[list[float]]:
    """The rows t, x, y, z or x, y, z in one list of numbers: only where those are gravity, and each axis is
    nearer to itself than to the others. None of them otherwise."""
    if not all(isinstance(v, (int, float)) for v in values):
        return []
    for width in (4, 3):
        if len(values) % width or len(values) < width * limits.MIN_ROWS:
            continue
        rows = np.array(values, dtype=np.float64).reshape(-1, width)
        axes = rows[:, -3:]
        moves, apart = np.abs(np.diff(axes, axis=0)).mean(), np.abs(np.diff(axes, axis=1)).mean()
        timed = width == 3 or bool((np.diff(rows[:, 0]) > 0).all())
        if timed and apart > _BESIDE * moves and scale.is_gravity_in(scale.steady_size(axes)):
            return [values[i : i + width] for i in range(0, len(values), width)]
    return []


def said_by_all(records: list[_Record]) -> _Record:
    """What all packets say alike: it may be the rate."""
    return {k: v for k, v in _said(records[0]).items() if all(r.get(k) == v for r in records)}


def _said(packet: _Record) -> _Record:
    return {k: v for k, v in list(packet.items())[:_MOST_SAID] if not isinstance(v, list)}


def _list(packet: _Record, name: str) -> list[Any]:
    value = packet.get(name)
    return value if isinstance(value, list) else []

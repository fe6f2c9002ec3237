"""Cells as JSON and workbooks hold them, whatever their kinds, to a column of numbers or of text."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from . import dressed, limits
from .dates import is_compact
from .table import Column

_LOOKED_AT = 40  # first cells, in which a comma shows for sure what it is
_COMMA = re.compile(r"^(\s*[+-]?\d+),(\d+\s*)$")
_SURE_COMMA = re.compile(r"\s*[+-]?(?:0,\d+|\d+,(?!\d{3}\s*$)\d+)\s*")  # no mark between thousands


def column(name: str, values: list[Any]) -> Column:
    """Numbers if most values are, whole numbers beyond float64's reach kept exact; else text."""
    if _is_compact(values):
        return text_column(name, values)
    try:
        array = np.array(values, dtype=np.int64 if _all_long(values) else np.float64)
        return Column(name, array)
    except (ValueError, TypeError, OverflowError):
        return text_column(name, values)


def _is_compact(values: list[Any]) -> bool:
    """True for text that is dates in digits, which numbers do not hold whole."""
    return isinstance(values[0], str) and is_compact(values[0])


def _all_long(values: list[Any]) -> bool:
    """True for whole numbers that float64 does not hold to the last digit."""
    long = isinstance(values[0], int) and abs(values[0]) >= 10 ** (limits.EXACT_DIGITS - 1)
    return long and all(type(v) is int for v in values)


def text_column(name: str, values: list[Any]) -> Column:
    """A column of mixed values: numbers where most can be read so, else text."""
    import pyarrow as pa

    texts = ["" if v is None else str(v) for v in values]
    if any(_SURE_COMMA.fullmatch(t) for t in texts[:_LOOKED_AT]):
        texts = [pointed(t) for t in texts]
    if _is_compact(values):
        return Column(name, None, pa.array(texts))
    numbers = np.full(len(texts), np.nan)
    for i, text in enumerate(texts):
        try:
            numbers[i] = float(text)
        except ValueError:
            continue
    filled = sum(1 for t in texts if t)
    plain = int(np.isfinite(numbers).sum())
    found = dressed.numbers(pa.array(texts), ".") if plain < filled else None
    if found is not None and np.isfinite(found[0]).sum() > plain:
        return Column(name, found[0], None, found[1])
    if plain > 0.5 * filled:
        return Column(name, numbers)
    return Column(name, None, pa.array(texts))


def pointed(text: str) -> str:
    """A number such as '0,15' as '0.15'."""
    return _COMMA.sub(r"\1.\2", text)

"""Tables that lie on their side, a row for the time and one for each axis: turned, so that each sample has a
row."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from vibecore.model import Warn

from . import limits
from .layout import DELIMITERS, is_date, is_number, split_line

TOLD = Warn("table-turned", "The table lay on its side, with a row for each column; it was turned.")
_LEAST_ROWS = 3  # one for each axis
_MOSTLY = 0.9  # of the cells that are numbers


def upright(text: bytes) -> bytes:
    """A text of a few long lines with one line for each sample; any other as it is."""
    few = text.count(b"\n", 0, limits.PROBE_BYTES) + 1 < limits.MIN_ROWS  # most are told by their begin
    if not few or not _LEAST_ROWS <= text.count(b"\n") + 1 < limits.MIN_ROWS:
        return text
    lines = [line for line in text.decode("utf-8", errors="replace").splitlines() if line.strip()]
    for delimiter in DELIMITERS:
        rows = [split_line(line, delimiter) for line in lines]
        if (found := turned(rows)) is not rows:
            mark = "\t" if delimiter == " " else delimiter
            return "\n".join(mark.join(cells) for cells in found).encode() + b"\n"
    return text


def turned(rows: Sequence[Any]) -> Sequence[Any]:
    """Rows of cells turned where they are too few to be samples and at least three are long, equally long and
    full of numbers; shorter ones before them stay. Any others as they are."""
    if not _LEAST_ROWS <= len(rows) < limits.MIN_ROWS or not all(isinstance(row, list) for row in rows):
        return rows
    bare = [_without_end(row) for row in rows]
    width = max(map(len, bare))
    long = [row for row in bare if len(row) == width]
    if width < limits.MIN_ROWS or len(long) < _LEAST_ROWS or not all(map(_is_measured, long)):
        return rows
    return [*(row for row in bare if len(row) < width), *map(list, zip(*long, strict=True))]


def _without_end(row: list[Any]) -> list[Any]:
    filled = len(row)
    while filled and row[filled - 1] in (None, ""):
        filled -= 1
    return row[:filled]


def _is_measured(row: list[Any]) -> bool:
    numbers = sum(
        isinstance(cell, (int, float)) or (isinstance(cell, str) and _is_value(cell)) for cell in row
    )
    return numbers >= _MOSTLY * len(row)


def _is_value(cell: str) -> bool:
    return is_number(cell, ".") or is_number(cell, ",") or is_date(cell)

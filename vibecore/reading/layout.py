"""Find the table in a text: what parts the cells, what marks the decimals, where the names and the data start."""

from __future__ import annotations

import csv
import re
from collections import Counter
from dataclasses import dataclass

from vibecore.errors import ReadingError

from . import names

MAX_HEAD_LINES = 250  # lines looked at; free text before a table is shorter than this
_DELIMITERS = ("\t", ";", "|", ",", " ")  # ' ' stands for any run of blanks
_NUMBER = r"[+-]?(?:\d+\{mark}?\d*|\{mark}\d+)(?:[eE][+-]?\d+)?"
_EMPTY = frozenset(
    {
        "",
        "nan",
        "-nan",
        "null",
        "none",
        "na",
        "n/a",
        "#n/a",
        "inf",
        "-inf",
        "+inf",
        "infinity",
        "-infinity",
        "-",
    }
)
_DATE = re.compile(
    r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}([T _,]+\d{1,2}:\d{2}.*)?|\d{1,2}:\d{2}(:\d{2})?([:.,]\d+)?( ?[AaPp]\.?[Mm]\.?)?"
)
_COMMENT = re.compile(r"^\s*(#+|//+|%+|;+(?=\s*[A-Za-z])|\*+)\s*")
_LEAST_NUMBERS = 2  # in a row of data: a time and a value


@dataclass(frozen=True)
class Layout:
    """Where and how the table stands. `first`: index of the first line of data among the lines given."""

    delimiter: str
    decimal: str
    first: int
    cells: tuple[tuple[str, ...], ...]  # the cells of some lines of data
    names: tuple[str, ...]  # () without a header
    units: tuple[str, ...]  # () without a line of units
    hints: str

    @property
    def width(self) -> int:
        return len(self.cells[0])


def find_layout(lines: list[str], source: str) -> Layout:
    """The layout that makes most cells of these first lines numbers.

    Raises ReadingError if no row of numbers is among them.
    """
    lines = lines[:MAX_HEAD_LINES]
    best: tuple[float, str, str] | None = None
    for delimiter in _DELIMITERS:
        split = [split_line(line, delimiter) for line in lines]
        for decimal in (".", ","):
            score = float(sum(_values(cells, decimal) for cells in split))
            score -= 0.01 * (decimal == delimiter)  # quoted decimal commas only if they win outright
            if best is None or score > best[0]:
                best = (score, delimiter, decimal)
    if best is None or best[0] < _LEAST_NUMBERS:
        raise ReadingError(
            f"{source} holds text but no rows of numbers. Export the recording as CSV with a time column and "
            "three columns of acceleration."
        )
    _, delimiter, decimal = best
    return _place(lines, delimiter, decimal)


def split_line(line: str, delimiter: str) -> list[str]:
    """Cells of one line, quotes taken off (RFC 4180), blanks around them too."""
    if delimiter == " ":
        return line.split()
    if '"' in line:
        try:
            return [
                cell.strip()
                for cell in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
            ]
        except csv.Error:
            pass
    return [cell.strip() for cell in line.split(delimiter)]


def is_number(cell: str, decimal: str) -> bool:
    return _NUMBERS[decimal].fullmatch(cell) is not None


_NUMBERS = {mark: re.compile(_NUMBER.replace("{mark}", mark)) for mark in ".,"}


def is_date(cell: str) -> bool:
    return _DATE.fullmatch(cell) is not None


def _values(cells: list[str], decimal: str) -> int:
    """How many cells hold a number or a date; none if there are fewer than two."""
    count = sum(is_number(cell, decimal) or is_date(cell) for cell in cells)
    return count if count >= _LEAST_NUMBERS else 0


def _place(lines: list[str], delimiter: str, decimal: str) -> Layout:
    split = [split_line(line, delimiter) for line in lines]
    counts = [_values(cells, decimal) for cells in split]
    usual = Counter(c for c in counts if c).most_common(1)[0][0]
    width = Counter(len(s) for s, c in zip(split, counts, strict=True) if c == usual).most_common(1)[0][0]
    wanted = max(_LEAST_NUMBERS, 0.7 * usual)
    first = next(
        i
        for i, (cells, c) in enumerate(zip(split, counts, strict=True))
        if c >= wanted and not _is_numbering(cells, split, i)
    )
    sample = tuple(
        tuple(s)
        for s, c in zip(split[first:], counts[first:], strict=True)
        if len(s) == width and c >= wanted
    )
    header, units = _header(lines[:first], delimiter, width)
    return Layout(delimiter, decimal, first, sample, header, units, "\n".join(lines[:first]))


def _is_numbering(cells: list[str], split: list[list[str]], i: int) -> bool:
    """A first row 0, 1, 2, 3 over rows of fractions numbers the columns: it is a header of sorts, not data."""
    numbering = cells == [str(k) for k in range(len(cells))] and len(cells) >= 3
    return numbering and i + 1 < len(split) and any("." in c or "," in c for c in split[i + 1])


def _header(before: list[str], delimiter: str, width: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names and units from the lines before the data: the nearest line whose cells say most about columns."""
    best: tuple[float, list[str], int] | None = None
    units: dict[int, list[str]] = {}
    for back, line in enumerate(reversed(before)):
        cells = _header_cells(line, delimiter, width)
        if len([c for c in cells if c]) < 2:
            continue
        if all(names.unit_of_cell(c) for c in cells if c):
            units[back] = cells
            continue
        fit = names.said_by(cells) + 0.5 * (len(cells) == width) - 0.1 * back
        if best is None or fit > best[0]:
            best = (fit, cells, back)
    if best is None:
        # a lone line such as 'ms x y z' may read as units only when it names no axis
        return (), tuple(units[0]) if 0 in units else ()
    near = [u for back, u in units.items() if back < best[2]]
    return tuple(best[1]), tuple(near[-1]) if near else ()


def _header_cells(line: str, delimiter: str, width: int) -> list[str]:
    """The cells of a line of names, which may be a comment or use another delimiter than the data."""
    line = _COMMENT.sub("", line.lstrip("\ufeff"))
    tries = [split_line(line, d) for d in (delimiter, *(d for d in _DELIMITERS[:4] if d != delimiter))]
    glued = re.sub(r"\s+(?=[(\[])", "", line)
    tries += [re.split(r"\s{2,}|\t", line.strip()), split_line(glued, " ")]
    if delimiter == " ":
        tries = [*tries[-2:], *tries[:-2]]
    for cells in tries:
        if len(cells) == width:
            return cells
    return next((cells for cells in tries if len(cells) >= 3), tries[0])

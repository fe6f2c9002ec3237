"""Find the table in a text: what parts the cells, what marks the decimals, where the names and the data
start."""

from __future__ import annotations

import csv
import re
from collections import Counter
from dataclasses import dataclass
from string import ascii_uppercase

from vibecore.errors import ReadingError

from . import limits, multiples, names
from .dates import is_compact
from .dressed import is_dressed
from .table import NOTHING

MAX_HEAD_LINES = 150  # lines looked at; free text before a table is shorter than this
_PLAIN_CELLS = 3  # values a line, on every line judged, that leave no doubt about the delimiter
_JUDGED_LINES = 30  # the last of them, which are likelier data, tell the delimiter
DELIMITERS = ("\t", ";", "|", ",", " ")  # ' ' stands for any run of blanks
_NUMBER = r"[+-]?(?:\d+\{mark}?\d*|\{mark}\d+)(?:[eE][+-]?\d+)?"
_NO_NUMBER = frozenset({"nan", "-nan", "null", "inf", "-inf", "+inf", "infinity", "-infinity"})
_DATE = re.compile(
    r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}([T _,]+\d{1,2}:\d{2}.*)?"
    r"|\d{1,2}:\d{1,2}(:\d{1,2})?([:.,]\d+)?( ?[AaPp]\.? ?[Mm]\.?)?"
)
_COMMENT = re.compile(r"^\s*(#+|//+|%+|;+(?=\s*[A-Za-z])|\*+)\s*")
_END = re.compile(r"[\"']?[^\W\d_]|[#%*]|//")
_MOST_END_LINES = 50  # of statistics and remarks below the data
_LEAST_SHARE = 0.25  # of the cells that hold values; prose has a figure here and there
_LIKE_USUAL = 0.7  # of the values that most rows hold: a row of fewer is none of the data
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
    judged = [line for line in lines[-_JUDGED_LINES:] if line.strip()]
    best = (0.0, "", "")
    for delimiter in DELIMITERS:
        if delimiter == " " and _has_tabs(judged):
            break
        split = [split_line(line, delimiter) for line in judged]
        most = sum(len(cells) - cells.count("") for cells in split)
        for decimal in (".", ","):
            score = sum(_clearness(cells, decimal) for cells in split)
            best = max(best, (score, delimiter, decimal), key=lambda b: b[0])
            if score >= most:
                break  # the other mark cannot read better
        if best[0] >= _PLAIN_CELLS * len(judged) and (best[1] != "," or "." in judged[-1]):
            break  # nothing later in the list could read better
    if best[0] < _LEAST_NUMBERS:
        raise ReadingError(_no_rows(lines, source))
    return _place(lines, judged, *best[1:])


def _has_tabs(judged: list[str]) -> bool:
    """Whether as many tabs part each line into three values at least: blanks then stand within cells."""
    tabs = {line.count("\t") for line in judged}
    return len(tabs) == 1 and all(
        max(_values(line.split("\t"), mark) for mark in ".,") >= _PLAIN_CELLS for line in judged
    )


def end_of_data(text: bytes, layout: Layout) -> int:
    """Where the rows of data end: before last lines that begin with a word where all rows begin with a
    number, 'Mean;0,1;0,2', or remarks."""
    if not all(is_number(row[0], layout.decimal) or is_date(row[0]) for row in layout.cells):
        return len(text)
    end = len(text)
    for _ in range(_MOST_END_LINES):
        start = text.rfind(b"\n", 0, max(0, end - 1)) + 1
        line = text[start:end].decode("utf-8", errors="replace").strip()
        cell = split_line(line, layout.delimiter)[0] if line else ""
        if cell and (_END.match(cell) is None or cell in NOTHING or cell.lower() in _NO_NUMBER):
            break
        end = start
    return end


def _no_rows(lines: list[str], source: str) -> str:
    """What is there instead of rows of numbers."""
    cells = (split_line(line, d) for line in lines for d in DELIMITERS[:-1])
    if any(len(c) > _LEAST_NUMBERS and names.said_by(c) == len(c) for c in cells):
        return f"{source} has names of columns but no rows of numbers under them. Record again."
    return (
        f"{source} holds text but no rows of numbers. Export the recording as CSV with a time column and "
        "three columns of acceleration."
    )


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
    return _DATE.fullmatch(cell) is not None or is_compact(cell)


def _values(cells: list[str], decimal: str) -> int:
    """How many cells hold a number, a word for none, or a date; none if there are fewer than two."""
    if len(cells) < _LEAST_NUMBERS:
        return 0
    count = sum(
        is_number(cell, decimal)
        or is_date(cell)
        or cell.lower() in _NO_NUMBER
        or (cell != "" and is_dressed(cell, decimal))
        for cell in cells
    )
    return count if count >= _LEAST_NUMBERS else 0


def _clearness(cells: list[str], decimal: str) -> float:
    """How well one line reads as a row of data: its values, less if there is other text beside them."""
    values = _values(cells, decimal)
    filled = sum(1 for cell in cells if cell)
    return values * values / filled if values and values >= _LEAST_SHARE * filled else 0.0


def _place(lines: list[str], judged: list[str], delimiter: str, decimal: str) -> Layout:
    rows = [split_line(line, delimiter) for line in judged]
    counts = [_values(cells, decimal) for cells in rows]
    usual = Counter(c for c in counts if c).most_common(1)[0][0]
    width = Counter(len(r) for r, c in zip(rows, counts, strict=True) if c == usual).most_common(1)[0][0]
    wanted = max(_LEAST_NUMBERS, _LIKE_USUAL * usual)
    sample = tuple(tuple(r) for r, c in zip(rows, counts, strict=True) if len(r) == width and c >= wanted)
    first = 0
    while first < len(lines) - 1:
        cells = split_line(lines[first], delimiter)
        if (
            _values(cells, decimal) >= wanted
            and not _is_numbering(cells, sample)
            and not _is_titled(cells, sample)
        ):
            break
        first += 1
    header, units = _header(lines[:first], delimiter, width)
    return Layout(
        delimiter=delimiter,
        decimal=decimal,
        first=first,
        cells=sample,
        names=header,
        units=units,
        hints="\n".join(lines[:first]),
    )


def _is_numbering(cells: list[str], sample: tuple[tuple[str, ...], ...]) -> bool:
    """A first row 0, 1, 2, 3 over rows of fractions numbers the columns: it is a header of sorts, not
    data."""
    numbering = cells == [str(k) for k in range(len(cells))] and len(cells) > _LEAST_NUMBERS
    return numbering and any("." in cell or "," in cell for cell in sample[-1])


def _is_titled(cells: list[str], sample: tuple[tuple[str, ...], ...]) -> bool:
    """A row 'Scale, 1, 1, 1' has a word where the rows of data have a number or nothing."""
    plain = all(not row[0] or is_date(row[0]) or any(is_number(row[0], m) for m in ".,") for row in sample)
    return cells[0][:1].isalpha() and cells[0].lower() not in _NO_NUMBER and cells[0] not in NOTHING and plain


def _header(before: list[str], delimiter: str, width: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names and units from the lines before the data: the nearest line whose cells say most about columns."""
    best: tuple[tuple[bool, float], list[str], int] | None = None
    units: dict[int, list[str]] = {}
    if width > limits.MAX_COLUMNS:
        return (), ()  # refused, whatever they are called
    for back, line in enumerate(reversed(before)):
        cells = _header_cells(line, delimiter, width)
        if len([c for c in cells if c]) < 2 or any(_is_figure(c) for c in cells):
            continue  # nothing, or a figure of the recording's
        if _are_units(cells):
            units[back] = cells
            continue
        said = names.said_by(cells)
        whole = len(split_line(line, delimiter)) == width
        if not said and not whole:
            continue  # words that tell of no column
        alike = said > 0 and delimiter != " " and whole
        fit = (alike, said + 0.5 * (len(cells) == width) - 0.1 * back)  # prose says much in words too
        if best is None or fit > best[0]:
            best = (fit, cells, back)
    if best is None:
        # a lone line such as 'ms x y z' may read as units only when it names no axis
        return (), tuple(units[0]) if 0 in units else ()
    near = [u for back, u in units.items() if back < best[2]]
    rest = before[: len(before) - 1 - best[2]]
    named = _over_three(_with_heads(best[1], rest, delimiter))
    if len(named) > _PLAIN_CELLS and named == list(ascii_uppercase[: len(named)]):
        named = []  # a spreadsheet's own letters
    return tuple(named), tuple(near[-1]) if near else ()


def _are_units(cells: list[str]) -> bool:
    """Whether a line holds nothing but units, which may be parts of one or counts of a size."""
    filled = [c for c in cells if c]
    if all(names.unit_of_cell(c) for c in filled):
        return True
    return not names.triples(filled) and all(names.unit_of_cell(c) or multiples.is_unit(c) for c in filled)


def _is_figure(cell: str) -> bool:
    """A number with either mark, but no plain number of a channel."""
    return not cell.isdigit() and (is_number(cell, ".") or is_number(cell, ","))


def _over_three(cells: list[str]) -> list[str]:
    """A sensor's name over three columns, the other two without one, as a name for each axis."""
    if names.triples([c for c in cells if c]):
        return cells
    out = list(cells)
    for i, cell in enumerate(cells):
        if names.kind_of(cell) and cells[i + 1 : i + 3] == ["", ""]:
            out[i : i + 3] = [f"{cell} {axis}" for axis in "xyz"]
    return out


def _with_heads(cells: list[str], before: list[str], delimiter: str) -> list[str]:
    """Names that repeat (x, y, z, x, y, z) under a line of heads, one over each group: head and name
    together."""
    filled = [c for c in cells if c]
    heads = split_line(before[-1], delimiter) if before else []
    if len(set(filled)) == len(filled) or len([h for h in heads if h]) < 2 or len(heads) > len(cells):
        return cells
    out, head = [], ""
    for i, cell in enumerate(cells):
        head = (heads[i] if i < len(heads) else "") or head
        out.append(f"{head} {cell}".strip())
    return out


def _is_count(cells: list[str], delimiter: str) -> bool:
    """Whether the first cell is the sign for a number, over rows that are counted."""
    return delimiter != " " and cells[0] == "#"


def _header_cells(line: str, delimiter: str, width: int) -> list[str]:
    """The cells of a line of names, which may be a comment or use another delimiter than the data."""
    line = line.lstrip("\ufeff")
    if len(cells := split_line(line, delimiter)) == width and (not cells[0] or _is_count(cells, delimiter)):
        return cells  # a first column without a name, or of numbers, no comment
    line = _COMMENT.sub("", line)
    tries = [split_line(line, d) for d in (delimiter, *(d for d in DELIMITERS[:4] if d != delimiter))]
    glued = re.sub(r"\s+(?=[(\[])", "", line)
    tries += [re.split(r"\s{2,}|\t", line.strip()), split_line(glued, " ")]
    if delimiter == " ":
        tries = [*tries[-2:], *tries[:-2]]
    for cells in tries:
        if len(cells) == width:
            return cells
    return next((cells for cells in tries if len(cells) >= 3), tries[0])

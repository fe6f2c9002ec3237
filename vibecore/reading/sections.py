"""Tables one below the other in one text, each under its own line of names: read apart, never merged."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np

from vibecore.errors import ReadingError
from vibecore.model import Warn

from . import columns, delimited, encoding, keyed, names, scale
from .layout import MAX_HEAD_LINES, Layout, find_layout, is_date, is_number, split_line
from .table import Table

_MOST_LINES = 3000  # of words in one text; more are rows of data that begin with a word
_MOST_SECTIONS = 9  # of different sensors
_AXES = 3  # columns of numbers; a table of fewer may have several values in a cell
_LEAST_SAID = 2.0  # columns that a line of names tells of
_WORDS = re.compile(rb"(?m)^[ \t]*[\"'#\[(*]*[ \t]*[A-Za-z\x80-\xff][^\n]*$")  # no number, date or blank
_KEYED = re.compile(  # x=0.1, or the time 0.01:
    r"(?<!\w)[A-Za-z_]\w*[\"']?\s*(=\s*[\"'(\[{]*[-+]?\d|:\s*[(\[{]*[-+]?\d+[.,]\d)|^\d+([.,]\d+)?:$"
)
_HEAD_BYTES = 64 * 1024


@dataclass(frozen=True)
class _Head:
    """A line of names: where its section starts (its title's line, if there is one) and its rows do, title
    and names."""

    start: int
    rows: int
    title: str
    names: str


def read(data: bytes, title: str, max_rows: int) -> list[Table]:
    """The tables in a text: mostly one. Only a text with cells that are no numbers is looked through.

    Raises ReadingError if there is no table of numbers.
    """
    try:
        table = delimited.read(data, title, max_rows)
    except ReadingError:
        found = _apart(data, title, max_rows) or keyed.tables(data, title, max_rows)
        if not found:
            raise
        return found
    if _may_be_keyed(table) and (found := keyed.tables(data, title, max_rows)):
        return found
    return [table] if table.plain else _apart(data, title, max_rows) or [table]


def _may_be_keyed(table: Table) -> bool:
    """Whether cells hold names with numbers, or too few columns hold numbers: several may stand in a cell."""
    filled = [c for c in table.columns if c.numbers is not None and np.isfinite(c.floats()).any()]
    texts = [c.text[0].as_py() or "" for c in table.columns if c.text is not None]
    return len(filled) < _AXES or any(_KEYED.search(cell) for cell in texts)


def _apart(data: bytes, title: str, max_rows: int) -> list[Table]:
    """Each section as a table; none if there is one section, or several that one sensor made."""
    text, _ = encoding.to_utf8(data)
    heads = _heads(text, title)
    if len(heads) < 2:
        return []
    ends = [*(h.start for h in heads[1:]), len(text)]
    tables = []
    groups = _groups(heads)
    for head, places in groups:
        part = text[heads[places[0]].start if places[0] else 0 : ends[places[0]]]
        part += b"".join(text[heads[i].rows : ends[i]] for i in places[1:])
        try:
            table = delimited.read(part, title, max_rows)
        except ReadingError:
            continue  # too broken to be the recording
        told = Warn(
            "table-chosen",
            f"The file holds {len(groups)} tables one below the other; the one under "
            f"'{head.title or head.names}' was read.",
        )
        said = head.title or (head.names if len(table.columns) < _AXES else "")
        source = f"{title}, {said}" if said else title
        tables.append(replace(table, source=source, warnings=(*table.warnings, told)))
    alike = len({(h.title, h.names) for h in heads}) == 1
    return [] if alike and len({_has_gravity(t) for t in tables}) < 2 else tables


def _groups(heads: list[_Head]) -> list[tuple[_Head, list[int]]]:
    """The sections by what stands over them: those of several sensors that take turns belong together. Where
    all have the same line, each by itself."""
    places: dict[tuple[str, str], list[int]] = {}
    for i, head in enumerate(heads):
        places.setdefault((head.title, head.names), []).append(i)
    if len(places) == 1:
        return [(head, [i]) for i, head in enumerate(heads)]
    return [(heads[own[0]], own) for own in places.values()]


def _has_gravity(table: Table) -> bool:
    try:
        triple, _, _ = columns.find_triple(table)
    except ReadingError:
        return False
    return scale.is_gravity_in(scale.steady_size(triple.sample()))


def _heads(text: bytes, title: str) -> list[_Head]:
    """The lines of names that have data under them; none if there are too many to be sections."""
    found = list(islice(_WORDS.finditer(text), _MOST_LINES + 1))
    if len(found) > _MOST_LINES:
        return []
    head = text[:_HEAD_BYTES].decode("utf-8", errors="replace").splitlines()[:MAX_HEAD_LINES]
    try:
        layout = find_layout(head, title)
    except ReadingError:
        return []
    heads = _with_titles(_named(text, found, layout))
    return heads if len(_groups(heads)) <= _MOST_SECTIONS else []


def _with_titles(heads: Iterable[_Head]) -> list[_Head]:
    """Names that are written once more without a title are under the one that they had before."""
    out: list[_Head] = []
    for head in heads:
        again = bool(out) and not head.title and head.names == out[-1].names
        out.append(replace(head, title=out[-1].title) if again else head)
    return out


def _named(text: bytes, lines: list[re.Match[bytes]], layout: Layout) -> Iterator[_Head]:
    """The lines of names among lines of words, each with the line of one cell just above it as its title."""
    delimiter, decimal = layout.delimiter, layout.decimal
    least = min(2, layout.width - 1)  # cells: of a time and one axis there are two
    above: re.Match[bytes] | None = None
    for line in lines:
        cells = split_line(_decoded(line), delimiter)
        if len(cells) > least and _are_names(cells, decimal):
            near = above is not None and not text[above.end() : line.start()].strip()
            title = _decoded(above).strip("[]#*:\"' ") if above is not None and near else ""
            start = above.start() if above is not None and near else line.start()
            yield _Head(start, line.end() + 1, title[:60], ", ".join(cells))
        above = line if len([c for c in cells if c]) == 1 else None


def _decoded(line: re.Match[bytes]) -> str:
    return line.group().decode("utf-8", errors="replace").strip()


def _are_names(cells: list[str], decimal: str) -> bool:
    values = any(is_number(c, decimal) or is_date(c) for c in cells)
    units = all(names.unit_of_cell(c) for c in cells if c)
    return not values and not units and names.said_by(cells) >= _LEAST_SAID

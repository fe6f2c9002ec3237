"""Logs whose rows name their values, 'ACC x=0.1 y=0.2 z=9.8', or bracket them: rewritten as a table.

A row's skeleton is what is left of it without its numbers and clocks. Rows of one skeleton make one table.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace

from vibecore.model import Warn

from . import delimited, encoding, names
from .layout import MAX_HEAD_LINES, split_line
from .table import Table

_HEAD_BYTES = 64 * 1024
_JUDGED_LINES = 60  # the last of the head
_LEAST_SHARE = 0.2  # of the judged lines that a skeleton must have: a log has other lines too
_VALUES = range(3, 61)  # in a row: three axes, and no more than any log writes
_AXES = 3
_MOST_KINDS = 9  # of rows
_CLOCK = r"(?:\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[T _])?\d{1,2}:\d\d:\d\d(?:[.,:]\d+)?(?:Z|[+-]\d\d:?\d\d(?!\d))?"
_NUMBER = r"[-+]?(?:\d+{mark}?\d*|{mark}\d+)(?:[eE][-+]?\d+)?"
_KEY = re.compile(r"([A-Za-z_][\w.\-]*)[\"']?\s*[=:]\s*[\"'(\[{]*\s*$")
_OPEN, _CLOSED = "([{", ")]}"
_SIGNS = " ,;:=|<>/()[]{}\"'"


@dataclass(frozen=True)
class _Skeleton:
    """The texts before, between and behind the values of a row, and which of the values are clocks."""

    pieces: tuple[str, ...]
    clocks: tuple[bool, ...]

    def pattern(self, mark: str) -> re.Pattern[str]:
        """What a row of this kind is like, its values as groups."""
        number = _NUMBER.replace("{mark}", mark)
        words = [r"[ \t]*".join(re.escape(p) for p in piece.split(" ")) for piece in self.pieces]
        values = [f"({_CLOCK if clock else number})" for clock in self.clocks]
        return re.compile("(?m)^" + "".join(a + b for a, b in zip(words, [*values, r"\s*$"], strict=True)))


def tables(data: bytes, title: str, max_rows: int) -> list[Table]:
    """The tables in such a log, one for each kind of row; none if it is no such log."""
    plain = encoding.to_utf8(data)[0]
    head = plain[:_HEAD_BYTES].decode("utf-8", errors="replace").splitlines()[:MAX_HEAD_LINES]
    judged = [line for line in head[-_JUDGED_LINES:] if line.strip()]
    mark = r"\." if any(re.search(r"\d\.\d", line) for line in judged) else ","
    found = Counter(s for line in judged if (s := _skeleton(line, mark)) is not None)
    kinds = [s for s, count in found.most_common(_MOST_KINDS) if count >= _LEAST_SHARE * len(judged)]
    named = [_named(kind, head, mark) for kind in kinds]
    if not kinds or len({tuple(sorted(n)) for n in named}) < len(kinds):
        return []
    text = plain.decode("utf-8", errors="replace")
    rows = [kind.pattern(mark).findall(text) for kind in kinds]
    other = sum(1 for line in text.splitlines() if line.strip()) - sum(map(len, rows))
    out = []
    for kind, own, values in zip(kinds, named, rows, strict=True):
        first = next((i for i, line in enumerate(head) if kind.pattern(mark).match(line)), len(head))
        lines = [*head[:first], ";".join(n or '""' for n in own), *(";".join(row) for row in values)]
        table = delimited.read(("\n".join(lines) + "\n").encode(), title, max_rows)
        left_out = other - sum(1 for line in head[:first] if line.strip())
        out.append(replace(table, warnings=(*table.warnings, *_told(left_out, other + sum(map(len, rows))))))
    return out


def _skeleton(line: str, mark: str) -> _Skeleton | None:
    """The skeleton of a line, None if it has too few values or too many."""
    number = _NUMBER.replace("{mark}", mark)
    values = list(re.finditer(rf"(?<![\w.])(?:({_CLOCK})|{number})", line))
    if len(values) not in _VALUES:
        return None
    ends = [0, *(v.end() for v in values)]
    starts = [*(v.start() for v in values), len(line)]
    pieces = [re.sub(r"[ \t]+", " ", line[a:b]) for a, b in zip(ends, starts, strict=True)]
    return _Skeleton((*pieces[:-1], pieces[-1].rstrip()), tuple(v[1] is not None for v in values))


def _named(kind: _Skeleton, head: list[str], mark: str) -> list[str]:
    """A name for each value: by the keys in the row, else by the line of names above it."""
    keys = [_KEY.search(piece) for piece in kind.pieces[:-1]]
    if any(keys):
        return _by_keys(kind, keys)
    first = next((i for i, line in enumerate(head) if kind.pattern(mark).match(line)), 0)
    above = next((line for line in reversed(head[:first]) if line.strip()), "")
    for delimiter in ",;\t|":
        cells, groups = split_line(above, delimiter), _groups(kind, delimiter)
        if len(cells) == len(groups) > 1:
            return [n for cell, group in zip(cells, groups, strict=True) for n in _names_of(cell, len(group))]
    return [""] * len(kind.clocks)


def _groups(kind: _Skeleton, delimiter: str) -> list[list[int]]:
    """The places of the values in each cell of a row: what is bracketed or quoted is not parted."""
    groups: list[list[int]] = []
    depth, quoted = 0, False
    for i, piece in enumerate(kind.pieces[:-1]):
        parted = not groups
        for sign in piece:
            quoted ^= sign == '"'
            depth += (sign in _OPEN) - (sign in _CLOSED)
            parted |= sign == delimiter and depth == 0 and not quoted
        if parted:
            groups.append([])
        groups[-1].append(i)
    return groups


def _by_keys(kind: _Skeleton, keys: list[re.Match[str] | None]) -> list[str]:
    """The key before each value, or before a bracket of several; with the words before it if it is an axis,
    for they tell the sensor; and the unit behind it."""
    out: list[str] = []
    sensor, i = "", 0
    while i < len(keys):
        key, count = keys[i], 1
        while key and i + count < len(keys) and not keys[i + count]:
            count += 1
        bare = all(not piece.strip(" ,") for piece in kind.pieces[i + 1 : i + count])
        if not (key and (key[0].rstrip()[-1] in _OPEN or (bare and count == _AXES))):
            count = 1
        name, piece = (key[1], kind.pieces[i][: key.start()]) if key else ("", kind.pieces[i])
        words = [w for w in piece.strip(_SIGNS).split() if not names.unit_of_cell(w.strip(_SIGNS))]
        if any(c.isalpha() for w in words for c in w):
            sensor = " ".join(words).strip(_SIGNS)
        axis = names.plain(name) in names.words()["axes"]["letters"]
        behind = kind.pieces[i + count].lstrip()
        unit = names.unit_of_cell(re.split(r"[\s,;\])}'\"]", behind, maxsplit=1)[0])
        name = f"{sensor} {name}" if axis and sensor else name
        out += [f"{n} ({unit})" if unit else n for n in _names_of(name, count)]
        i += count
    return out


def _names_of(name: str, count: int) -> list[str]:
    """Names for so many values under one."""
    name = name.replace(";", " ")
    ends = "xyz" if count == _AXES else [str(k) for k in range(count)]
    return [name] if count == 1 else [f"{name} {end}" for end in ends]


def _told(left_out: int, lines: int) -> tuple[Warn, ...]:
    if left_out <= 0:
        return ()
    text = f"{left_out} of {lines} lines are unlike the others, without their values; left out."
    return (Warn("broken-rows", text),)

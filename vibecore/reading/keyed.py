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
_DATE = r"(?:\d{1,4}[-/.])?\d{1,2}[-/.]\d{1,2}"
_CLOCK = (
    rf"(?:(?:{_DATE}[T _])?\d{{1,2}}:\d\d:\d\d(?:[.,:]\d+)?(?:Z|[+-]\d\d:?\d\d(?!\d))?"
    r"|\d{4}[-/.]\d{1,2}[-/.]\d{1,2}(?![\d.]))"
)
_NUMBER = r"[-+]?(?:\d+(?:{mark}\d*)?|{mark}\d+)(?:[eE][-+]?\d+)?"
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
        words = [r"[ \t]+" if word == r"[ \t]*" else word for word in words]  # else 12 may be 1 and 2
        values = [f"({_CLOCK if clock else number})" for clock in self.clocks]
        return re.compile("(?m)^" + "".join(a + b for a, b in zip(words, [*values, r"\s*$"], strict=True)))


@dataclass(frozen=True)
class _Kind:
    """Rows of one skeleton: what they are like, the first of them in the head, and their words."""

    pattern: re.Pattern[str]
    first: int
    words: str


def tables(data: bytes, title: str, max_rows: int) -> list[Table]:
    """The tables in such a log, one for each set of names; none if it is no such log."""
    plain = encoding.to_utf8(data)[0]
    head = plain[:_HEAD_BYTES].decode("utf-8", errors="replace").splitlines()[:MAX_HEAD_LINES]
    judged = [line for line in head[-_JUDGED_LINES:] if line.strip()]
    mark = r"\." if any(re.search(r"\d\.\d", line) for line in judged) else ","
    found = Counter(s for line in judged if (s := _skeleton(line, mark)) is not None)
    kinds = [s for s, count in found.most_common(_MOST_KINDS) if count >= _LEAST_SHARE * len(judged)]
    sets: dict[tuple[str, ...], list[_Kind]] = {}
    for kind in kinds:
        pattern = kind.pattern(mark)
        first = next((i for i, line in enumerate(head) if pattern.match(line)), len(head))
        own, words = _named(kind, head[:first])
        sets.setdefault(tuple(own), []).append(_Kind(pattern, first, words))
    if len({tuple(sorted(own)) for own in sets}) < len(sets):
        return []
    text = plain.decode("utf-8", errors="replace")
    out = [_table(own, same, text, head, (title, max_rows)) for own, same in sets.items()]
    first = min((kind.first for same in sets.values() for kind in same), default=0)
    lines = sum(1 for line in text.splitlines() if line.strip())
    left_out = lines - sum(t.rows for t in out) - sum(1 for line in head[:first] if line.strip())
    return [replace(t, warnings=(*t.warnings, *_told(left_out, lines))) for t in out]


def _table(
    own: tuple[str, ...], kinds: list[_Kind], text: str, head: list[str], limit: tuple[str, int]
) -> Table:
    """The rows of these kinds in the order of the text; where they are several, with the words of each in a
    column, else before the names of its axes."""
    found = [(m.start(), m.groups(), kind.words) for kind in kinds for m in kind.pattern.finditer(text)]
    found.sort(key=lambda row: row[0])
    if len(kinds) > 1:
        names_of, rows = (*own, "sensor"), [";".join((*values, words)) for _, values, words in found]
    else:
        words = kinds[0].words
        names_of = tuple(f"{words} {n}" if words and _is_axis(n) else n for n in own)
        rows = [";".join(values) for _, values, _ in found]
    first = min(kind.first for kind in kinds)
    lines = [*head[:first], ";".join(n or '""' for n in names_of), *rows]
    return delimited.read(("\n".join(lines) + "\n").encode(), *limit)


def _is_axis(name: str) -> bool:
    return names.plain(name.split(" (")[0]) in names.words()["axes"]["letters"]


def _skeleton(line: str, mark: str) -> _Skeleton | None:
    """The skeleton of a line, None if it has too few values or too many."""
    number = _NUMBER.replace("{mark}", mark)
    values = list(re.finditer(rf"(?<![\w.])(?:({_CLOCK})|{number})", line))
    if len(values) not in _VALUES:
        return None
    ends = [0, *(v.end() for v in values)]
    starts = [*(v.start() for v in values), len(line)]
    pieces = [re.sub(r"[ \t]+", " ", line[a:b]) for a, b in zip(ends, starts, strict=True)]
    if any(piece[-1:] in ("", "+", "-") for piece in pieces[1:-1]) or pieces[0][-1:] in ("+", "-"):
        return None  # numbers that run together, or signs that may be dashes
    return _Skeleton((*pieces[:-1], pieces[-1].rstrip()), tuple(v[1] is not None for v in values))


def _named(kind: _Skeleton, before: list[str]) -> tuple[list[str], str]:
    """A name for each value, by the keys in the row, else by the line of names above it, else of three in a
    bracket; and the words that are no name, for they may tell the sensor."""
    keys = [_KEY.search(piece) for piece in kind.pieces[:-1]]
    if any(keys):
        return _by_keys(kind, keys)
    above = next((line for line in reversed(before) if line.strip()), "")
    for delimiter in ",;\t|":
        cells, groups = split_line(above, delimiter), _groups(kind, delimiter)
        if len(cells) == len(groups) > 1:
            named = [
                n for cell, group in zip(cells, groups, strict=True) for n in _names_of(cell, len(group))
            ]
            return named, ""
    return _by_brackets(kind)


def _by_brackets(kind: _Skeleton) -> tuple[list[str], str]:
    out = ["time" if clock else "" for clock in kind.clocks]
    words = [piece.strip(_SIGNS).replace(";", " ") for piece in kind.pieces]
    threes = [
        g for g in _groups(kind, "") if len(g) == _AXES and kind.pieces[g[0]].rstrip()[-1:] in tuple(_OPEN)
    ]
    for three in threes:
        sensor = words[three[0]] if len(threes) > 1 else ""
        for place, axis in zip(three, "xyz", strict=True):
            out[place] = f"{sensor} {axis}".strip()
    return out, " ".join(w for w in words if any(map(str.isalpha, w)))


def _groups(kind: _Skeleton, delimiter: str) -> list[list[int]]:
    """The places of the values in each cell of a row: what is bracketed or quoted is not parted. Without a
    delimiter only brackets hold values together."""
    groups: list[list[int]] = []
    depth, quoted = 0, False
    for i, piece in enumerate(kind.pieces[:-1]):
        parted = not groups or (delimiter == "" and depth == 0)
        for sign in piece:
            quoted ^= sign == '"'
            depth += (sign in _OPEN) - (sign in _CLOSED)
            parted |= delimiter in (sign, "") and depth == 0 and not quoted
        if parted:
            groups.append([])
        groups[-1].append(i)
    return groups


def _by_keys(kind: _Skeleton, keys: list[re.Match[str] | None]) -> tuple[list[str], str]:
    """The key before each value, or before a bracket of several, with the unit behind it; and the words
    before the axes, for they tell the sensor: where they are several in a row, before the key of each."""
    out: list[tuple[str, str]] = []
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
            sensor = " ".join(words).strip(_SIGNS).replace(";", " ")
        name = name or ("time" if kind.clocks[i] else "")
        behind = kind.pieces[i + count].lstrip()
        unit = names.unit_of_cell(re.split(r"[\s,;\])}'\"]", behind, maxsplit=1)[0])
        out += [(sensor, f"{n} ({unit})" if unit else n) for n in _names_of(name, count)]
        i += count
    sensors = {s for s, name in out if _is_axis(name)}
    if len(sensors) > 1:
        return [f"{s} {name}" if _is_axis(name) else name for s, name in out], ""
    return [name for _, name in out], next(iter(sensors), "")


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

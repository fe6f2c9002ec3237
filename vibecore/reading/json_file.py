"""JSON recordings into Tables: records, columns, rows under names, one record a line, or any of them
nested."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from typing import Any

from vibecore.errors import ReadingError

from . import cells, json_text, limits, packets, sideways
from .encoding import to_utf8
from .names import is_time, unit_of_cell
from .table import Table

_DEPTH = 5  # how deep the recording may sit in nested objects
_START = re.compile(rb"\s*(\{\s*[\"}]|\[\s*([\[{\"\]]|-?\d[\d.eE+-]*\s*(,|$))|[\[{]\s*$)")
_LEAST_ROWS = 2
_MANY = 40  # an object of more values than this is a list in disguise

_AXES = 3  # values of a vector
# To a value in a record: names, and places in a short list with its length.
_Path = tuple[str | tuple[int, int], ...]


def sniff(data: bytes) -> bool:
    """True if the text starts like a JSON object or list."""
    head = to_utf8(data[: limits.PROBE_BYTES])[0]
    return (
        _START.match(json_text.without_remarks(head.decode("utf-8", errors="replace")).encode()) is not None
    )


def read(data: bytes, title: str, max_rows: int) -> list[Table]:
    """The tables in a JSON file.

    Raises ReadingError if it is broken (with line and column), too large, or holds no table of numbers.
    """
    if len(data) > limits.MAX_JSON_BYTES:
        raise ReadingError(
            f"{title} is {limits.megabytes(len(data))} of JSON, the limit is "
            f"{limits.megabytes(limits.MAX_JSON_BYTES)}. Export it as CSV."
        )
    if data.count(b"[") + data.count(b"{") > limits.MAX_JSON_PARTS:
        raise ReadingError(f"{title} has over {limits.MAX_JSON_PARTS} lists and records. Export it as CSV.")
    text = to_utf8(data)[0].decode("utf-8", errors="replace").strip()
    tables = _tables(json_text.parse(text, title), title, 0)
    tables = [t for t in tables if t.rows >= _LEAST_ROWS]
    if not tables:
        raise ReadingError(f"{title} is JSON without a list of samples. Export the recording as CSV.")
    if max(t.rows for t in tables) > max_rows:
        raise ReadingError(f"{title} has more than {max_rows} rows. Cut out the part of interest.")
    return tables


def _tables(value: Any, source: str, depth: int) -> list[Table]:
    """Every table found in a JSON value."""
    if depth > _DEPTH:
        return []
    if isinstance(value, list) and value:
        if isinstance(value[0], dict):
            by_name = _from_columns(packets.channels(value), source)
            found = [by_name] if by_name else _from_records(value, source)
            if max((t.rows for t in found), default=0) < limits.MIN_ROWS:
                found = [t for part in value for t in _tables(part, source, depth + 1)] or found
            return found
        if isinstance(value[0], list):
            return _from_rows(value, source)
        return _from_rows(rows, source) if (rows := packets.in_one(value)) else []
    if not isinstance(value, dict):
        return []
    if rows := _under_names(value):
        return [replace(t, hints=_notes(value)) for t in _from_rows(rows, source)]
    inner = list(value.values())
    if len(inner) > _MANY and all(isinstance(v, dict) for v in inner):  # under their numbers or times
        return _from_records(_timed(value), source)
    if len(inner) > _MANY and all(isinstance(v, list) and len(v) == _AXES for v in inner):
        return _from_rows([[_number(k), *v] for k, v in value.items()], source)
    if all(isinstance(v, dict) and len(v) > _MANY for v in inner):  # columns of numbered values
        value = {k: list(v.values()) for k, v in value.items()}
    out: list[Table] = []
    if columns := _from_columns(value, source):
        out = [columns]
    else:
        for key, part in value.items():
            out += _tables(part, f"{source} {key}", depth + 1)
    return [replace(t, hints=f"{_notes(value)}\n{t.hints}") for t in out]


def _under_names(value: dict[str, Any]) -> list[Any]:
    """Rows in one list whose columns have their names, and perhaps units, in others of as many words: the
    rows under the names, none if that is not what it is."""
    lists = [v for v in value.values() if isinstance(v, list) and v]
    rows: list[Any] = list(sideways.turned(next((v for v in lists if isinstance(v[0], list)), [[]])))
    words = [v for v in lists if len(v) == len(rows[0]) and all(isinstance(cell, str) for cell in v)]
    units = [v for v in words if all(unit_of_cell(cell) for cell in v if cell)]
    named = [v for v in words if v not in units]
    if len(named) != 1:
        return []
    heads = [f"{name} ({unit})" for name, unit in zip(named[0], units[0], strict=True)] if units else named[0]
    return [heads, *rows]


def _timed(records: dict[str, dict[str, Any]]) -> list[dict[str, Any]]:
    """Records with what they stand under as their time, where it is one and they have none of their own."""
    first = next(iter(records.values()))
    keys = [_number(k) for k in records]
    counted = all(b == a + 1 for a, b in pairwise(keys) if isinstance(a, int) and isinstance(b, int))
    if any(is_time(k) for k in first) or (counted and isinstance(keys[0], int)):
        return list(records.values())
    return [{"time": key, **record} for key, record in zip(keys, records.values(), strict=True)]


def _number(text: str) -> Any:
    if text.isdecimal() and len(text) <= limits.MOST_DIGITS:
        return int(text)
    return float(text) if _is_figure(text) else text


def _notes(value: dict[str, Any]) -> str:
    """Single values beside the samples, a line each: they may tell the rate."""
    parts = [p for p in value.values() if isinstance(p, dict) and len(p) <= _MANY]
    said: dict[str, Any] = {}
    for part in (dict(list(value.items())[:_MANY]), *parts):
        said = {k: v for k, v in part.items() if isinstance(v, (str, int, float))} | said
    return "\n".join(f"{k}: {v}" for k, v in said.items())


def _from_columns(value: dict[str, Any], source: str) -> Table | None:
    """Lists of equal length under names, one level of nesting allowed."""
    flat: dict[str, list[Any]] = {}
    sensors = [
        {len(v) for v in p.values() if isinstance(v, list)} for p in value.values() if isinstance(p, dict)
    ]
    if len(sensors) > 1 and all(len(s) == 1 for s in sensors) and len(set().union(*sensors)) > 1:
        return None  # each sensor at a rate of its own
    for key, inner in value.items():
        if isinstance(inner, dict):
            for k, v in inner.items():
                flat |= _lists(f"{key}.{k}", v)
        else:
            flat |= _lists(key, inner)
    if len(flat) < 3:
        return None
    lengths = [len(v) for v in flat.values()]
    rows = max(set(lengths), key=lengths.count)
    columns = [cells.column(key, v) for key, v in flat.items() if len(v) == rows]
    return Table(tuple(columns[: limits.MAX_COLUMNS]), rows, source, history=("json, columns",))


def _lists(key: str, value: Any) -> dict[str, list[Any]]:
    """A list of single values under its name; of vectors, or one for each axis, as a list for each axis."""
    if not isinstance(value, list) or len(value) < _LEAST_ROWS:
        return {}
    if not isinstance(value[0], (dict, list)):
        return {key: value}
    lengths = {len(v) if isinstance(v, list) else 0 for v in value}
    if lengths == {_AXES} and not isinstance(value[0][0], (dict, list)):
        value = list(zip(*value, strict=True))
    elif len(value) != _AXES or len(lengths) > 1 or max(lengths) <= packets.LONGEST_VECTOR:
        return {}
    return {f"{key}.[{axis}]": list(v) for axis, v in zip("xyz", value, strict=True)}


def _from_rows(rows: list[Any], source: str) -> list[Table]:
    """Lists of numbers, the first row perhaps names."""
    names: list[str] = []
    rows = list(sideways.turned(rows))
    if all(isinstance(cell, str) for cell in rows[0]) and not any(_is_figure(c) for c in rows[0]):
        names, rows = [str(c) for c in rows[0]], rows[1:]
    lists = [row for row in rows if isinstance(row, list)]
    if not lists:
        return []
    lengths = [len(row) for row in lists]
    width = max(set(lengths), key=lengths.count) if len(set(lengths)) < _MANY else 0
    lists = [row for row in lists if len(row) == width]
    if not 0 < width <= limits.MAX_COLUMNS:
        return []
    names += [""] * (width - len(names))
    columns = [cells.column(names[i], list(column)) for i, column in enumerate(zip(*lists, strict=True))]
    return [Table(tuple(columns), len(lists), source, named=any(names), history=("json, rows",))]


def _is_figure(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _from_records(records: list[Any], source: str) -> list[Table]:
    """Objects with the same names, values nested up to three deep ('accel': {'x': ...})."""
    records = [r for r in records if isinstance(r, dict)]
    if inside := packets.opened(records):
        hints = _notes(packets.said_by_all(records))
        tables = [
            t for key, samples in inside.items() for t in _from_records(samples, f"{source} {key}".strip())
        ]
        return [replace(t, hints=hints) for t in tables]
    hints = _notes(records[0]) if len(records) > 1 and not set(records[0]) & set(records[1]) else ""
    keys: dict[_Path, None] = {}
    for record in [*records[:100], *records[-100:]]:
        keys |= dict.fromkeys(_paths(record, 3))
    paths = list(keys)[: min(limits.MAX_COLUMNS, limits.MAX_CELLS // max(1, len(records)))]
    values = {path: _values(records, path) for path in paths}
    columns = [cells.column(_name(path, values), own) for path, own in values.items()]
    table = Table(tuple(columns), len(records), source, hints, history=("json, records",))
    return [table] if columns else []


def _name(path: _Path, values: dict[_Path, list[Any]]) -> str:
    """The names that lead to a value; of three in a list, or four of which one is the time, it is an axis."""
    *names, last = path
    if isinstance(last, tuple):
        timed = last[1] == _AXES + 1 and _rise(values[(*names, (0, last[1]))])
        last = f"[{('txyz' if timed else 'xyzw')[last[0]]}]"
    return ".".join((*map(str, names), last))


def _rise(values: list[Any]) -> bool:
    """True for numbers that never fall, as a time."""
    known = [v for v in values if isinstance(v, (int, float))]
    return len(known) == len(values) and all(a <= b for a, b in pairwise(known)) and known[0] < known[-1]


def _paths(record: dict[str, Any], depth: int) -> list[_Path]:
    out: list[_Path] = []
    for key, value in record.items():
        if isinstance(value, dict) and depth > 1:
            out += [(key, *rest) for rest in _paths(value, depth - 1)]
        elif isinstance(value, list) and len(value) <= packets.LONGEST_VECTOR:
            out += [(key, (i, len(value))) for i in range(len(value))]
        elif not isinstance(value, (dict, list)):
            out.append((key,))
    return out


def _values(records: list[Any], path: _Path) -> list[Any]:
    values = records
    for key in path:
        if isinstance(key, tuple):
            at = key[0]
            values = [v[at] if isinstance(v, list) and len(v) > at else None for v in values]
        else:
            values = [v.get(key) if isinstance(v, dict) else None for v in values]
    return values

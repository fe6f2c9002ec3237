"""Workbooks (.xlsx and the old binary .xls) into Tables through calamine: stored values only, no formula
runs."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from typing import Any

from vibecore.errors import ReadingError
from vibecore.model import Warn

from . import delimited, limits
from .json_file import text_column
from .table import Column, Table

_OLD = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # the container of old binary workbooks
_ZIP = b"PK\x03\x04"
_LEAST_ROWS = 3


def sniff(data: bytes) -> bool:
    """True for an old binary workbook, or a zip that holds a workbook."""
    if data.startswith(_OLD):
        return True
    if not data.startswith(_ZIP):
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return any(n.lower().startswith("xl/") for n in archive.namelist()[:200])
    except (zipfile.BadZipFile, ValueError, OSError):
        return False


def read(data: bytes, title: str, max_rows: int) -> list[Table]:
    """One table for each sheet that holds rows of numbers.

    Raises ReadingError if the workbook is broken, too large, or has no such sheet.
    """
    if data.startswith(_ZIP):
        _check_zip(data, title)
    sheets = _sheets(data, title)
    tables, last = [], None
    for sheet, rows in sheets:
        if len(rows) < _LEAST_ROWS:
            continue
        if len(rows) > max_rows:
            raise ReadingError(
                f"{title}, sheet '{sheet}' has more than {max_rows} rows. Cut out the part of interest."
            )
        try:
            tables.append(_table(rows, f"{title}, sheet '{sheet}'"))
        except ReadingError as error:
            last = error
    if tables:
        return tables
    raise last or ReadingError(f"{title} is a workbook without rows of numbers. Export the recording as CSV.")


def _sheets(data: bytes, title: str) -> list[tuple[str, list[list[Any]]]]:
    from python_calamine import CalamineWorkbook

    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        return [(n, book.get_sheet_by_name(n).to_python()) for n in book.sheet_names[: limits.MAX_SHEETS]]
    except (KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except BaseException as error:  # the library's own panics are no Exceptions
        if not isinstance(error, Exception) and type(error).__name__ != "PanicException":
            raise
        raise ReadingError(
            f"{title} is a broken or unknown workbook ({str(error)[:100]}). Open it, save it as .xlsx or "
            "CSV, and try again."
        ) from None


def _check_zip(data: bytes, title: str) -> None:
    """No more unpacked bytes than allowed, and no sheet whose stray far cells make a huge rectangle."""
    total = 0
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if len(archive.infolist()) > limits.MAX_ARCHIVE_ENTRIES:
                raise ReadingError(f"{title} is a workbook of too many parts. Save it as CSV.")
            for info in archive.infolist():
                total += info.file_size
                if total > 2 * limits.MAX_BYTES:
                    raise ReadingError(
                        f"{title} unpacks to over {limits.megabytes(2 * limits.MAX_BYTES)}. Save it as CSV."
                    )
                part = archive.read(info)  # stops at the declared size; a lie about it fails the check sum
                if info.filename.lower().startswith("xl/worksheets/"):
                    _check_cells(part, title)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, ValueError, OSError, EOFError) as error:
        raise ReadingError(
            f"{title} is a broken workbook ({str(error)[:100]}). Save it once more as .xlsx or CSV."
        ) from error


def _check_cells(sheet: bytes, title: str) -> None:
    wide = 26
    for letters in set(re.findall(rb'r="([A-Z]{2,3})\d+"', sheet)):
        column = 0
        for letter in letters:
            column = column * 26 + letter - 64
        wide = max(wide, column)
    rows = re.findall(rb'r="[A-Z]{0,3}(\d{5,})"', sheet)
    tall = max(map(int, rows), default=10_000)
    if wide * tall > limits.MAX_SHEET_CELLS and wide > 26:
        raise ReadingError(
            f"{title} has a sheet of {tall} rows by {wide} columns, too many cells. Save the data as CSV."
        )


def _table(rows: list[list[Any]], title: str) -> Table:
    """Rows of cells as a table; a sheet with all its text in one column is read as the text that it is."""
    filled = [row for row in rows if any(c not in ("", None) for c in row)]
    if sum(1 for row in filled[:50] if _single_text(row)) > 0.8 * len(filled[:50]):
        text = "\n".join(str(next(c for c in row if c not in ("", None))) for row in filled)
        return delimited.read(text.encode("utf-8"), title, limits.MAX_ROWS)
    first = next((i for i, row in enumerate(filled[:200]) if sum(map(_is_value, row)) >= 2), None)
    if first is None:
        raise ReadingError(f"{title} holds no rows of numbers. Export the recording as CSV.")
    header, units, hints = _header(filled[:first])
    body = filled[first:]
    width = min(max(len(row) for row in body[:50]), limits.MAX_COLUMNS)
    columns = []
    for i in range(width):
        values = [_plain(row[i]) if i < len(row) else None for row in body]
        name = header[i] if i < len(header) else ""
        column = text_column(name, values)
        columns.append(Column(name, column.numbers, column.text, units[i] if i < len(units) else ""))
    return Table(tuple(columns), len(body), title, hints, any(header), (), (f"workbook, {len(body)} rows",))


def _single_text(row: list[Any]) -> bool:
    cells = [c for c in row if c not in ("", None)]
    return len(cells) == 1 and isinstance(cells[0], str)


def _is_value(cell: Any) -> bool:
    if isinstance(cell, (int, float, dt.datetime, dt.time, dt.timedelta)) and not isinstance(cell, bool):
        return True
    return (
        isinstance(cell, str) and re.fullmatch(r"\s*[+-]?\d+([.,]\d+)?([eE][+-]?\d+)?\s*", cell) is not None
    )


def _header(before: list[list[Any]]) -> tuple[list[str], list[str], str]:
    from . import names

    texts = [[str(c) if c is not None else "" for c in row] for row in before]
    hints = "\n".join(" ".join(t for t in row if t) for row in texts)
    units: list[str] = []
    for row in reversed(texts):
        filled = [t for t in row if t]
        if len(filled) < 2:
            continue
        if all(names.unit_of_cell(t) for t in filled):
            units = row
            continue
        return row, units, hints
    return [], units, hints


def _plain(cell: Any) -> Any:
    if isinstance(cell, dt.datetime):
        return cell.isoformat(sep=" ", timespec="microseconds")
    if isinstance(cell, dt.time):
        return cell.isoformat(timespec="microseconds")
    if isinstance(cell, dt.timedelta):
        return cell.total_seconds()
    if isinstance(cell, str):
        return re.sub(r"^(\s*[+-]?\d+),(\d+\s*)$", r"\1.\2", cell)
    return None if cell == "" else cell


__all__ = ["Warn", "read", "sniff"]

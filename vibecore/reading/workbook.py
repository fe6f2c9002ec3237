"""Workbooks (.xlsx, the old binary .xls, .ods) into Tables through calamine: stored values only, no
formula runs."""

from __future__ import annotations

import io
import marshal
import re
import subprocess
import sys
import zipfile
from dataclasses import replace
from typing import Any

from vibecore.constants import ZIP_SIGN
from vibecore.errors import ReadingError

from . import cells, delimited, limits, sideways, workbook_child
from .archive import BROKEN
from .dressed import is_dressed
from .layout import is_date
from .table import Column, Table

_OLD = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # the container of old binary workbooks
_OPEN_DOCUMENT = b"application/vnd.oasis.opendocument.spreadsheet"  # OASIS OpenDocument 1.2, part 3
_LEAST_ROWS = 3
_JUDGED_ROWS = 50  # that tell how wide a sheet is, and whether it is text in one column
_ONE_COLUMN = 0.8  # share of those rows that hold one text alone
_HEAD_ROWS = 200  # before the data
_LETTERS = 26  # of a column's name
_BLOWN_UP_BYTES, _MOST_SQUEEZED = 50_000_000, 100  # rows of numbers are squeezed to a tenth, not a hundredth
_MOST_SECONDS = 30  # the largest sheets take a tenth of it
_FIGURE = re.compile(r"\s*[+-]?\d+([.,]\d+)?([eE][+-]?\d+)?\s*")


def sniff(data: bytes) -> bool:
    """True for an old binary workbook, or a zip that holds a workbook."""
    if data.startswith(_OLD):
        return True
    if not data.startswith(ZIP_SIGN):
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()[:200]
            if names[:1] == ["mimetype"] and archive.read("mimetype") == _OPEN_DOCUMENT:
                return True
            return any(n.lower().startswith("xl/") for n in names)
    except BROKEN:
        return False


def read(data: bytes, title: str, max_rows: int) -> list[Table]:
    """One table for each sheet that holds rows of numbers.

    Raises ReadingError if the workbook is broken, too large, or has no such sheet.
    """
    if data.startswith(ZIP_SIGN):
        _check_zip(data, title)
    sheets = _sheets(data, title, max_rows)
    tables, notes, last = [], [], None
    for sheet, rows in sheets:
        if len(rows) < _LEAST_ROWS:
            notes += _lines(rows)
            continue
        if len(rows) > max_rows:
            raise ReadingError(
                f"{title}, sheet '{sheet}' has more than {max_rows} rows. Cut out the part of interest."
            )
        try:
            tables.append(_table(rows, f"{title}, sheet '{sheet}'"))
        except ReadingError as error:
            last = error
            notes += _lines(rows)
    if tables:
        return [replace(t, hints="\n".join([t.hints, *notes])) for t in tables]
    raise last or ReadingError(f"{title} is a workbook without rows of numbers. Export the recording as CSV.")


def _sheets(data: bytes, title: str, max_rows: int) -> list[tuple[str, list[list[Any]]]]:
    """Names and rows of the sheets, read by a program of its own: see workbook_child."""
    command = [sys.executable, "-P", workbook_child.__file__, str(limits.MAX_SHEETS), str(max_rows)]
    try:
        done = subprocess.run(command, input=data, capture_output=True, timeout=_MOST_SECONDS, check=False)
    except subprocess.TimeoutExpired:
        raise ReadingError(f"{title} takes over {_MOST_SECONDS} s to unpack. Save the data as CSV.") from None
    if done.returncode == 0:
        return list(marshal.loads(done.stdout))
    if done.returncode == workbook_child.BROKEN:
        why = done.stderr.decode("utf-8", errors="replace").strip().split("\n")[-1][:100]
        raise ReadingError(
            f"{title} is a broken or unknown workbook ({why}). Open it, save it as .xlsx or CSV."
        )
    raise ReadingError(
        f"{title} is broken or too large to unpack. Open it, save it as .xlsx or CSV, and try again."
    )


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
                if info.file_size > _BLOWN_UP_BYTES and info.file_size > _MOST_SQUEEZED * info.compress_size:
                    raise ReadingError(
                        f"{title} is {limits.megabytes(info.file_size)} of the same again and again. "
                        "Save it as CSV."
                    )
                part = archive.read(info)  # stops at the declared size; a lie about it fails the check sum
                if info.filename.lower().startswith("xl/worksheets/"):
                    _check_cells(part, title)
    except BROKEN as error:
        raise ReadingError(
            f"{title} is a broken workbook ({str(error)[:100]}). Save it again as .xlsx or CSV."
        ) from error


def _check_cells(sheet: bytes, title: str) -> None:
    wide = _LETTERS
    for letters in set(re.findall(rb'r="([A-Z]{2,3})\d+"', sheet)):
        column = 0
        for letter in letters:
            column = column * _LETTERS + letter - 64
        wide = max(wide, column)
    rows = re.findall(rb'r="[A-Z]{0,3}(\d{5,})"', sheet)
    if not rows and wide > limits.MAX_COLUMNS:  # as where the table lies on its side: few
        rows = re.findall(rb'r="[A-Z]{0,3}(\d{1,4})"', sheet)
    tall = max(map(int, rows), default=10_000)
    if wide * tall > limits.MAX_SHEET_CELLS and wide > _LETTERS:
        raise ReadingError(
            f"{title} has a sheet of {tall} rows by {wide} columns, too many cells. Save the data as CSV."
        )


def _table(rows: list[list[Any]], title: str) -> Table:
    """Rows of cells as a table; a sheet with all its text in one column is read as the text that it is."""
    rows = [row for row in rows if any(c is not None for c in row)]
    filled = list(sideways.turned(rows))
    judged = filled[:_JUDGED_ROWS]
    if sum(map(_single_text, judged)) > _ONE_COLUMN * len(judged):
        text = "\n".join(str(next(c for c in row if c is not None)) for row in filled)
        return delimited.read(text.encode("utf-8"), title, limits.MAX_ROWS)
    first = next((i for i, row in enumerate(filled[:_HEAD_ROWS]) if sum(map(_is_value, row)) >= 2), None)
    if first is None:
        raise ReadingError(f"{title} holds no rows of numbers. Export the recording as CSV.")
    header, units, hints = _header(filled[:first])
    body = filled[first:]
    width = min(max(len(row) for row in body[:_JUDGED_ROWS]), limits.MAX_COLUMNS)
    columns = []
    for i in range(width):
        values = [_pointed(row[i]) if i < len(row) else None for row in body]
        name = header[i] if i < len(header) else ""
        column = cells.text_column(name, values)
        columns.append(Column(name, column.numbers, column.text, units[i] if i < len(units) else column.unit))
    told = () if len(filled) == len(rows) else (sideways.TOLD,)
    return Table(
        columns=tuple(columns),
        rows=len(body),
        source=title,
        hints=hints,
        named=any(header),
        warnings=told,
        history=(f"workbook, {len(body)} rows",),
    )


def _lines(rows: list[list[Any]]) -> list[str]:
    """Cells beside each other as lines of text."""
    return [" ".join(str(c) for c in row if c is not None) for row in rows]


def _single_text(row: list[Any]) -> bool:
    filled = [c for c in row if c is not None]
    return len(filled) == 1 and isinstance(filled[0], str)


def _is_value(cell: Any) -> bool:
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return True
    if not isinstance(cell, str):
        return False
    return is_date(cell) or _FIGURE.fullmatch(cell) is not None or is_dressed(cell, ".")


def _header(before: list[list[Any]]) -> tuple[list[str], list[str], str]:
    from . import names

    texts = [[str(c) if c is not None else "" for c in row] for row in before]
    hints = "\n".join(_lines(before))
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


def _pointed(cell: Any) -> Any:
    return cells.pointed(cell) if isinstance(cell, str) else cell

"""Run as a program: unpacks the workbook on standard input with calamine and writes its sheets to standard
output.

A broken old workbook can make the library ask for any amount of memory, which ends the whole program. So it
runs in a program of its own, with its memory limited. Stored values only are read: no formula runs.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import marshal
import sys
from typing import Any

# Bytes, for a byte of the file where it says so; a full old sheet takes 0.5 GB.
LEAST_MEMORY, MEMORY_PER_BYTE, MOST_MEMORY = 768 * 1024**2, 20, 2 * 1024**3
BROKEN, TOO_LARGE = 3, 4  # exit statuses


def main() -> int:
    """Sheets as marshalled [(name, rows)], rows of numbers, texts and None. Exit status 0, BROKEN or
    TOO_LARGE."""
    data = sys.stdin.buffer.read()
    _limit_memory(min(MOST_MEMORY, LEAST_MEMORY + MEMORY_PER_BYTE * len(data)))
    max_sheets, max_rows = int(sys.argv[1]), int(sys.argv[2])
    from python_calamine import CalamineWorkbook

    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        sheets = []
        for name in book.sheet_names[:max_sheets]:
            rows = book.get_sheet_by_name(name).to_python(nrows=max_rows + 1)
            sheets.append((name, [[_plain(cell) for cell in row] for row in rows]))
    except MemoryError:
        return TOO_LARGE
    except BaseException as error:  # the library's own panics are no Exceptions
        sys.stderr.write(f"{error}"[:200])
        return BROKEN
    marshal.dump(sheets, sys.stdout.buffer)
    return 0


def _limit_memory(most: int) -> None:
    try:
        import resource
    except ImportError:  # not on every system; the sizes checked before still hold
        return
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    if hard != resource.RLIM_INFINITY:
        most = min(most, hard)
    with contextlib.suppress(ValueError, OSError):  # some systems have the call and refuse it
        resource.setrlimit(resource.RLIMIT_AS, (most, hard))


def _plain(cell: Any) -> Any:
    """Dates and times as ISO 8601 text, spans as seconds, empty cells as None."""
    if isinstance(cell, dt.datetime):
        return cell.isoformat(sep=" ", timespec="microseconds")
    if isinstance(cell, (dt.date, dt.time)):
        return cell.isoformat()
    if isinstance(cell, dt.timedelta):
        return cell.total_seconds()
    return None if cell == "" else cell


if __name__ == "__main__":
    sys.exit(main())

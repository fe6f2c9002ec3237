"""Decimal commas beside other commas or points: a logger's slips in lands that write 0,15."""

from __future__ import annotations

import re
from dataclasses import replace

from vibecore.model import Warn

from .layout import Layout

_MOST_BEFORE_COMMA = 200  # m/s2 or g: no phone measures more
# A mark is the decimal one for sure after a lone nought, or before other than three digits.
_SURELY_DECIMAL = (
    rb"(?m)(?:^|[;\t| \"])[-+]?(?:0?%b[0-9]|[0-9]+%b(?:[0-9]{1,2}|[0-9]{4,})(?=[;\t| \"\r\n]|\Z))"
)
_TWO_MARKS = re.compile(rb"[0-9][.,][0-9]+[.,][0-9]")
BOTH_TOLD = Warn(
    "decimal-marks", "The file marks its decimals with points and with commas; both were read as such."
)
TOLD = Warn(
    "decimal-commas",
    "The file writes decimals with a comma and parts its cells by commas too; the halves of each number "
    "were put together again. Choose the semicolon or the decimal point in the app if it lets you.",
)


def joined(body: bytes | memoryview, layout: Layout) -> tuple[bytes, Layout] | None:
    """Decimal commas in a file that also parts its cells by commas: 12,0,15,-0,17,9,81 under four names.

    Taken so only if all cells are whole numbers, there are two for each name (but the first, perhaps), and no
    second one has a sign. None otherwise.
    """
    count, width = len(layout.names), layout.width
    if (
        layout.delimiter != ","
        or layout.decimal != "."
        or count < 3
        or width not in (2 * count - 1, 2 * count)
    ):
        return None
    lead = 2 * count - width  # names at the start that have one cell only
    whole = all(re.fullmatch(r"[+-]?\d+", cell) for row in layout.cells for cell in row)
    pairs = [row[lead:] for row in layout.cells]
    if not whole or any(not f.isdigit() for row in pairs for f in row[1::2]):
        return None
    if any(abs(float(v)) > _MOST_BEFORE_COMMA for row in pairs for v in row[0 if lead else 2 :: 2]):
        return None
    number = rb"([+-]?\d+)"
    pattern = rb"(?m)^" + rb",".join([number] * width)
    groups = [rb"\%d" % (i + 1) for i in range(width)]
    plain = groups[:lead] + [
        rb"%s.%s" % pair for pair in zip(groups[lead::2], groups[lead + 1 :: 2], strict=True)
    ]
    cells = tuple(
        tuple(row[:lead]) + tuple(f"{a}.{b}" for a, b in zip(row[lead::2], row[lead + 1 :: 2], strict=True))
        for row in layout.cells
    )
    return re.sub(pattern, rb",".join(plain), bytes(body)), replace(layout, cells=cells)


def one_mark(body: bytes | memoryview, layout: Layout) -> tuple[bytes, Layout] | None:
    """Decimals marked by a point in some numbers and by a comma in others: all by a point. None where one of
    the marks may stand between thousands, or parts the cells."""
    text = bytes(body)
    sure = all(re.search(_SURELY_DECIMAL.replace(b"%b", mark), text) for mark in (rb"\.", rb","))
    if layout.delimiter == "," or not sure or _TWO_MARKS.search(text):
        return None
    cells = tuple(tuple(cell.replace(",", ".") for cell in row) for row in layout.cells)
    return text.replace(b",", b"."), replace(layout, decimal=".", cells=cells)

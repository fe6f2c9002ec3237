"""Plain aligned text tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

Cell = str | int | float | None


def table(title: str, head: Sequence[str], rows: Sequence[Sequence[Cell]]) -> str:
    """First column to the left, the others to the right; None shows as a dash."""
    text = [list(head), *[[_text(cell) for cell in row] for row in rows]]
    widths = [max(len(row[i]) for row in text) for i in range(len(head))]
    lines = [
        "  ".join(
            cell.ljust(w) if i == 0 else cell.rjust(w)
            for i, (cell, w) in enumerate(zip(row, widths, strict=True))
        )
        for row in text
    ]
    return "\n".join([title, *["  " + line.rstrip() for line in lines], ""])


def percent(value: float | None, places: int = 1) -> str | None:
    return None if value is None else f"{100 * value:.{places}f}"


def number(value: float | None, places: int = 2) -> str | None:
    return None if value is None else f"{value:.{places}f}"


def confusion_table(title: str, matrix: Mapping[str, Counter[str]], names: Sequence[str]) -> str:
    """Rows: truth. Columns: answers, by number; names that never come up are left out."""
    known = [n for n in names if n in matrix or any(n in row for row in matrix.values())]
    known += sorted({a for row in matrix.values() for a in row} - set(known))
    answered = [n for n in known if any(n in row for row in matrix.values())]
    head = ["truth", *[str(known.index(n) + 1) for n in answered], "n"]
    rows = [
        [f"{known.index(t) + 1} {t}", *[matrix[t][a] or "." for a in answered], sum(matrix[t].values())]
        for t in known
        if t in matrix
    ]
    return table(title, head, rows)


def _text(cell: Cell) -> str:
    return "-" if cell is None else str(cell)

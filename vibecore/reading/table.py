"""What every format is read into first: named columns of numbers or text, before their meaning is known."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vibecore.model import Flags, Floats, Warn

from . import arrow

# What loggers write into a cell for which they have no value.
NOTHING = [
    "",
    "nan",
    "NaN",
    "NAN",
    "-nan",
    "null",
    "NULL",
    "Null",
    "None",
    "none",
    "N/A",
    "n/a",
    "NA",
    "na",
    "#N/A",
    "-",
    "--",
]
_MOST_CODED = 50  # different values that may be sensors, devices or axes
MISSING = -(2**63)  # stands for an empty cell in an int64 column, which has no nan


@dataclass(frozen=True, eq=False)
class Column:
    """One column. `numbers`: (n,) float64 (nan where empty) or int64 (MISSING where empty), kept for whole
    numbers too long for float64; `text`: arrow string array. One of the two is None."""

    name: str
    numbers: NDArray[Any] | None = None
    text: Any = None
    unit: str = ""  # from a line of units, as written

    @property
    def title(self) -> str:
        """What a sentence calls it."""
        return f"column '{self.name}'" if self.name else "a column without a name"

    def __len__(self) -> int:
        return len(self.text if self.numbers is None else self.numbers)

    def floats(self) -> Floats:
        """(n,) the numbers as float64, nan where empty; all nan for a text column."""
        if self.numbers is None:
            return np.full(len(self.text), np.nan)
        if self.numbers.dtype == np.int64:
            return np.where(self.numbers == MISSING, np.nan, self.numbers.astype(np.float64))
        return self.numbers

    @cached_property
    def coded(self) -> tuple[NDArray[np.int64], tuple[str, ...]]:
        """(n,) which of the column's different values each cell holds, -1 where a text is missing, and the
        values in words: none of them if they are too many to part rows by."""
        if self.numbers is not None:
            levels, codes = np.unique(self.floats(), return_inverse=True)
            return codes, tuple(f"{v:g}" for v in levels) if len(levels) <= _MOST_CODED else ()
        coded = self.text.dictionary_encode()
        values = coded.dictionary.to_pylist() if len(coded.dictionary) <= _MOST_CODED else []
        return arrow.numbers(coded.indices, -1), tuple(v or "" for v in values)

    def where(self, keep: Flags) -> Column:
        if self.numbers is not None:
            return replace(self, numbers=self.numbers[keep])
        return replace(self, text=self.text.filter(arrow.mask(keep)))

    def filled(self, where: Flags) -> Column:
        """Each empty cell (n,) as the last one before it that is not."""
        at = np.maximum.accumulate(np.where(where, -1, np.arange(len(where))))
        if self.numbers is not None:
            empty = MISSING if self.numbers.dtype == np.int64 else np.nan
            return replace(self, numbers=np.where(at < 0, empty, self.numbers[at]))
        return replace(self, text=self.text.take(arrow.places(np.maximum(at, 0))))

    def empty(self) -> Flags:
        """(n,) whether a cell is."""
        if self.numbers is not None:
            return self.numbers == MISSING if self.numbers.dtype == np.int64 else np.isnan(self.numbers)
        return arrow.among(self.text, NOTHING)

    def repeated(self, count: int) -> Column:
        """Each cell so many times, one after the other."""
        if self.numbers is not None:
            return replace(self, numbers=np.repeat(self.numbers, count))
        return replace(self, text=self.text.take(arrow.places(np.repeat(np.arange(len(self)), count))))


@dataclass(frozen=True, eq=False)
class Table:
    """Columns of equal length. `source`: file and sheet names, which may say what sensor it is. `hints`: free
    text that stood before the data. `named`: there was a header. `plain`: all rows are as the first
    promise."""

    columns: tuple[Column, ...]
    rows: int
    source: str = ""
    hints: str = ""
    named: bool = True
    warnings: tuple[Warn, ...] = ()
    history: tuple[str, ...] = ()
    plain: bool = True

    def where(self, keep: Flags) -> Table:
        return replace(self, columns=tuple(c.where(keep) for c in self.columns))

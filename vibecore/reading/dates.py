"""Text of dates and times of day to seconds, by arrow's string functions: no Python loop over rows.

Serves ISO 8601 (2004: extended format, T or blank, decimal point or comma) and the looser forms loggers
write: day first, 12-hour clocks, a colon before the milliseconds. Zone offsets are the same in every row of
a recording and are left aside: only differences count.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import arrow

Floats = NDArray[np.float64]
_DAY_S = 86400.0
_PATTERN = (
    r"^\s*(?:(?P<a>\d{1,4})[-/.](?P<b>\d{1,2})[-/.](?P<c>\d{1,4})[T _,]*)?"
    r"(?:(?P<h>\d{1,2}):(?P<m>\d{2})(?::(?P<s>\d{2}))?(?:[:.,](?P<f>\d{1,9})\d*)?\s*(?P<p>[AaPp])?\.?[Mm]?\.?)?"
    r"\s*(?:Z|UTC|GMT)?\s*(?:[+-]\d{2}:?\d{2})?(?:\[.*\])?\s*$"
)


def seconds(text: Any) -> Floats | None:
    """(n,) seconds from the first readable cell of an arrow string array, nan where a cell is no time;
    None if most are not. Midnight is stepped over where only the time of day is given."""
    import pyarrow.compute as pc

    parts = pc.extract_regex(text, _PATTERN)
    hour = _whole(parts, "h")
    known = np.isfinite(hour)
    if known.sum() <= 0.5 * len(hour):
        return None
    fraction = _whole(parts, "f", pad=True) * 1e-9
    day = hour * 3600.0 + _whole(parts, "m") * 60.0
    second = _whole(parts, "s")
    if np.isnan(second).all() and np.isfinite(fraction).any():  # 01:02.345 is minutes and seconds
        day /= 60.0
    day += np.nan_to_num(second)
    marks = pc.utf8_lower(pc.struct_field(parts, "p"))
    after = arrow.flags(pc.equal(marks, "p"))
    before = arrow.flags(pc.equal(marks, "a"))
    day += np.where(after & (hour < 12), 12 * 3600.0, 0.0) - np.where(before & (hour == 12), 12 * 3600.0, 0.0)
    first = int(np.flatnonzero(known)[0])
    dates = _day_numbers(_whole(parts, "a"), _whole(parts, "b"), _whole(parts, "c"))
    if np.isfinite(dates[first]):
        whole = (dates - dates[first]) * _DAY_S + (day - day[first])
    else:
        whole = _over_midnight(day - day[first])
    return whole + (np.nan_to_num(fraction) - np.nan_to_num(fraction[first]))


def _whole(parts: Any, name: str, pad: bool = False) -> Floats:
    import pyarrow as pa
    import pyarrow.compute as pc

    text = pc.struct_field(parts, name)
    if pad:  # digits after the second's mark, as billionths
        text = pc.utf8_rpad(pc.if_else(pc.equal(text, ""), None, text), width=9, padding="0")
    text = pc.if_else(pc.equal(text, ""), pa.scalar(None, pa.string()), text)
    return arrow.numbers(text.cast(pa.float64()), float("nan"))


def _day_numbers(a: Floats, b: Floats, c: Floats) -> Floats:
    """Days on a running count. Year first, else last; day before month unless the figures forbid it."""
    year_first = bool(np.nanmax(a, initial=0) > 31)
    year, month, day = (a, b, c) if year_first else (c, b, a)
    if np.nanmax(month, initial=0) > 12 or (not year_first and not _same(month) and _same(day)):
        month, day = day, month
    known = np.isfinite(year) & np.isfinite(month) & np.isfinite(day)
    out = np.full(len(a), np.nan)
    months = np.where(known, (year - 1970) * 12 + month - 1, 0).astype("int64").astype("datetime64[M]")
    days = months.astype("datetime64[D]").astype(np.float64) + np.where(known, day - 1, 0)
    out[known] = days[known]
    return out


def _same(values: Floats) -> bool:
    known = values[np.isfinite(values)]
    return len(known) == 0 or bool(np.all(known == known[0]))


def _over_midnight(day: Floats) -> Floats:
    """Times of day across midnight: a fall of about a day is a new day."""
    known = np.flatnonzero(np.isfinite(day))
    falls = np.concatenate([[0.0], np.cumsum(np.diff(day[known]) < -0.5 * _DAY_S)])
    out = day.copy()
    out[known] += falls * _DAY_S
    return out

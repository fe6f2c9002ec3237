"""Text of dates and times of day to seconds, by arrow's string functions: no Python loop over rows.

Serves ISO 8601 (T or blank, decimal point or comma, extended and basic format) and the looser forms loggers
write: day first, 12-hour clocks, a colon before the milliseconds, milliseconds without leading zeros, words
beside the time of day. Zone offsets are left aside, for only differences count; where one changes within a
recording the clock is carried on.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from vibecore.model import Flags, Floats

from . import arrow

_DAY_S, _HOUR_S = 86400.0, 3600.0
_ABOUT_S = 2.0  # a step of time may come on top of the hour
_DATE = r"(?:(?P<a>\d{1,4})[-/.](?P<b>\d{1,2})[-/.](?P<c>\d{1,4})[T _,-]*)?"
_CLOCK = r"(?P<h>\d{1,2}):(?P<m>\d{1,2})(?::(?P<s>\d{1,2}))?(?:[:.,](?P<f>\d{0,9})\d*)?"
_REST = r"\s*(?P<p>[AaPp])?\.?\s?[Mm]?\.?\s*(?:Z|UTC|GMT)?\s*(?:[+-]\d{2}:?\d{2})?(?:\[.*\])?\s*$"
_PATTERN = rf"^\s*{_DATE}(?:{_CLOCK})?{_REST}"
_ANYWHERE = r"(?:^|\D)" + _CLOCK.replace(r"(?::(?P<s>\d{1,2}))?", r":(?P<s>\d{1,2})")
_COMPACT = (
    r"^\s*((?:19|20)\d\d)[-/.]?(0[1-9]|1[0-2])[-/.]?(0[1-9]|[12]\d|3[01])[T _-]?"
    r"([01]\d|2[0-3])([0-5]\d)([0-5]\d)[._,:]?(\d*)"
)
# 12-00-01.010, 12.00.01,010 or 12h00m01.010s: with a fraction, or behind a date, for alone it may be one.
_OTHER_MARKS = (
    r"^\s*(?:(\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4})[T _]+)?"
    r"(\d{1,2})[-.hH_](\d\d)[-.mM_](\d\d)[-.,_]?(\d{0,9})[sS]?\s*$"
)
_OTHER_MARKS_START = re.compile(_OTHER_MARKS)
_COMPACT_START = re.compile(_COMPACT)
COMPACT_NUMBERS = (19_000_101_000_000, 21_000_000_000_000)  # year to second as one number: 14 digits


def is_compact(cell: str) -> bool:
    """True for 20260314T153012.345 and the like: a date without signs between its parts."""
    return _COMPACT_START.match(cell) is not None


def _has_other_marks(cell: str) -> bool:
    found = _OTHER_MARKS_START.match(cell)
    return found is not None and bool(found[1] or found[5])


def seconds(text: Any) -> Floats | None:
    """(n,) seconds from the first readable cell of an arrow string array, nan where a cell is no time;
    None if most are not. Midnight is stepped over where only the time of day is given."""
    import pyarrow.compute as pc

    if any(is_compact(cell.as_py() or "") for cell in text[:2]):
        text = pc.replace_substring_regex(text, _COMPACT, r"\1-\2-\3T\4:\5:\6.\7")
    if any(_has_other_marks(cell.as_py() or "") for cell in text[:2]):
        text = pc.replace_substring_regex(text, _OTHER_MARKS, r"\1 \2:\3:\4.\5")
    parts, calendar = pc.extract_regex(text, _PATTERN), True
    if not _mostly(np.isfinite(_whole(parts, "h"))):
        parts, calendar = pc.extract_regex(text, _ANYWHERE), False
    hour = _whole(parts, "h")
    if not _mostly(np.isfinite(hour)):
        return None
    dates = _day_numbers(*(_whole(parts, x) for x in "abc")) if calendar else np.full(len(hour), np.nan)
    hour = np.where(np.isnan(hour) & np.isfinite(dates), 0.0, hour)  # a date alone is its midnight
    first = int(np.flatnonzero(np.isfinite(hour))[0])
    day = _second_of_day(parts, hour, calendar)
    if np.isfinite(dates[first]):
        whole = (dates - dates[first]) * _DAY_S + (day - day[first])
    else:
        whole = _over_midnight(day - day[first])
    fraction = _fraction(parts, whole)
    return _clock_changed(whole + (fraction - fraction[first]))


def _clock_changed(at_s: Floats) -> Floats:
    """A clock that is put on or back by an hour, once, in the middle of a recording goes on as it was."""
    known = np.flatnonzero(np.isfinite(at_s))
    steps = np.diff(at_s[known])
    jumps = np.flatnonzero(np.abs(np.abs(steps) - _HOUR_S) < _ABOUT_S)
    if len(jumps) != 1 or np.median(np.abs(steps)) > _ABOUT_S:
        return at_s
    out = at_s.copy()
    out[known[jumps[0] + 1] :] -= np.sign(steps[jumps[0]]) * _HOUR_S
    return out


def _mostly(known: Flags) -> bool:
    return bool(known.sum() > 0.5 * len(known))


def _second_of_day(parts: Any, hour: Floats, halves: bool) -> Floats:
    """Whole seconds since midnight (n,), nan where there is no hour. `halves`: marks of 12-hour clocks were
    looked for."""
    import pyarrow.compute as pc

    day = hour * 3600.0 + np.nan_to_num(_whole(parts, "m")) * 60.0
    second = _whole(parts, "s")
    if np.isnan(second).all() and np.isfinite(_whole(parts, "f")).any():  # 01:02.345 is minutes and seconds
        day /= 60.0
    day += np.nan_to_num(second)
    if halves:
        marks = pc.utf8_lower(pc.struct_field(parts, "p"))
        after, before = (arrow.flags(pc.equal(marks, mark)) for mark in "pa")
        day += np.where(after & (hour < 12), _DAY_S / 2, 0.0) - np.where(
            before & (hour == 12), _DAY_S / 2, 0.0
        )
    return day


def _fraction(parts: Any, whole: Floats) -> Floats:
    """Parts of a second (n,), 0 where there are none. Digits that vary in number are decimals whose last
    zeros were left off (12.5 is half a second past) or a count of ms, us or ns without its first zeros (12:5
    is 5 ms past): whichever makes time go back less often with the whole seconds (n,)."""
    import pyarrow.compute as pc

    decimals = np.nan_to_num(_whole(parts, "f", pad=True)) * 1e-9
    size = arrow.numbers(pc.utf8_length(pc.struct_field(parts, "f")), 0)
    filled = size[size > 0]
    if not len(filled) or filled.min() == filled.max():
        return decimals
    counted = np.nan_to_num(_whole(parts, "f")) * 10.0 ** (-3 * np.ceil(filled.max() / 3))
    falls = [int(np.sum(np.diff(whole + part) < 0)) for part in (decimals, counted)]
    return decimals if falls[0] <= falls[1] else counted


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
    """Times of day across midnight: a fall of about a day is a new day, of half a day a 12-hour clock."""
    known = np.flatnonzero(np.isfinite(day))
    halves = np.maximum(np.rint(-np.diff(day[known]) / (_DAY_S / 2)), 0.0)
    out = day.copy()
    out[known] += np.concatenate([[0.0], np.cumsum(halves)]) * (_DAY_S / 2)
    return out

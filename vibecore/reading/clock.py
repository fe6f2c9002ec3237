"""Time columns to seconds from the first row: unit by name, by plausible rate, by the size of the epoch.

A phone's accelerometer delivers 5 to 1000 samples a second, a range narrower than the factor 1000 between
units: one unit at most makes a rate plausible. Whole numbers of up to 19 digits (nanoseconds since 1970) are
subtracted as integers first: float64 would lose the last digits.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vibecore.model import Floats, Warn

from . import dates, limits, names
from .rising import is_counter
from .table import MISSING, Column

_GAPS = 0.005  # share of the steps that may be gaps or jumps of the clock
# Days since the end of 1899 (spreadsheets), since year 0 (mathematics programs) and since 4713 before our era
# (astronomers), from 1954 to 2118; or the time of day alone.
_SERIAL_DAYS = ((20_000.0, 80_000.0), (713_960.0, 773_960.0), (2_434_700.0, 2_494_700.0), (0.0, 1.0))
_ROUNDS_S = (86400.0, 604800.0)  # seconds of a day and of a week begin again at midnight
_NEAR_MIDNIGHT_S = 30.0
# Seconds of an hour, a minute or a second begin again in the beat of the rows. What begins at nothing, again
# after a minute, may be another recording. Common practice, no source.
_PARTS_S, _LEAST_FROM_NOTHING_S, _STEPS_ON = (3600.0, 60.0, 1.0), 60.0, 3.0
# Counters of so many bits, of us, ms or whatever the logger counts, and of us written as ms or s. A fall this
# near to all of it is an overflow: 4 s of us.
_COUNTERS = {2.0**32: 32, 2.0**32 / 1e3: 32, 2.0**32 / 1e6: 32, 2.0**24: 24, 2.0**16: 16}
_NEAR_OVERFLOW = 0.001
_MINUTES_JUMP_S = 30.0  # a minute's end in hhmmss is a jump of 40 s, an hour's of 4040 s
_DECIMAL_UNITS_S, _SAME_UNIT = (1.0, 1e-3, 1e-6), 1e-6
_FORWARD = 0.99  # share of the steps of time that are none back
# Of 100 ns since the years 1601 and 1, from about 1981 to 2076 and 1965 to 2091: so count some computers.
_TICKS = ((1.2e17, 1.5e17), (6.2e17, 6.6e17))
_SLOWEST_HZ = 0.2  # what steps slower is no time of samples
_CLIP = 50.0  # steps longer than so many usual ones are gaps and say nothing about the unit


@dataclass(frozen=True, eq=False)
class Clock:
    """Seconds from the first row (n,), nan where there is no stamp, and what to tell."""

    t_s: Floats
    note: str
    warnings: tuple[Warn, ...] = ()


def read_clock(column: Column) -> Clock | None:
    """The column as seconds, or None if it is no time."""
    if column.numbers is None:
        text_s = dates.seconds(column.text)
        return None if text_s is None else Clock(text_s, f"time from the text in {column.title}")
    if (compact_s := _compact(column)) is not None:
        return Clock(compact_s, f"time from the dates in {column.title}")
    raw = _from_first(column)
    if not np.isfinite(raw).any():
        return None
    clock = _clock(column, raw, "time from")
    return None if clock is None else _as_time_of_day(clock, column)


def _as_time_of_day(clock: Clock, column: Column) -> Clock:
    """Times of day written as one number, 153012.345 or 153012345: after a minute's 59.99 comes 100.00. Any
    other clock as it is, and one without such a place, where both are the same."""
    jumps = np.flatnonzero(np.diff(clock.t_s) > _MINUTES_JUMP_S)
    if not len(jumps):
        return clock
    values = column.floats()
    first, at = int(np.argmax(np.isfinite(values))), jumps[0]
    unit_s = float(np.diff(clock.t_s)[at] / (values[at + 1] - values[at]))
    unit_s = next((u for u in _DECIMAL_UNITS_S if abs(unit_s / u - 1.0) < _SAME_UNIT), 0.0)
    with np.errstate(invalid="ignore"):  # figures beyond any number
        hours, rest = np.divmod(values * unit_s, 10_000.0)
        minutes, seconds = np.divmod(rest, 100.0)
    day_s = hours * 3600.0 + minutes * 60.0 + seconds
    valid = np.nanmax(hours) < 24 and np.nanmax(minutes) < 60 and np.nanmax(seconds) < 60
    if not unit_s or not valid or not np.all(np.abs(np.diff(day_s)[jumps]) <= 1.0):
        return clock
    return replace(clock, t_s=day_s - day_s[first], note=f"time of day from {column.title}")


def added_up(column: Column) -> Clock | None:
    """A column of times since the row before as a clock, or None if it is none: they do not go back."""
    steps = column.floats()
    known = np.isfinite(steps)
    if not known.any() or np.mean(steps[known] >= 0) < _FORWARD:
        return None
    usual = float(np.median(steps[known]))
    steps = np.where(known, steps, usual)
    return _clock(column, np.cumsum(steps) - steps[0], "steps of time from")


def _clock(column: Column, raw: Floats, what: str) -> Clock | None:
    """Times in the column's unit (n,) as seconds, or None if no unit makes them a time."""
    stated = names.unit_of_cell(column.unit) or names.time_unit_in(column.name)
    stated = stated if stated in names.TIME_UNITS_S else ""
    step = _usual_step(raw)
    if step <= 0 or (not stated and is_counter(column)):
        return None
    unit, warnings = _unit(column, stated, step)
    if not unit:
        return None
    raw, overflows, bits = _unwrapped(raw)
    if overflows:
        text = (
            f"The logger's counter of {bits} bits ran over {overflows} times; its time was carried on from "
            "there."
        )
        warnings = (*warnings, Warn("counter-overflow", text.replace("1 times", "once")))
    return Clock(_next_day(column, raw, unit), f"{what} {column.title} in {unit}", warnings)


def _next_day(column: Column, raw: Floats, unit: str) -> Floats:
    """Times in the column's unit (n,) as seconds; those of a day or a week are carried on over midnight."""
    t_s = raw * names.TIME_UNITS_S[unit]
    steps = np.diff(t_s, prepend=t_s[:1])
    deepest = -float(np.fmin.reduce(steps))
    round_s = next((r for r in _ROUNDS_S if r - _NEAR_MIDNIGHT_S < deepest <= r), None)
    values_s = column.floats() * names.TIME_UNITS_S[unit]
    if round_s is None:
        return _next_part(values_s, t_s, steps)
    if not 0 <= np.nanmax(values_s) <= round_s:
        return t_s
    return t_s + round_s * np.cumsum(steps < _NEAR_MIDNIGHT_S - round_s)


def _next_part(values_s: Floats, t_s: Floats, steps: Floats) -> Floats:
    """Seconds of an hour, a minute or a second (n,), from the first row, carried on where one is full: only
    if that leaves no step of time (n,) that is out of the beat there."""
    fell = steps < 0
    if not fell.any():
        return t_s
    most = _STEPS_ON * float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    low, high = np.nanmin(values_s), np.nanmax(values_s)
    first = values_s[np.argmax(np.isfinite(values_s))]
    for part_s in _PARTS_S:
        on = steps[fell] + part_s
        from_nothing = part_s >= _LEAST_FROM_NOTHING_S and first <= most
        if low >= 0 and high <= part_s and np.all((on >= 0) & (on <= most)) and not from_nothing:
            return t_s + part_s * np.cumsum(fell)
    return t_s


def _unwrapped(raw: Floats) -> tuple[Floats, int, int]:
    """Times in the column's unit (n,) with a counter that fell from its last number to its first carried on,
    how often it did, and of how many bits it is."""
    steps = np.diff(raw, prepend=raw[:1])
    deepest = -float(np.fmin.reduce(steps))  # of the known ones
    period = next((p for p in _COUNTERS if abs(deepest - p) < _NEAR_OVERFLOW * p), None)
    if period is None or np.nanmax(raw) - np.nanmin(raw) >= period:
        return raw, 0, 0
    fell = steps < (_NEAR_OVERFLOW - 1.0) * period
    return raw + period * np.cumsum(fell), int(np.count_nonzero(fell)), _COUNTERS[period]


def _compact(column: Column) -> Floats | None:
    """Whole numbers that are dates and times without signs, 20260314153012345, to seconds; None if any is
    not."""
    import pyarrow as pa

    values = column.numbers
    assert values is not None
    known = values != MISSING if values.dtype == np.int64 else np.isfinite(values)
    first = values[np.argmax(known)] if known.any() else 0
    low, high = dates.COMPACT_NUMBERS
    if not any(low <= first / 10**digits < high for digits in range(6)):
        return None
    with np.errstate(invalid="ignore"):  # where nothing is known, or figures beyond any date
        whole = values.astype(np.int64)
    text = pa.array(whole, mask=~known).cast(pa.string())
    found = dates.seconds(text)
    return found if found is not None and np.array_equal(np.isfinite(found), known) else None


def _from_first(column: Column) -> Floats:
    """Numbers less the first one, exact for int64."""
    values = column.numbers
    assert values is not None
    if values.dtype == np.int64:
        known = values != MISSING
        if not known.any():
            return np.full(len(values), np.nan)
        return np.where(known, (values - values[np.argmax(known)]).astype(np.float64), np.nan)
    known = np.isfinite(values)
    return np.where(known, values - values[np.argmax(known)], np.nan)


def _usual_step(raw: Floats) -> float:
    """Mean step, gaps cut short, so that thousands of equal stamps and a long gap both leave it right."""
    steps = np.abs(np.diff(raw[np.isfinite(raw)]))
    rising = steps[steps > 0]
    if not len(rising):
        return 0.0
    if float(steps.max()) <= _CLIP * float(rising.min()):
        return float(np.mean(steps))  # no step is cut short
    most = len(steps) - max(4, int(_GAPS * len(steps)))
    ordinary = float(np.mean(np.partition(steps, most - 1)[:most])) if most > 0 else 0.0
    return float(np.mean(np.minimum(steps, _CLIP * max(float(np.median(rising)), ordinary))))


def _unit(column: Column, stated: str, step: float) -> tuple[str, tuple[Warn, ...]]:
    """The unit of a column that steps by so many of it, as stated if that is believed; '' if none makes it a
    time."""

    def rate_hz(unit: str) -> float:
        return 1.0 / (step * names.TIME_UNITS_S[unit])

    low, high = limits.TYPICAL_RATES_HZ
    units: tuple[str, ...] = ("s", "ms", "us", "ns")
    if _starts_in(column, _SERIAL_DAYS):
        units = (*units, "d")
    if _starts_in(column, _TICKS):
        units = ("100 ns",)
    fitting = [u for u in units if low <= rate_hz(u) <= high]
    if stated:
        if limits.BELIEVED_RATES_HZ[0] <= rate_hz(stated) <= limits.BELIEVED_RATES_HZ[1]:
            return stated, _doubt_of_ticks(column, stated, rate_hz(stated))
        if fitting:
            text = (
                f"{column.title} says {stated}, which would be {rate_hz(stated):,.3g} samples a second: no "
                f"phone does that. {fitting[0]} was taken ({rate_hz(fitting[0]):.4g} samples a second)."
            )
            return fitting[0], (Warn("time-unit-mismatch", text),)
        return stated, ()
    if fitting:
        return fitting[0], ()
    if high < rate_hz("s") <= limits.MOST_RATE_HZ:
        return "s", ()  # a fast box; counted in anything smaller it would be faster than any
    slow = [u for u in ("s", "ms") if _SLOWEST_HZ <= rate_hz(u) < low]
    return (slow[0] if slow else ""), ()


def _doubt_of_ticks(column: Column, unit: str, rate: float) -> tuple[Warn, ...]:
    """Ticks are what a computer's clock counts, 100 ns or any other; a date in them, or a figure, is sure."""
    said = column.name + column.unit
    if unit != "100 ns" or "100" in said or _starts_in(column, _TICKS):
        return ()
    text = (
        f"{column.title} says ticks, and not how long one is: 100 ns were taken, {rate:.4g} samples "
        "a second. If that is wrong, export the times in seconds."
    )
    return (Warn("tick-assumed", text),)


def _starts_in(column: Column, ranges: tuple[tuple[float, float], ...]) -> bool:
    """True if the first number lies in one of these ranges."""
    values = column.floats()
    first = values[np.argmax(np.isfinite(values))]
    return any(low <= first < high for low, high in ranges)

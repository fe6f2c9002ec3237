"""The time of each sample: which columns tell it, or the rate that a person or a line of the file gives."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import permutations

import numpy as np

from vibecore.errors import ReadingError
from vibecore.model import Floats, Warn

from . import clock_parts, columns, names, rising, told
from .clock import Clock, added_up, read_clock
from .table import Column, Table

_BATCHED = 0.5  # share of the rows, and more, that have no time of their own where a batch has one
_FEWER = 0.01  # share of the steps: a later column must have so many flaws less to be the better time
_AS_TOLD = 0.1  # share by which a column without a name for it may miss the rate that is told, to be the time


def find_clock(table: Table, triple: columns.Triple, rate_hz: float | None) -> Clock:
    """The best time column there is: the one with the fewest equal and backward stamps, the named ones
    first. Without any the rate serves, as given or as the file tells it in words.

    Raises ReadingError if there is neither.
    """
    best: tuple[float, Clock] | None = None
    whole = clock_parts.together(table, triple.columns)
    read = [read_clock(_filled(column)) for column in _stamped(table, triple)]
    for clock in (whole, *read, *_added(read)):
        if clock is None:
            continue
        flaws = _flaws(clock)
        if best is None or flaws < best[0] - _FEWER:
            best = (flaws, clock)
    if best is not None:
        if rate_hz is not None:
            unused = Warn(
                "rate-unused",
                f"The file has its own time stamps; the given {rate_hz:g} samples a second was not used.",
            )
            return replace(best[1], warnings=(*best[1].warnings, unused))
        return best[1]
    for column in _stepping(table, triple):
        if (clock := added_up(column)) is not None:
            return clock
    found = (rate_hz, "") if rate_hz is not None else _told(table)
    clock = _by_contents(table, triple, found[0] if found else None)
    if clock is None and found:
        clock = _at_rate(*found, _places(table, triple))
    if clock is not None:
        return clock
    raise ReadingError(
        f"{table.source} has no column of times that can be read, and no line that says how "
        "many samples a second it holds. Export it with time stamps. If the app has none, write its rate "
        "into the first line, such as '# sample rate: 100 Hz'."
    )


def _told(table: Table) -> tuple[float, str] | None:
    """Samples a second as a line before the data says, else the file's name, and what says so."""
    if found := told.rate_told(table.hints):
        return found[0], f"line '{found[1]}'"
    rate = told.rate_named(table.source)
    return None if rate is None else (rate, f"name '{table.source}'")


def _flaws(clock: Clock) -> float:
    """Share of the steps of time that do not go on."""
    return 1.0 - float(np.mean(np.diff(clock.t_s) > 0))


def _added(read: list[Clock | None]) -> Iterator[Clock]:
    """A time of each packet and one within it that begins again with each, added up."""
    flawed = [c for c in read if c is not None and _flaws(c) > 0.0]
    for one, other in permutations(flawed, 2):
        packets = np.diff(one.t_s)
        if (packets >= 0).all() and np.array_equal(np.diff(other.t_s) < 0, packets > 0):
            yield replace(one, t_s=one.t_s + other.t_s, note=f"{one.note}, and {other.note}")


def _filled(column: Column) -> Column:
    """A time that stands in the first row of each batch only, put into all of them: as a clock that steps
    once a batch. One that is lacking here and there stays so."""
    empty = column.empty()
    return column.filled(empty) if _BATCHED <= np.mean(empty) < 1.0 else column


def _by_contents(table: Table, triple: columns.Triple, rate_hz: float | None) -> Clock | None:
    """A column that rises under another name: where a rate is known only if it keeps it, else with a
    warning."""
    for column in _rising(table, triple):
        if names.is_frequency(column.name):
            raise ReadingError(
                f"{table.source} holds a spectrum over '{column.name}', no recording. "
                "Export the acceleration as measured, over time."
            )
        clock = read_clock(column)
        if clock is None:
            continue
        step_s = float(np.nanmean(np.diff(clock.t_s)))
        if not step_s > 0:
            continue
        found = 1.0 / step_s
        if rate_hz is not None:
            if abs(found / rate_hz - 1.0) < _AS_TOLD:
                return clock
            continue
        text = (
            f"No column is named as a time. '{column.name}' was taken for it, only because it rises all "
            f"along: {found:.3g} samples a second. If it is something else, write the rate into its first "
            "line, such as '# sample rate: 100 Hz'."
        )
        return replace(clock, warnings=(*clock.warnings, Warn("time-by-contents", text)))
    return None


def _places(table: Table, triple: columns.Triple) -> tuple[Floats, str]:
    """Each row's place in the row of samples (n,), and the title of the column that counts them, '' if none
    does."""
    for column in _counters(table, triple):
        at = column.floats()
        return at - at[0], column.name or column.title
    return np.arange(len(triple.columns[0]), dtype=np.float64), ""


def _at_rate(rate_hz: float, said_by: str, places: tuple[Floats, str]) -> Clock:
    """Even steps at the rate as given, or as a line of the file or its name tells it."""
    at, counted_by = places
    lost = (
        f"Lost samples are told by '{counted_by}', which counts them."
        if counted_by
        else "Lost samples cannot be seen so; export with time stamps if the app can."
    )
    if not said_by:
        return Clock(at / rate_hz, f"no time column: {rate_hz:g} samples a second as given")
    text = f"The file has no time stamps: {rate_hz:g} samples a second were taken from its {said_by}. {lost}"
    return Clock(at / rate_hz, f"{rate_hz:g} samples a second as told", (Warn("rate-told", text),))


def _stamped(table: Table, triple: columns.Triple) -> list[Column]:
    """Columns that may be the time, the likeliest first: named so; without names, the ones that rise."""
    rest = [c for c in table.columns if c not in triple.columns]
    named = [c for c in rest if c.name and names.is_time(c.name) and _is_of_no_other_measure(c.name)]
    stem = names.kind_of(triple.stem)
    named = [c for c in named if not _is_anothers(c, named, table, triple)]
    named.sort(key=lambda c: not (stem and names.kind_of(c.name) == stem))
    unnamed = [
        c
        for c in rest
        if not c.name and c.numbers is not None and rising.rises(c) and not rising.is_counter(c)
    ]
    dated = [c for c in rest if c.text is not None and c not in named]
    return [*named, *unnamed, *dated]


def _is_of_no_other_measure(name: str) -> bool:
    """Whether a column called a time is none of a gyroscope or the like; a satellite's is as good as any."""
    kind = names.kind_of(name)
    by_word = names.has_word(name, names.words()["time"]["words"])
    return kind not in columns.WORDS or (kind == "location" and by_word)


def _is_anothers(column: Column, named: list[Column], table: Table, triple: columns.Triple) -> bool:
    """Whether a column of the same name stands nearer before the axes: then this one is another sensor's."""
    place = {id(c): i for i, c in enumerate(table.columns)}
    first = min(place[id(c)] for c in triple.columns)

    def far(c: Column) -> int:
        return first - place[id(c)] if place[id(c)] < first else len(place) + place[id(c)]

    return any(other.name == column.name and far(other) < far(column) for other in named)


def _rising(table: Table, triple: columns.Triple) -> list[Column]:
    """Columns of another name that rise as time does, and are no other measure: a time in words unknown here,
    or a temperature."""
    rest = [c for c in table.columns if c not in triple.columns and c.name and c.numbers is not None]
    return [
        c
        for c in rest
        if rising.rises(c)
        and not rising.is_counter(c)
        and names.kind_of(c.name) not in columns.WORDS
        and not names.is_time(c.name)
    ]


def _counters(table: Table, triple: columns.Triple) -> list[Column]:
    """Columns that count the samples without ever falling, those first that tell of lost ones."""
    rest = [
        c for c in table.columns if c not in triple.columns and c.numbers is not None and rising.is_counter(c)
    ]
    rest = [c for c in rest if np.min(np.diff(c.floats())) >= 1.0]
    return sorted(rest, key=lambda c: -float(np.ptp(c.floats())))


def _stepping(table: Table, triple: columns.Triple) -> list[Column]:
    """Columns that may be the time since the row before, by their names."""
    words = names.words()["time"]["steps"]
    rest = [c for c in table.columns if c not in triple.columns and c.numbers is not None]
    return [c for c in rest if c.name and names.has_word(c.name, words)]

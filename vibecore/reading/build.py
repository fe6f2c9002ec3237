"""A Table into a Recording: choose columns, read the clock, mend the stamps, scale to m/s2, count what is
lost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vibecore.constants import LOST_SAMPLES, UNIT_ASSUMED
from vibecore.errors import ReadingError
from vibecore.model import Floats, Recording, Warn
from vibecore.units import STANDARD_GRAVITY_M_S2

from . import (
    axes,
    columns,
    counts,
    limits,
    mixed,
    multiples,
    names,
    rate,
    rows,
    scale,
    stamps,
    timing,
    told,
    unrolled,
)
from .clock import Clock
from .table import Table

_UNEVEN_S = 0.35  # typical step error, as a share of the step, above which stamps are called uneven
_MANY_VALUES = 16  # of one axis, above which another that has one value was not measured
_OTHERS = 0.8  # share of the rows, at most, that have any axis where other sensors have rows of their own
_LOST_SHARE = 0.001  # lost samples below this share are counted but not worth a warning


def build(table: Table, name: str, rate_hz: float | None) -> Recording:
    """The recording in a table.

    Raises ReadingError if the table holds no acceleration, no time (and no rate_hz is given), or too little.
    """
    table = _one_row_a_sample(multiples.counted_out(table))
    triple, all_triples, choice = columns.find_triple(table)
    _check_numbers(table, triple)
    table, triple = _without_others(table, triple)
    clock = timing.find_clock(table, triple, rate_hz)
    triple = counts.counted_out(triple, table.hints)
    unit = triple.unit or told.unit_told(table.hints)
    data, found = _stamped(table, triple, clock, unit)
    gravity = next((t for t in all_triples if t.kind == "gravity"), None)
    size = _scale(table, triple, unit, gravity, data.accel)
    warnings = (
        *table.warnings,
        *choice,
        *clock.warnings,
        *data.warnings,
        *size.warnings,
        *_axis_warnings(triple, data.accel),
        *_rate_warnings(data.t_s, found),
    )
    history = (*table.history, f"acceleration from {triple.title}", clock.note, *data.history, size.note)
    return Recording(
        name=name,
        t_s=data.t_s,
        accel_m_s2=np.ascontiguousarray(data.accel * size.m_s2),
        sample_rate_hz=1.0 / found.step_s,
        gravity_included=size.gravity,
        rows=table.rows,
        lost_samples=found.lost,
        warnings=warnings,
        history=history,
        unit=size.unit,
        other_unit=size.other_unit,
        columns=triple.title,
    )


def _one_row_a_sample(table: Table) -> Table:
    """The rows of one accelerometer, however many sensors, axes or samples share the file's rows."""
    table = unrolled.unrolled(mixed.unmixed(axes.pivoted(mixed.named_sensor(table))))
    if table.rows < limits.MIN_ROWS:
        raise ReadingError(_too_few(table, table.rows))
    return table


def _without_others(table: Table, triple: columns.Triple) -> tuple[Table, columns.Triple]:
    """The rows of the axes alone, where many are of another sensor that has columns of its own: their times
    would be those of two."""
    own = np.logical_or.reduce([np.isfinite(c.floats()) for c in triple.columns])
    stamped_apart = any(names.is_time(c.name) and c.empty()[own].any() for c in table.columns if c.name)
    if np.mean(own) > _OTHERS or stamped_apart:
        return table, triple
    kept = table.where(own)
    place = [next(i for i, c in enumerate(table.columns) if c is axis) for axis in triple.columns]
    x, y, z = (kept.columns[i] for i in place)
    return kept, replace(triple, columns=(x, y, z))


def _stamped(table: Table, triple: columns.Triple, clock: Clock, unit: str) -> tuple[rows.Stamped, rate.Rate]:
    """The samples with their stamps in order, and the rate that these show."""
    data = stamps.mend(rows.measured(clock.t_s, triple.values(), _stated_g(unit)))
    _check_rows(data, table)
    found = rate.find_rate(data.t_s, data.polled, table.rows - len(data.t_s))
    _check_span(data.t_s, found.step_s, table)
    return data, found


def _stated_g(unit: str) -> float | None:
    """1 g in the unit that is stated, None if none is."""
    factor = scale.M_S2_PER_UNIT.get(unit)
    return None if factor is None else STANDARD_GRAVITY_M_S2 / factor


def _scale(
    table: Table, triple: columns.Triple, unit: str, gravity: columns.Triple | None, accel: Floats
) -> scale.Scale:
    """What one unit of the triple is, in the unit stated, else by another triple that holds gravity alone."""
    gravity_size = None if gravity is None else scale.steady_size(gravity.sample())
    if unit in ("", "counts") and (middle := scale.middle_of_range(accel)):
        raise ReadingError(
            f"{table.source}: {triple.title} are whole numbers about {middle}, half the range "
            "of a converter, so gravity cannot tell how many make 1 g. Export them in m/s2 or g, or name "
            "their unit in the header, as in 'x (mg)'."
        )
    size = scale.find_scale(accel, unit, gravity_size)
    assumed = size is None or any(w.code == UNIT_ASSUMED for w in size.warnings)
    if assumed and unit == "counts":
        raise ReadingError(
            f"{table.source}: {triple.title} are counts of the sensor, and there is no gravity "
            "to tell how many make 1 g. Export them in m/s2 or g, or with gravity in."
        )
    if size is None:
        raise ReadingError(f"{table.source}: {_no_gravity(triple, accel)}")
    if why := scale.impossible(accel, size, unit or "m/s2"):
        raise ReadingError(
            f"{table.source}: {triple.title} {why}. Correct the unit in the header, as in "
            "'x (mg)', or export them in m/s2 or g."
        )
    if not size.gravity and (line := counts.scale_told(table.hints)):
        raise ReadingError(
            f"{table.source} states '{line}', and there is no gravity to tell whether "
            f"{triple.title} are multiplied by it already. Export them in m/s2 or g, or with gravity in."
        )
    unknown = next((u for c in triple.columns if (u := multiples.unknown_unit(c))), "")
    if unknown and assumed:
        raise ReadingError(
            f"{table.source}: the unit '{unknown}' of {triple.title} is not known, and there "
            "is no gravity to tell it by. Export them in m/s2 or g."
        )
    return size


def _no_gravity(triple: columns.Triple, accel: Floats) -> str:
    """What a steady part that is gravity in no unit may come from."""
    found = f"have a steady part of {scale.steady_size(accel):.4g}, which is gravity in no unit"
    if still := _still(triple, accel):
        return (
            f"{triple.title} {found}, and {still}: not all axes were measured. Record again with all three."
        )
    if scale.is_too_large(accel):
        most, shake = float(np.max(np.abs(accel))), scale.steady_and_spread(accel)[1]
        return (
            f"{triple.title} reach {most:.4g} and shake by {shake:.3g} (rms): no phone measures so much "
            "at idle in m/s2 or g, and there is no gravity to tell their unit by. Name the unit in the "
            "header, as in 'x (mg)', or export them in m/s2."
        )
    if any(np.array_equal(accel[:, i], accel[:, i - 1]) for i in range(3)):
        return f"{triple.title} {found}, and hold the same numbers. Export each axis in its own column."
    return (
        f"{triple.title} {found}: perhaps a compass. If it is acceleration, name the unit in the header, as "
        "in 'x (m/s2)'."
    )


def _still(triple: columns.Triple, accel: Floats) -> str:
    """Which of the axes never change, in words; '' if all do."""
    moves = np.ptp(accel, axis=0) > 0
    still = [c.name or "one" for c, moved in zip(triple.columns, moves, strict=True) if not moved]
    return f"{' and '.join(still)} never change{'s' if len(still) == 1 else ''}" if still else ""


def _check_numbers(table: Table, triple: columns.Triple) -> None:
    filled = [bool(np.isfinite(c.floats()).any()) for c in triple.columns]
    if all(filled):
        return
    title, look = table.source, "Record again and look at the file before sending it."
    if not any(filled):
        raise ReadingError(f"{title}: {triple.title} hold no numbers at all. {look}")
    titles = [c.name or f"column {i + 1} of the axes" for i, c in enumerate(triple.columns)]
    empty, full = (
        " and ".join(n for n, f in zip(titles, filled, strict=True) if f is has) for has in (False, True)
    )
    raise ReadingError(
        f"{title} has no numbers in {empty}, only in {full}. All three axes are needed. {look}"
    )


def _check_rows(data: rows.Stamped, table: Table) -> None:
    n = len(data.t_s)
    title = table.source
    if data.mixed:
        raise ReadingError(
            f"{title} holds rows of several sensors, and nothing in it tells which are whose. Export the "
            "accelerometer alone, or with the sensor's name in each row."
        )
    if n < limits.MIN_ROWS:
        raise ReadingError(_too_few(table, n))
    if not np.any(np.ptp(data.accel, axis=0) > 0):
        raise ReadingError(
            f"{title}: the acceleration never changes, so the sensor was not running. Record again."
        )


def _too_few(table: Table, left: int) -> str:
    count = f"{left} usable row{'' if left == 1 else 's'}"
    return (
        f"{table.source} has {count} of data; at least {limits.MIN_ROWS} are needed. "
        "Record for half a minute or longer."
    )


def _check_span(t_s: Floats, step_s: float, table: Table) -> None:
    title = table.source
    rate_hz = 1.0 / step_s
    if rate_hz > limits.MOST_RATE_HZ:
        raise ReadingError(
            f"{title} would have {rate_hz:.3g} samples a second, which no sensor makes: its times are "
            "broken. Export it again, or take the time column out and write the rate into the first "
            "line, such as '# sample rate: 100 Hz'."
        )
    if rate_hz < limits.MIN_RATE_HZ:
        raise ReadingError(
            f"{title} has {rate_hz:.3g} samples a second; engine shake needs more than "
            f"{limits.MIN_RATE_HZ:g}. Set the recording app to its fastest rate and record again."
        )
    if t_s[-1] < limits.MIN_DURATION_S:
        raise ReadingError(
            f"{title} is {np.floor(10 * t_s[-1]) / 10:.1f} s long; at least {limits.MIN_DURATION_S:g} s are "
            "needed. Record for half a minute or longer."
        )


def _axis_warnings(triple: columns.Triple, accel: Floats) -> tuple[Warn, ...]:
    """Axes that stay on one value while another takes many: a coarse phone lying still has few on all."""
    still = _still(triple, accel)
    if not still or max(len(np.unique(axis)) for axis in accel.T) < _MANY_VALUES:
        return ()
    text = f"{still}: only the shake along the rest was recorded. Set the app to record all three axes."
    return (Warn("still-axes", text),)


def _is_uneven(off: Floats) -> bool:
    """Whether steps of time (n,), off the usual one by so many of it, typically are by much."""
    return bool(np.max(off) > _UNEVEN_S and np.median(off) > _UNEVEN_S)


def _rate_warnings(t_s: Floats, found: rate.Rate) -> tuple[Warn, ...]:
    out = []
    if found.lost > max(2, _LOST_SHARE * len(t_s)) or found.longest_gap_s > 0.5:
        gaps = f"{found.gaps} gap{'s' if found.gaps > 1 else ''}, the longest {found.longest_gap_s:.3g} s"
        text = (
            f"{found.lost} samples are missing in {gaps}. Close other apps and keep the screen on while "
            "recording."
        )
        out.append(Warn(LOST_SAMPLES, text))
    if not found.steady or _is_uneven(np.abs(np.diff(t_s) / found.step_s - 1.0)):
        text = "The time between samples varies widely: the app records when something changes."
        out.append(Warn("uneven-stamps", text))
    return tuple(out)

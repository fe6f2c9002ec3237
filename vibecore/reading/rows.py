"""Rows that hold a measurement, and those that do not: empty cells, zeros of a sensor that did not answer,
broken figures. Each is left out and told."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vibecore.model import Flags, Floats, Warn
from vibecore.units import STANDARD_GRAVITY_M_S2

from . import limits, scale

_JUDGED_ROWS = 500  # from all over the recording, enough for its median
_GRAVITY_OVER_SHAKE = 2.0  # steady part over the typical shake, above which a row of zeros is none of it
_AGAIN = 3  # rows with one figure, other than 0, on all axes: fewer come by chance
_FIRST_ROWS = 200  # within which a sensor has started
_ANOTHER_AGE = 1e4  # usual steps: so far off lies the first stamp of a clock that was set after it
_BEYOND_G = 20.0  # no phone-class part measures more than 16 g
_BEYOND_SHAKE = 5.0  # times what nearly all rows keep within
_MOST_BROKEN = 0.1  # share of rows; if more are so large, the unit is not what it seems


@dataclass(frozen=True, eq=False)
class Stamped:
    """t_s (n,), accel (n, 3) in the file's unit, and what was done so far."""

    t_s: Floats
    accel: Floats
    warnings: tuple[Warn, ...] = ()
    history: tuple[str, ...] = ()
    polled: bool = False  # the stamps are when a logger asked, not when the sensor measured
    mixed: bool = False  # the rows are of several sensors, and nothing tells which are whose

    def keep(self, which: Flags | NDArray[np.intp]) -> Stamped:
        return replace(self, t_s=self.t_s[which], accel=self.accel.T[:, which].T)

    def tell(self, code: str, text: str) -> Stamped:
        return replace(
            self, warnings=(*self.warnings, Warn(code, text)), history=(*self.history, code.replace("-", " "))
        )


def measured(t_s: Floats, accel: Floats, one_g: float | None = None) -> Stamped:
    """The rows that hold a measurement. `one_g`: 1 g in the file's unit, if that is known."""
    data = Stamped(t_s, accel)
    for step in (_whole, _first_rows, _zeros):
        if len(data.t_s) < 3:
            return data
        data = step(data)
    return _broken_figures(data, one_g) if len(data.t_s) else data


def _whole(data: Stamped) -> Stamped:
    ends = (data.t_s.min(), data.t_s.max(), data.accel.min(), data.accel.max())
    if len(data.t_s) and all(abs(end) < limits.MOST_BELIEVED for end in ends):  # false for nan
        return data
    good = (np.abs(data.t_s) < limits.MOST_BELIEVED) & (np.abs(data.accel) < limits.MOST_BELIEVED).all(axis=1)
    missing = len(good) - int(np.count_nonzero(good))
    if not missing:
        return data
    text = f"{missing} of {len(good)} rows have an empty or unreadable cell; they were left out."
    return data.keep(good).tell("missing-values", text)


def _first_rows(data: Stamped) -> Stamped:
    """Loggers that write before the sensor delivers: rows of zeros at the start, or a first stamp of
    another age."""
    zero = ~data.accel[: min(len(data.accel), _FIRST_ROWS)].any(axis=1)
    count = int(np.argmin(zero)) if not zero.all() else 0
    steps = np.abs(np.diff(data.t_s[count:]))
    if (
        len(steps) > 2
        and steps[0] > steps[1:].sum()
        and steps[0] > _ANOTHER_AGE * max(float(np.median(steps[1:])), 1e-9)
    ):
        count += 1  # the clock was set between the first row and the second
    if not count:
        return data
    rows = "first row was" if count == 1 else f"first {count} rows were"
    return data.keep(np.arange(len(data.t_s)) >= count).tell(
        "first-rows", f"The {rows} written before the sensor started; left out."
    )


def _steady(accel: Floats) -> tuple[Floats, Floats]:
    """The median (3,) of (n, 3) values, and how far (m,) rows from all over lie from it."""
    some = accel[:: max(1, len(accel) // _JUDGED_ROWS)]
    middle = np.median(some, axis=0)
    return middle, np.asarray(np.sqrt(np.sum((some - middle) ** 2, axis=1)))


def _zeros(data: Stamped) -> Stamped:
    """Rows of exact zeros where all others hold gravity, or of another figure that comes on all axes again
    and again: the sensor did not answer, or the row is another sensor's."""
    x, y, z = data.accel.T
    alike = (x == y) & (y == z)
    if not alike.any():
        return data
    values, counts = np.unique(x[alike], return_counts=True)
    again = values[(values == 0) | (counts == counts.max()) & (counts >= _AGAIN)]
    for value in again:
        data = _without_figure(data, float(value))
    return data


def _without_figure(data: Stamped, value: float) -> Stamped:
    """The rows that hold something else than this figure on all axes, if gravity forbids it."""
    there = (data.accel == value).all(axis=1)
    count = int(np.count_nonzero(there))
    if not 0 < count <= len(there) - limits.MIN_ROWS:
        return data
    rest = data.keep(~there)
    middle, off = _steady(rest.accel)
    least = _GRAVITY_OVER_SHAKE * np.median(off)
    if min(np.linalg.norm(middle), np.linalg.norm(middle - value)) < least:
        return data
    text = (
        f"{count} of {len(there)} rows hold {value:g} on all three axes, which gravity forbids: no "
        "measurement. They were left out."
    )
    return rest.tell("zero-rows", text)


def _one_g(size: float, stated: float | None) -> float:
    """1 g in the file's unit by the size of the steady part, else as stated, else in the unit of the larger
    figures."""
    if scale.is_gravity_in(size):
        return size
    return max(size, stated or STANDARD_GRAVITY_M_S2)


def _broken_figures(data: Stamped, one_g: float | None) -> Stamped:
    """Figures such as -999 or 9999 that no phone can measure."""
    middle, off = _steady(data.accel)
    most = _BEYOND_G * _one_g(float(np.linalg.norm(middle)), one_g)
    if max(float(data.accel.max()), -float(data.accel.min())) <= most:
        return data
    most = max(most, _BEYOND_SHAKE * float(np.quantile(off, 1.0 - _MOST_BROKEN)))
    broken = np.asarray((np.abs(data.accel) > most).any(axis=1))
    count = int(np.count_nonzero(broken))
    if not 0 < count <= _MOST_BROKEN * len(broken):
        return data
    largest = data.accel[broken].flat[np.argmax(np.abs(data.accel[broken]))]
    text = (
        f"{count} of {len(broken)} rows hold figures that no phone measures, such as {largest:g}; they were "
        "left out."
    )
    return data.keep(~broken).tell("broken-figures", text)

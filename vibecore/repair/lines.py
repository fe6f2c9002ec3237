"""The level of one line in a recording as a mean square with a standard error, and its change in decibels.

Mean squares of different lines add, so a fault's lines are summed as such. A ratio of mean squares is taken
as log-normal: with relative standard errors a and b its logarithm has the variance ln(1 + a^2) + ln(1 +
b^2) (moments of the log-normal distribution; Aitchison and Brown, 1957).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vibecore.engine import USABLE_SHARE_OF_HALF_RATE, Engine
from vibecore.model import Analysis, Line, OrderChange, OrderLevel, Spectrum
from vibecore.repair.sound import DB_PER_NEPER, sound_level
from vibecore.spectra import band_rms

Z_95 = 1.959964  # standard errors to the end of a two-sided 95 % interval of the normal distribution
LINE_HALF_WIDTH_ORDERS = 0.05  # the contract's width of a line
SAME_LINE_SHARE = 0.02  # lines this near in hertz or order are one line, from recording to recording
_OTHER_LINE_SD_DB = 1.0  # of a line between the half orders, whose level is told without an interval
_STANDING_OUT_DB = 6.0  # lines this much less over a sound car's level than the foremost are left out


@dataclass(frozen=True)
class Level:
    """Mean square ms and its standard error sd, both (m/s2)^2."""

    ms: float
    sd: float

    @property
    def guarded(self) -> float:
        """The mean square, or its standard error if greater: what is under the floor is not nothing."""
        return max(self.ms, self.sd, np.finfo(float).tiny)

    @property
    def rms_m_s2(self) -> float:
        return float(np.sqrt(self.guarded))

    @property
    def log_variance(self) -> float:
        """Variance of the natural logarithm of the mean square."""
        return float(np.log1p((self.sd / self.guarded) ** 2))


@dataclass(frozen=True)
class Change:
    """Change in decibels and its standard error from the two recordings' own scatter."""

    db: float
    sd_db: float


def change(before: Level, after: Level) -> Change:
    return Change(
        float(10 * np.log10(after.guarded / before.guarded)),
        float(DB_PER_NEPER * np.sqrt(before.log_variance + after.log_variance)),
    )


def total(levels: Sequence[Level]) -> Level:
    return Level(sum(lv.ms for lv in levels), float(np.sqrt(sum(lv.sd**2 for lv in levels))))


def level_at_order(analysis: Analysis, order: float) -> Level | None:
    """Level on any order; None if this recording cannot show it."""
    table = analysis.orders
    if table is None or analysis.speed is None:
        return None
    found = table.level(order)
    if found is not None:
        return _of_order(found)
    near = [ln for ln in table.other_lines if ln.order is not None and _same(ln.order, order)]
    if near:
        return _of_line(max(near, key=lambda ln: ln.rms_m_s2))
    if order * analysis.speed.mean_rpm / 60 > USABLE_SHARE_OF_HALF_RATE * analysis.signal.fs_hz / 2:
        return None
    return _at_most(table.spectrum, order, LINE_HALF_WIDTH_ORDERS)


def level_at_hz(analysis: Analysis, frequency_hz: float) -> Level | None:
    """Level of a line that keeps to a frequency; None if this recording cannot show it."""
    near = [ln for ln in analysis.lines if _same(ln.frequency_hz, frequency_hz)]
    if near:
        return _of_line(max(near, key=lambda ln: ln.rms_m_s2))
    if frequency_hz > USABLE_SHARE_OF_HALF_RATE * analysis.signal.fs_hz / 2:
        return None
    return _at_most(analysis.spectrum_hz, frequency_hz, SAME_LINE_SHARE * frequency_hz)


def _same(a: float, b: float) -> bool:
    return abs(a - b) <= SAME_LINE_SHARE * max(a, b)


def _of_order(found: OrderLevel) -> Level | None:
    if not found.visible or found.rms_m_s2 is None:
        return None
    low, high = found.low_m_s2, found.high_m_s2
    if low is None or high is None:
        return Level(found.rms_m_s2**2, 0.0)
    return Level(found.rms_m_s2**2, (high**2 - low**2) / (2 * Z_95))


def _of_line(line: Line) -> Level:
    ms = line.rms_m_s2**2
    return Level(ms, ms * _OTHER_LINE_SD_DB / DB_PER_NEPER)


def _at_most(spectrum: Spectrum, at: float, half_width: float) -> Level | None:
    """No line was found there: what the whole band holds is the most that it can have."""
    if len(spectrum.x) < 2:
        return None
    return Level(0.0, band_rms(spectrum, at - half_width, at + half_width) ** 2 / Z_95)


def standing_out(analysis: Analysis, engine: Engine | None = None) -> tuple[float, ...]:
    """Orders that stand out most over a sound car's level, the foremost first: the best guess at a fault's
    own lines when nobody named the fault. Empty if the speed is not known."""
    if analysis.orders is None:
        return ()
    place = analysis.condition.place
    levels = [(lv.order, lv.rms_m_s2) for lv in analysis.orders.levels if lv.visible and lv.rms_m_s2]
    levels += [(ln.order, ln.rms_m_s2) for ln in analysis.orders.other_lines if ln.order is not None]
    excess = [
        (20 * np.log10(rms) - sound_level(order, engine, place).median_db, order) for order, rms in levels
    ]
    excess.sort(reverse=True)
    return tuple(order for over, order in excess if over > excess[0][0] - _STANDING_OUT_DB)


def order_change(order: float, before: Level, after: Level, extra_sd_db: float) -> OrderChange:
    """Change on one order, its interval widened by what else may have changed."""
    moved = change(before, after)
    half = Z_95 * float(np.hypot(moved.sd_db, extra_sd_db))
    return OrderChange(order, before.rms_m_s2, after.rms_m_s2, moved.db, moved.db - half, moved.db + half)

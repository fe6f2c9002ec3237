"""The level of one line in a recording as a mean square with a standard error, and its change in decibels.

Mean squares of different lines add, so a fault's lines are summed as such. A ratio of mean squares is taken
as log-normal: with relative standard errors a and b its logarithm has the variance ln(1 + a^2) + ln(1 +
b^2) (moments of the log-normal distribution; Aitchison and Brown, 1957).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.fft import rfft

from vibecore import hann
from vibecore.blocks import cut
from vibecore.constants import LINE_HALF_WIDTH_ORDERS, SWAY_HZ, WHOLE_SHARE, Z_95
from vibecore.engine import USABLE_SHARE_OF_HALF_RATE, Engine
from vibecore.model import Analysis, OrderChange, OrderLevel, Signal, Spectrum
from vibecore.repair.likeness import OTHER_RATE
from vibecore.sound_cars import sound_level
from vibecore.spectra import NOISE_BANDWIDTH_BINS
from vibecore.units import DB_PER_LOG_POWER

SAME_LINE_SHARE = 0.02  # lines this near in hertz or order are one line, from recording to recording
# What lies further under the strongest line, or for a line on no order under the whole shake, is not what
# anybody complains about.
_FOREMOST_DB = 6.0
_BESIDE_WIDTHS = 5.0  # half widths of a line out to which its floor is read
_ASIDE_ORDERS = 0.25  # from nothing and from the firing order: half way to the next half order
_BURSTS = 2.0  # unsteady cycles come in bursts: their level scatters more than that of even noise
_BLOCK_S, _LEAST_BLOCKS = 1.0, 4  # long against what shakes, short against what changes
_GOOD_SHARE = 0.7  # of a block's samples; the rest was bridged
# A line under the floor may be anything down to nothing: a tenth of what could be there is that to anybody.
_NEXT_TO_NOTHING_DB = 20.0
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
        """Root mean square of the level, as `guarded`: never nothing."""
        return float(np.sqrt(self.guarded))

    @property
    def stands_clear(self) -> bool:
        """Whether it is surely more than nothing."""
        return self.ms > Z_95 * self.sd

    def lifted(self, db: float) -> Level:
        """The level, decibels higher."""
        factor = 10 ** (db / 10)
        return Level(self.ms * factor, self.sd * factor)

    @property
    def log_variance(self) -> float:
        """Variance of the natural logarithm of the mean square."""
        return float(np.log1p((self.sd / self.guarded) ** 2))


@dataclass(frozen=True)
class LevelChange:
    """Change in decibels and its standard error from the two recordings' own scatter."""

    db: float
    sd_db: float


def change(before: Level, after: Level) -> LevelChange:
    """From the level before to the level after; negative where it fell."""
    return LevelChange(
        float(10 * np.log10(after.guarded / before.guarded)),
        float(DB_PER_LOG_POWER * np.sqrt(before.log_variance + after.log_variance)),
    )


def interval_db(before: Level, after: Level, extra_sd_db: float) -> tuple[float, float]:
    """95 % interval of the change, widened by what else may have changed; where one of the levels may be
    nothing, open towards that."""
    moved = change(before, after)
    half = Z_95 * float(np.hypot(moved.sd_db, extra_sd_db))
    below, above = (0.0 if lv.stands_clear else _NEXT_TO_NOTHING_DB for lv in (after, before))
    return moved.db - float(np.hypot(half, below)), moved.db + float(np.hypot(half, above))


def total(levels: Sequence[Level]) -> Level:
    """Of lines that do not overlap: mean squares add up, and so do the squares of their standard errors."""
    return Level(sum(lv.ms for lv in levels), float(np.sqrt(sum(lv.sd**2 for lv in levels))))


def level_at_order(analysis: Analysis, order: float) -> Level | None:
    """Level on any order; None if this recording cannot show it."""
    table, speed = analysis.orders, analysis.speed
    if table is None or speed is None:
        return None
    found = table.level(order)
    if found is not None:
        return _of_order(found, _revolutions(analysis))
    if order > highest_order(analysis):
        return None
    return _in_spectrum(table.spectrum, order, LINE_HALF_WIDTH_ORDERS)


def highest_order(analysis: Analysis) -> float:
    """Up to which order the phone can show levels; 0 without a speed."""
    if analysis.speed is None:
        return 0.0
    return highest_hz(analysis) / analysis.speed.turns_hz


def highest_hz(analysis: Analysis) -> float:
    """Up to which frequency the phone can show levels."""
    return USABLE_SHARE_OF_HALF_RATE * analysis.signal.fs_hz / 2


def level_at_hz(analysis: Analysis, frequency_hz: float) -> Level | None:
    """Level of a line that keeps to a frequency; None if this recording cannot show it."""
    if frequency_hz > highest_hz(analysis):
        return None
    return _in_spectrum(analysis.spectrum_hz, frequency_hz, SAME_LINE_SHARE * frequency_hz)


def level_between_orders(analysis: Analysis, top_order: float) -> Level | None:
    """All that lies between the half orders up to `top_order`, where cycles that differ from one another
    shake; None if this recording cannot show it."""
    table, speed = analysis.orders, analysis.speed
    if table is None or speed is None or len(table.spectrum.x) < 2:
        return None
    x, step = table.spectrum.x, table.spectrum.step
    if top_order > highest_order(analysis):
        return None
    beside = np.abs(x - np.round(2 * x) / 2) > max(LINE_HALF_WIDTH_ORDERS, 2 * step) + 1e-9
    inside = (x > _ASIDE_ORDERS) & (x < top_order - _ASIDE_ORDERS) & beside
    ms = float(table.spectrum.psd[inside].sum() * step)
    return Level(ms, ms * _BURSTS / float(np.sqrt(max(inside.sum() * step * _revolutions(analysis), 1.0))))


def level_of_whole(analysis: Analysis, low_hz: float, high_hz: float) -> Level | None:
    """The whole shake between two frequencies, whatever makes it; None if the recording does not reach."""
    spectrum = analysis.spectrum_hz
    inside = (spectrum.x >= low_hz) & (spectrum.x <= high_hz)
    if np.count_nonzero(inside) < 2 or high_hz > highest_hz(analysis):
        return None
    psd, step = spectrum.psd[inside], spectrum.step
    ms = float(psd.sum() * step)
    scatter = _block_scatter(analysis.signal, low_hz, high_hz)
    if scatter is not None:
        return Level(ms, ms * scatter)
    as_noise = float(np.sqrt(np.sum(psd**2) / (spectrum.averages or 1.0))) * step
    return Level(ms, _BURSTS * as_noise)  # unsteady cycles come in bursts


def whole_band(before: Analysis, after: Analysis) -> tuple[float, float]:
    """The band (low, high) in hertz that both recordings can show of the whole shake."""
    slow, fast = sorted((before, after), key=lambda analysis: analysis.signal.fs_hz)
    if fast.signal.fs_hz > OTHER_RATE * slow.signal.fs_hz:
        return SWAY_HZ, WHOLE_SHARE * slow.signal.fs_hz
    return SWAY_HZ, highest_hz(slow)  # one phone's filter takes as much before as after


def _block_scatter(signal: Signal, low_hz: float, high_hz: float) -> float | None:
    """Standard error of the mean square in a band as a share of it, from how blocks differ; None if there are
    too few."""
    size = round(_BLOCK_S * signal.fs_hz)
    good = cut(signal.good, size).mean(axis=1) >= _GOOD_SHARE
    if np.count_nonzero(good) < _LEAST_BLOCKS:
        return None
    blocks = cut(signal.accel_m_s2, size)[good]
    powers = np.abs(rfft(blocks * hann.periodic(size)[None, :, None], axis=1)) ** 2
    hz = np.arange(powers.shape[1]) * signal.fs_hz / size
    levels = powers[:, (hz >= low_hz) & (hz <= high_hz)].sum(axis=(1, 2))
    return float(levels.std(ddof=1) / levels.mean() / np.sqrt(len(levels))) if levels.any() else 0.0


def _revolutions(analysis: Analysis) -> float:
    """Crank revolutions of the samples that count."""
    speed_hz = analysis.speed.turns_hz if analysis.speed is not None else 0.0
    return float(np.count_nonzero(analysis.signal.good) / analysis.signal.fs_hz * speed_hz)


def _of_order(found: OrderLevel, revolutions: float) -> Level | None:
    """Its interval holds the noise; cycles that differ from one another add what they scatter.

    The unsteady share of a line is narrow noise: over T revolutions its mean square in a band of B orders
    is known to 1 / sqrt(B T) (Bendat and Piersol, Random Data, ch. 8).
    """
    line = found.line_m_s2
    if not found.visible or line is None:
        return None
    ms = line**2
    noise = 0.0
    if found.low_m_s2 is not None and found.high_m_s2 is not None:
        # The upper end holds what the phone's filter may take, which it takes before as after: the lower end
        # tells the noise, unless it is at nothing.
        below = 2 * line * (line - found.low_m_s2)
        noise = (below if found.low_m_s2 > 0 else found.high_m_s2**2 / 2) / Z_95
    steady = found.coherence if found.coherence is not None and np.isfinite(found.coherence) else 1.0
    turns = max(2 * LINE_HALF_WIDTH_ORDERS * revolutions, 1.0)
    return Level(ms, float(np.hypot(noise, ms * (1 - steady) / np.sqrt(turns))))


def _in_spectrum(spectrum: Spectrum, at: float, half_width: float) -> Level | None:
    """Mean square within +-half_width less the floor read on either side, down to nothing.

    Standard error: line and floor beat, and the floor itself scatters, over T = averages / (1.5 step) units
    of time (1.5: the Hann window's noise bandwidth in steps).
    """
    if len(spectrum.x) < 2:
        return None
    step = spectrum.step
    distance = np.abs(spectrum.x - at)
    inside = distance <= max(half_width, 2 * step) + 1e-12
    beside = (distance > half_width + 2 * step) & (distance <= _BESIDE_WIDTHS * half_width + 4 * step)
    if not inside.any() or not beside.any():
        return None
    floor, width = float(np.median(spectrum.psd[beside])), float(inside.sum()) * step
    ms = max(float(spectrum.psd[inside].sum()) * step - floor * width, 0.0)
    turns = (spectrum.averages or 1.0) / (NOISE_BANDWIDTH_BINS * step)
    return Level(ms, float(np.sqrt((2 * ms * floor + 2 * floor**2 * width) / turns)))


def standing_out(analysis: Analysis, engine: Engine | None = None) -> tuple[float, ...]:
    """Orders that stand out most over a sound car's level, the foremost first: the best guess at a fault's
    own lines when nobody named the fault. Empty if the speed is not known."""
    if analysis.orders is None:
        return ()
    place = analysis.condition.place
    levels = [(lv.order, lv.line_m_s2) for lv in analysis.orders.levels if lv.visible and lv.line_m_s2]
    least = analysis.overall.rms_m_s2 * 10 ** (-_FOREMOST_DB / 20)
    others = [ln for ln in analysis.orders.other_lines if ln.rms_m_s2 >= least]
    levels += [(ln.order, ln.rms_m_s2) for ln in others if ln.order is not None]
    if not levels:
        return ()
    felt = max(rms for _, rms in levels) * 10 ** (-_FOREMOST_DB / 20)
    excess = [
        (20 * np.log10(rms) - sound_level(order, engine, place).median_db, order)
        for order, rms in levels
        if rms >= felt
    ]
    excess.sort(reverse=True)
    return tuple(order for over, order in excess if over > excess[0][0] - _STANDING_OUT_DB)


def order_change(order: float, before: Level, after: Level, extra_sd_db: float) -> OrderChange:
    """Change on one order, its interval widened by what else may have changed."""
    moved_db, interval = change(before, after).db, interval_db(before, after, extra_sd_db)
    return OrderChange(order, before.rms_m_s2, after.rms_m_s2, moved_db, *interval)


def order_changes(first: Analysis, second: Analysis, extra_sd_db: float) -> tuple[OrderChange, ...]:
    """Change from the first to the second on every order of the first's table that both show."""
    orders = [lv.order for lv in first.orders.levels] if first.orders is not None else []
    pairs = ((order, level_at_order(first, order), level_at_order(second, order)) for order in orders)
    return tuple(
        order_change(order, b, a, extra_sd_db) for order, b, a in pairs if b is not None and a is not None
    )

"""Two lines close together beat: why a shake comes and goes.

Sines of f and f + d hertz add to one that swells every 1 / d seconds (Den Hartog, Mechanical Vibrations,
ch. 1; from memory).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from vibecore import spectra
from vibecore.constants import PEAK_FLOOR_HZ
from vibecore.model import Analysis, Floats, Line, Spectrum

SLOWEST_S, FASTEST_S = 20.0, 0.5  # slower is not noticed as coming and going; faster is felt as roughness
LEAST_SHARE = 0.25  # of the whole shake's rms, each: fainter lines swell nothing that is felt
LEAST_RATIO = 0.3  # weaker over stronger: the shake then swells by five decibels or more
FINEST_HZ, COARSEST_HZ = 0.1, 0.25  # resolution: as fine as the engine is steady
LOBE = 4.0  # resolutions: two lines nearer than a window's main lobe are not told apart
LEAST_GOOD = 0.9  # of the one long look: gaps blur its lines
ABOUT_HZ = 0.4  # what belongs to a line that wanders lies about it
TWO_SINES = 0.95  # share of that which two steady lines make up; one line that sways shows more than two
ON_ORDER = 0.03  # of an order: a line this near to one is named after it


@dataclass(frozen=True)
class Beat:
    """Two lines in hertz, the lower first, their engine orders if they stand on one, and the period."""

    low_hz: float
    high_hz: float
    low_order: float | None
    high_order: float | None
    period_s: float


def strongest_beat(analysis: Analysis) -> Beat | None:
    """The pair of lines that makes the shake swell most; None if none is felt to."""
    least = LEAST_SHARE * analysis.overall.rms_m_s2
    resolution = _resolution_hz(analysis)
    fine = spectra.of_signal(analysis.signal, resolution_hz=resolution)
    found = _pairs(fine, least, LOBE * resolution, 1 / FASTEST_S)
    if not found:
        found = _slow_pairs(analysis, least, LOBE * resolution)
    if not found:
        return None
    low, high = (line.frequency_hz for line in max(found, key=_weaker))
    return Beat(low, high, _order_of(low, analysis), _order_of(high, analysis), 1 / (high - low))


def _pairs(
    spectrum: Spectrum, least_m_s2: float, nearest_hz: float, farthest_hz: float
) -> list[tuple[Line, Line]]:
    """Neighbouring lines that swell when added, each felt."""
    felt = [
        line for line in spectra.peaks(spectrum, floor_width=PEAK_FLOOR_HZ) if line.rms_m_s2 >= least_m_s2
    ]
    return [
        (a, b)
        for a, b in itertools.pairwise(felt)
        if max(1 / SLOWEST_S, nearest_hz) <= b.frequency_hz - a.frequency_hz <= farthest_hz
        and _weaker((a, b)) >= LEAST_RATIO * max(a.rms_m_s2, b.rms_m_s2)
    ]


def _weaker(pair: tuple[Line, Line]) -> float:
    return min(line.rms_m_s2 for line in pair)


def _slow_pairs(analysis: Analysis, least_m_s2: float, farthest_hz: float) -> list[tuple[Line, Line]]:
    """Pairs too near for averages, by one look at a long stretch: only lines on no engine order, and only two
    that stay so steady that two sines are nearly all there is. What wanders falls apart under such a look."""
    signal = analysis.signal
    n = min(len(signal.good), round(LOBE * SLOWEST_S * signal.fs_hz))
    begin = (len(signal.good) - n) // 2
    part = slice(begin, begin + n)
    accel, good = signal.accel_m_s2[part], signal.good[part]
    resolution = signal.fs_hz / max(n, 1)
    if LOBE * resolution >= farthest_hz or good.mean() < LEAST_GOOD:
        return []
    fine = spectra.density(accel, signal.fs_hz, resolution_hz=resolution, good=good)
    return [
        pair
        for pair in _pairs(fine, least_m_s2, LOBE * resolution, farthest_hz)
        if all(_order_of(line.frequency_hz, analysis) is None for line in pair)
        and _explained(pair, accel[good], np.flatnonzero(good) / signal.fs_hz, fine) >= TWO_SINES
    ]


def _explained(pair: tuple[Line, Line], accel: Floats, t_s: Floats, spectrum: Spectrum) -> float:
    """Share of the mean square about two lines that two steady sines take up. accel: (n, 3); t_s: (n,)."""
    low, high = (line.frequency_hz for line in pair)
    angles = 2 * np.pi * np.outer(t_s, (low, high))
    waves = np.hstack((np.cos(angles), np.sin(angles)))
    fit = waves @ np.linalg.lstsq(waves, accel, rcond=None)[0]
    around = spectra.band_rms(spectrum, low - ABOUT_HZ, high + ABOUT_HZ) ** 2
    return float((fit**2).sum(axis=1).mean() / max(around, np.finfo(float).tiny))


def _resolution_hz(analysis: Analysis) -> float:
    """An engine that wanders smears its lines: a finer look would show each as several."""
    speed, orders = analysis.speed, analysis.orders
    if speed is None or orders is None:
        return FINEST_HZ
    strongest = max(orders.levels, key=lambda level: level.rms_m_s2 or 0.0).order
    return min(max(strongest * speed.steadiness_rpm / 60, FINEST_HZ), COARSEST_HZ)


def _order_of(frequency_hz: float, analysis: Analysis) -> float | None:
    if analysis.speed is None or analysis.orders is None:
        return None
    order = frequency_hz / analysis.speed.turns_hz
    near = min(analysis.orders.levels, key=lambda level: abs(level.order - order)).order
    return near if abs(near - order) < ON_ORDER else None

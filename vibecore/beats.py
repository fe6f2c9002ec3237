"""Two lines close together beat: why a shake comes and goes.

Sines of f and f + d hertz add to one that swells every 1 / d seconds (Den Hartog, Mechanical Vibrations,
ch. 1; from memory).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from vibecore import spectra
from vibecore.model import Analysis

SLOWEST_S, FASTEST_S = 20.0, 0.5  # slower is not noticed as coming and going; faster is felt as roughness
LEAST_SHARE = 0.25  # of the whole shake's rms, each: fainter lines swell nothing that is felt
LEAST_RATIO = 0.3  # weaker over stronger: the shake then swells by five decibels or more
FINEST_HZ, COARSEST_HZ = 0.1, 0.25  # resolution: as fine as the engine is steady
LOBE = 4.0  # resolutions: two lines nearer than a window's main lobe are not told apart
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
    resolution = _resolution_hz(analysis)
    fine = spectra.of_signal(analysis.signal, resolution_hz=resolution)
    least = LEAST_SHARE * analysis.overall.rms_m_s2
    felt = [line for line in spectra.peaks(fine, floor_width=8.0) if line.rms_m_s2 >= least]
    pairs = [
        (min(a.rms_m_s2, b.rms_m_s2), a.frequency_hz, b.frequency_hz)
        for a, b in itertools.pairwise(felt)
        if max(1 / SLOWEST_S, LOBE * resolution) <= b.frequency_hz - a.frequency_hz <= 1 / FASTEST_S
        and min(a.rms_m_s2, b.rms_m_s2) >= LEAST_RATIO * max(a.rms_m_s2, b.rms_m_s2)
    ]
    if not pairs:
        return None
    _, low, high = max(pairs)
    return Beat(low, high, _order_of(low, analysis), _order_of(high, analysis), 1 / (high - low))


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
    order = frequency_hz / (analysis.speed.mean_rpm / 60)
    near = min(analysis.orders.levels, key=lambda level: abs(level.order - order)).order
    return near if abs(near - order) < ON_ORDER else None

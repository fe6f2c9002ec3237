"""The shake between the orders: what is left in the gaps, where neither orders nor lines stand.

Each gap between neighbouring half orders is read by the median of its density, which a line in it does not
move.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from vibecore.constants import LINE_HALF_WIDTH_ORDERS, SWAY_HZ
from vibecore.model import Analysis, OrderTable

GAP = (0.12, 0.38)  # of an order above each half order: clear of the lines' skirts
LEAST_GROUND_M_S2 = 0.002  # phones' own noise over the band (data sheets: 70-230 ug/sqrt(Hz))
JUDDER_HZ = (SWAY_HZ, 16.0)  # bodies on their mounts and driveline judder; common practice, no source


def ground_db(analysis: Analysis, highest_order: float, strangers_hz: Sequence[float] = ()) -> float | None:
    """20 log10 of the rms (m/s2) of the shake between the orders, up to `highest_order`; None if no gap is
    seen. strangers_hz: lines that are none of the engine's; what its wander takes them across does not count.
    """
    if analysis.orders is None or analysis.speed is None:
        return None
    turns_hz = analysis.speed.rpm / 60
    crossed = [(hz / float(turns_hz.max()), hz / float(turns_hz.min())) for hz in strangers_hz]
    return _gaps_db(analysis.orders, 0.0, highest_order, crossed)


def judder_db(analysis: Analysis) -> float | None:
    """The same between 3 and 16 Hz, where a driveline judders."""
    return between_db(analysis, JUDDER_HZ)


def between_db(analysis: Analysis, band_hz: tuple[float, float]) -> float | None:
    """The same in a band of hertz."""
    if analysis.orders is None or analysis.speed is None:
        return None
    turns_hz = analysis.speed.turns_hz
    return _gaps_db(analysis.orders, band_hz[0] / turns_hz, band_hz[1] / turns_hz)


def between_density(analysis: Analysis, band_hz: tuple[float, float]) -> float | None:
    """Mean density in the gaps within a band of hertz, (m/s2)^2 an order; None if no gap lies there."""
    if analysis.orders is None or analysis.speed is None:
        return None
    turns_hz = analysis.speed.turns_hz
    medians = _gap_medians(analysis.orders, band_hz[0] / turns_hz, band_hz[1] / turns_hz)
    return sum(medians) / len(medians) if medians else None


def multiples_power(table: OrderTable, firing_order: float) -> float:
    """(m/s2)^2 on the third and fourth multiples of the firing order, as far as the spectrum reaches."""
    x, psd = table.spectrum.x, table.spectrum.psd
    if len(x) < 2:
        return 0.0
    step, total = table.spectrum.step, 0.0
    for order in (3 * firing_order, 4 * firing_order):
        line = np.abs(x - order) <= max(LINE_HALF_WIDTH_ORDERS, 2 * step)
        beside = (np.abs(x - order) > GAP[0]) & (np.abs(x - order) <= GAP[1])
        if line.any() and beside.any() and order + GAP[1] <= x[-1]:
            total += max(float((psd[line] - np.median(psd[beside])).sum()) * step, 0.0)
    return total


def _gaps_db(
    table: OrderTable, low: float, high: float, crossed: Sequence[tuple[float, float]] = ()
) -> float | None:
    medians = _gap_medians(table, low, high, crossed)
    return 10 * math.log10(max(0.5 * sum(medians), LEAST_GROUND_M_S2**2)) if medians else None


def _gap_medians(
    table: OrderTable, low: float, high: float, crossed: Sequence[tuple[float, float]] = ()
) -> list[float]:
    """The middle density of each gap between the orders low and high that nothing crosses."""
    x, psd = table.spectrum.x, table.spectrum.psd
    gap = np.floor(2 * x).astype(int)
    beside = x - gap / 2
    inside = (beside >= GAP[0]) & (beside <= GAP[1]) & (x >= low) & (x <= high)
    for begin, end in crossed:
        inside &= (gap / 2 + GAP[1] < begin) | (gap / 2 + GAP[0] > end)
    return [float(np.median(psd[inside & (gap == g)])) for g in np.unique(gap[inside])]

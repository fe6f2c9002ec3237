"""Lines in the band of an engine order that are none of it: a turbine that slips, a pulley nearly as large.

Along the crank's own angle an order stands exactly where it is, however the speed wanders. A line as narrow
as the analysis can show, centred further off than the window's main lobe reaches, turns at a rate of its
own; what unsteady cycles smear about an order is wide.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from vibecore.constants import LINE_HALF_WIDTH_ORDERS, PEAK_FLOOR_ORDERS
from vibecore.model import Analysis, Line, OrderLevel, Spectrum
from vibecore.spectra import LOBE_BINS, SPREAD_BINS, peaks, straying


def beside_orders(analysis: Analysis) -> list[Line]:
    """Such lines of a recording."""
    if analysis.orders is None or analysis.speed is None:
        return []
    turns_hz = analysis.speed.turns_hz
    return [
        replace(line, frequency_hz=line.order * turns_hz, drifts_with="engine")
        for line in _beside(analysis.orders.spectrum)
        if line.order is not None
    ]


def is_anothers(row: OrderLevel, beside: list[Line]) -> bool:
    """Whether most of what the order's band holds is such a line."""
    band = LINE_HALF_WIDTH_ORDERS
    power = [line.rms_m_s2**2 for line in beside if abs((line.order or 0.0) - row.order) < band]
    return 2 * sum(power) > (row.rms_m_s2 or 0.0) ** 2


@lru_cache(maxsize=64)
def _beside(spectrum: Spectrum) -> tuple[Line, ...]:
    if len(spectrum.x) < 2:
        return ()
    return tuple(
        line
        for line in peaks(spectrum, floor_width=PEAK_FLOOR_ORDERS)
        if line.order is not None
        and LOBE_BINS * spectrum.step < abs(line.order - round(2 * line.order) / 2) < LINE_HALF_WIDTH_ORDERS
        and _is_narrow(spectrum, line.order)
    )


def turns(spectrum: Spectrum, order: float) -> bool:
    """Whether a line as narrow as the analysis can show stands there, so that it turns with the crank: a mode
    that an unsteady engine rings is wider."""
    if len(spectrum.x) < 2:
        return False
    found = [ln.order for ln in peaks(spectrum, floor_width=PEAK_FLOOR_ORDERS) if ln.order is not None]
    return any(abs(at - order) < LOBE_BINS * spectrum.step and _is_narrow(spectrum, at) for at in found)


def _is_narrow(spectrum: Spectrum, order: float) -> bool:
    return straying(spectrum, order, floor_width=PEAK_FLOOR_ORDERS) <= spectrum.step * SPREAD_BINS

"""The band about each engine order, one axis along the crank's angle: what is in it, and the floor beside it.

What is in a band is read from one look at the whole recording, in which every revolution counts alike: blocks
that fade in and out weigh shake that comes and goes unevenly. The floor is read from blocks' average, which
scatters less.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft
from scipy.signal.windows import tukey

from vibecore import spectra
from vibecore.constants import LINE_HALF_WIDTH_ORDERS
from vibecore.model import Floats, Spectrum
from vibecore.turning import Turned

# Orders from the line where its floor is read: clear of the line and of the next half order.
BESIDE = (0.09, 0.24)
QUIETEST = 0.1  # share of the spectrum that no engine order nor its smear reaches
LOW_BESIDE_SHARE = 0.5  # the quieter half of the floor's points counts, for other lines may stand among them
# Noise of K averages scatters by 1 / sqrt(K) of its mean; the lower half of a normal distribution lies 0.798
# (sqrt(2 / pi)) of its standard deviation under the middle. Of few averages no more is made up for.
LOWER_HALF_SD, LEAST_OF_MEAN = 0.798, 0.3
FADED = 0.1  # of the whole look, half at each end: a strong line whose ends do not meet leaks into others


@dataclass(frozen=True, eq=False)
class AxisShake:
    """One axis: its averaged density by order, and the mean square (m + 1,) of the whole look up to each edge
    of its bins, `bin_orders` wide."""

    spectrum: Spectrum
    up_to: Floats
    bin_orders: float

    def within(self, low: Floats, high: Floats) -> Floats:
        """Mean square (k,) between orders; a bin's own is spread evenly over its width."""
        at = np.arange(len(self.up_to)) - 0.5
        below, above = (np.interp(edge / self.bin_orders, at, self.up_to) for edge in (low, high))
        return np.asarray(above - below)


@dataclass(frozen=True, eq=False)
class OrderBands:
    """Of each order (k,): mean square within the line's band, floor's density beside it, the band's width."""

    square: Floats
    floor: Floats
    width: Floats

    def of(self, i: int) -> tuple[float, float, float]:
        return float(self.square[i]), float(self.floor[i]), float(self.width[i])


def axis_shakes(turned: Turned, block_rev: float) -> list[AxisShake]:
    """The axes of a recording along the crank's angle, their floor from blocks of this many revolutions."""
    good = turned.good
    window = tukey(len(good), FADED) * good
    size = fft.next_fast_len(len(good), real=True)
    of_one_bin = 2 / (size * max(float(window @ window), 1.0))
    found = []
    for values in turned.accel_m_s2.T:
        spectrum = spectra.density(values, turned.per_rev, resolution_hz=1 / block_rev, good=good)
        lines = fft.rfft(values * window, size)
        up_to = np.concatenate(([0.0], np.cumsum(lines.real**2 + lines.imag**2)))
        found.append(AxisShake(spectrum, up_to * of_one_bin, turned.per_rev / size))
    return found


def order_bands(shake: AxisShake, orders: Floats) -> OrderBands:
    """The bands about these orders (k,); all nothing where no block was whole."""
    spectrum = shake.spectrum
    if len(spectrum.x) < 2:
        return OrderBands(*np.zeros((3, len(orders))))
    step = spectrum.step
    half = max(LINE_HALF_WIDTH_ORDERS, 2 * step)
    reach = int(max(BESIDE[1], 2 * step) / step) + 2
    place = np.rint(orders / step).astype(int)[:, None] + np.arange(-reach, reach + 1)
    there = (place >= 0) & (place < len(spectrum.x))
    place = place.clip(0, len(spectrum.x) - 1)
    psd, distance = spectrum.psd[place], np.abs(spectrum.x[place] - orders[:, None])
    beside = there & (distance >= BESIDE[0]) & (distance <= BESIDE[1])
    count = beside.sum(axis=1)
    quiet = np.minimum(np.maximum(2, np.ceil(LOW_BESIDE_SHARE * count)), np.maximum(count, 1)).astype(int)
    rising = np.sort(np.where(beside, psd, np.inf), axis=1)
    among = np.arange(rising.shape[1]) < np.minimum(quiet, count)[:, None]
    floor = np.where(among, rising, 0.0).sum(axis=1) / quiet * _quiet_bias(spectrum.averages or 1.0)
    known = count > 0
    return OrderBands(known * shake.within(orders - half, orders + half), floor, known * 2 * half)


def _quiet_bias(averages: float) -> float:
    """Mean of chi-square noise over the mean of its quieter half (normal approximation to its spread)."""
    return float(1 / max(LEAST_OF_MEAN, 1 - LOWER_HALF_SD / np.sqrt(max(averages, 1.0))))


def quietest(spectrum: Spectrum, highest: float) -> float:
    """Density under the quietest stretches, up to an order: the phone's own noise and what else is not the
    engine's."""
    psd = spectrum.psd[(spectrum.x > BESIDE[0]) & (spectrum.x < highest)]
    if not len(psd):
        return 0.0
    rank = int(QUIETEST * len(psd))
    return float(np.partition(psd, rank)[rank]) / spectra.chi2_per_dof(QUIETEST, spectrum.averages or 1.0)

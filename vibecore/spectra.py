"""Spectral densities, their floor and their peaks, in physical units.

Density S(f): one-sided, (m/s2)^2 per hertz, summed over the axes, so that its area is the mean square of the
vector. Averaged over Hann-windowed blocks that overlap by half (Welch, IEEE Trans. Audio 15, 1967). With K
independent blocks, 2 K S' / S follows chi-square with 2 K degrees of freedom (Bendat and Piersol, Random
Data, 4th ed., ch. 8), which gives intervals, the floor's bias and the height a peak must have.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import fft

from vibecore import hann
from vibecore.model import Flags, Floats, Line, Signal, Spectrum

NOISE_BANDWIDTH_BINS = 1.5  # of the Hann window; Harris, Proc. IEEE 66(1), 1978, Table I
OVERLAP_CORRELATION = 1 / 6  # of Hann blocks that overlap by half; same table
LOBE_BINS = 2  # half width of the Hann window's main lobe
SPREAD_BINS = 3**-0.5  # standard deviation of what it makes of a line, see `straying`
_LEAST_GOOD_SHARE = 0.5  # a block with less of its window's energy on good samples tells too little
_BATCH_SAMPLES = 1 << 18  # block samples transformed at once: bounds memory
_FLOOR_QUANTILE = 0.4  # below the middle, for lines of half orders fill a good part of the bins
_FALSE_ALARM = 0.01  # chance that pure noise shows a peak anywhere in a spectrum
_CLEAR_OF_FLOOR = 2.0  # density over floor where the skirt of a broad line ends: 3 dB
_SAME_PEAK = 0.25  # of a peak: a few blocks' scatter does not reach down so far (6 dB)
_DIP_SIGMAS = 4.0  # two peaks are two if the density dips between them by this many standard errors


def density(x: Floats, fs_hz: float, *, resolution_hz: float, good: Flags | None = None) -> Spectrum:
    """One-sided density of x, summed over axes.

    x: (n,) or (n, k), m/s2, mean removed. resolution_hz: distance of neighbouring points; a signal shorter
    than 1 / resolution_hz gets the finest it can. good: (n,); samples that are not count as absent. No block
    with enough good samples: an empty spectrum.
    """
    columns = x.reshape(len(x), -1)
    n = min(round(fs_hz / resolution_hz), len(columns))
    if n < 2 or (good is not None and not good.any()):
        return Spectrum(np.empty(0), np.empty(0), "hertz", 0.0)
    window = hann.periodic(n)
    keep = None if good is None or good.all() else good
    if keep is not None:
        columns = np.where(keep[:, None], columns, 0.0)
    share = _energy_shares(keep, window, len(columns))
    usable = np.flatnonzero(share >= _LEAST_GOOD_SHARE)
    total = _sum_of_powers(columns, window, usable)
    if not len(usable):
        return Spectrum(np.empty(0), np.empty(0), "hertz", 0.0)
    psd = total * 2 / (fs_hz * (window**2).sum() * share[usable].sum())
    psd[0] /= 2
    if n % 2 == 0:
        psd[-1] /= 2
    return Spectrum(fft.rfftfreq(n, 1 / fs_hz), psd, "hertz", effective_averages(share[usable].sum()))


def of_signal(signal: Signal, *, resolution_hz: float) -> Spectrum:
    """`density` of a signal's three axes over its good samples."""
    return density(signal.accel_m_s2, signal.fs_hz, resolution_hz=resolution_hz, good=signal.good)


def _energy_shares(keep: Flags | None, window: Floats, n: int) -> Floats:
    """Share of the window's energy that falls on good samples, for each block."""
    step = max(len(window) // 2, 1)
    blocks = (n - len(window)) // step + 1
    if keep is None:
        return np.ones(blocks)
    views = sliding_window_view(keep, len(window))[::step]
    return np.asarray(views @ (window**2 / (window**2).sum()))


def _sum_of_powers(columns: Floats, window: Floats, usable: np.ndarray) -> Floats:
    """Sum over blocks and axes of the squared spectrum, (len(window) // 2 + 1,)."""
    n = len(window)
    step = max(n // 2, 1)
    total = np.zeros(n // 2 + 1)
    batch = max(_BATCH_SAMPLES // n, 1)
    for axis in range(columns.shape[1]):
        views = sliding_window_view(np.ascontiguousarray(columns[:, axis]), n)[::step]
        for begin in range(0, len(usable), batch):
            lines = fft.rfft(views[usable[begin : begin + batch]] * window, axis=1)
            total += np.einsum("ij,ij->j", lines.real, lines.real) + np.einsum(
                "ij,ij->j", lines.imag, lines.imag
            )
    return total


def effective_averages(blocks: float) -> float:
    """Independent blocks that `blocks` half-overlapping Hann blocks are worth (Welch 1967)."""
    if blocks <= 1:
        return 1.0
    return float(blocks / (1 + 2 * OVERLAP_CORRELATION**2 * (blocks - 1) / blocks))


@lru_cache(maxsize=1024)
def chi2_per_dof(probability: float, averages: float) -> float:
    """Quantile of chi-square with two degrees of freedom an average, over its mean."""
    from scipy.special import gammaincinv  # chi2.ppf without the slow import of scipy.stats

    return float(gammaincinv(averages, probability) / averages)


def band_rms(spectrum: Spectrum, low: float, high: float) -> float:
    """Root-mean-square, m/s2, of what lies between two frequencies or orders, ends included."""
    inside = (spectrum.x >= low) & (spectrum.x <= high)
    return float(np.sqrt(spectrum.psd[inside].sum() * spectrum.step))


@lru_cache(maxsize=64)
def local_floor(spectrum: Spectrum, *, width: float) -> Floats:
    """Density of what lies under the lines, (m,): a running quantile, put right for its bias in noise. It is
    kept, for all lines of a spectrum stand over the same.

    width: window in the unit of x; a floor that changes much within it is followed late, and lines that fill
    more than half of it lift it.
    """
    from scipy.ndimage import percentile_filter

    bins = max(round(width / spectrum.step) | 1, 3)
    running = percentile_filter(spectrum.psd, 100 * _FLOOR_QUANTILE, size=bins, mode="reflect")
    floor = np.asarray(running / chi2_per_dof(_FLOOR_QUANTILE, spectrum.averages or 1.0))
    floor.setflags(write=False)
    return floor


def peaks(spectrum: Spectrum, *, floor_width: float) -> tuple[Line, ...]:
    """Lines so high that pure noise would show one in one spectrum of a hundred at most, in rising order.

    floor_width: see `local_floor`, in the unit of x. Level: the area of the peak over the floor; place: its
    centre of energy. In an order spectrum `frequency_hz` of a line is not known here and is left 0.
    """
    from scipy.signal import find_peaks

    m, averages = len(spectrum.x), spectrum.averages or 1.0
    if m < 8:
        return ()
    floor = np.maximum(local_floor(spectrum, width=floor_width), np.finfo(float).tiny)
    needed = chi2_per_dof(1 - _FALSE_ALARM / m, averages)
    ratio = np.maximum(spectrum.psd / floor, np.finfo(float).tiny)
    dip = _DIP_SIGMAS / np.sqrt(averages)
    places, _ = find_peaks(np.log(ratio), height=np.log(needed), prominence=dip, distance=LOBE_BINS)
    return tuple(_line(spectrum, floor, ratio, int(at)) for at in places if at > 1)


def straying(spectrum: Spectrum, at: float, *, floor_width: float) -> float:
    """How far the line at `at` strays from its mean, in the unit of x: the standard deviation of its energy's
    place, less what the window alone does to a line that never strays. 0 where nothing stands over the floor.

    Hann's window spreads a line's energy by `SPREAD_BINS`, wherever it lies between them: the mean square
    of f is that of the window's slope over its own, by Parseval.
    """
    floor = np.maximum(local_floor(spectrum, width=floor_width), np.finfo(float).tiny)
    ratio, step = spectrum.psd / floor, spectrum.step
    middle = int(np.clip(round(at / step), 1, len(ratio) - 2))
    at_bin = middle - 1 + int(np.argmax(ratio[middle - 1 : middle + 2]))
    part = _part(ratio, at_bin, _SAME_PEAK * ratio[at_bin])
    return _spread(spectrum.x[part], np.maximum(spectrum.psd[part] - floor[part], 0.0), step)


def straying_within(spectrum: Spectrum, at: float, reach: float, *, floor_width: float) -> float:
    """The same of all that clears the floor no further than `reach` from `at`: for a line that is broken up
    into several, as one is that swings to and fro faster than a block lasts."""
    step = spectrum.step
    near = slice(max(int((at - reach) / step), 1), int((at + reach) / step) + 2)
    psd, floor = spectrum.psd[near], local_floor(spectrum, width=floor_width)[near]
    return _spread(spectrum.x[near], np.where(psd > _CLEAR_OF_FLOOR * floor, psd - floor, 0.0), step)


def _spread(x: Floats, energy: Floats, step: float) -> float:
    """Standard deviation of the place of energy (k,), less what Hann's window alone makes it."""
    total = float(energy.sum())
    if total <= 0:
        return 0.0
    square = float((x - (x @ energy) / total) ** 2 @ energy) / total
    return float(np.sqrt(max(square - (SPREAD_BINS * step) ** 2, 0.0)))


def _part(ratio: Floats, at: int, same: float = np.inf) -> slice:
    """The line whose peak is at this bin: main lobe, and on while it clears the floor and falls, or is over
    `same`, for what scatters there is one line."""

    def goes_on(last: int, following: int) -> bool:
        return ratio[following] > _CLEAR_OF_FLOOR and (
            ratio[following] < ratio[last] or ratio[following] > same
        )

    begin, end = max(at - LOBE_BINS, 0), min(at + LOBE_BINS, len(ratio) - 1)
    while begin > 0 and goes_on(begin, begin - 1):
        begin -= 1
    while end < len(ratio) - 1 and goes_on(end, end + 1):
        end += 1
    return slice(begin, end + 1)


def _line(spectrum: Spectrum, floor: Floats, ratio: Floats, at: int) -> Line:
    part = _part(ratio, at)
    energy = np.maximum(spectrum.psd[part] - floor[part], 0.0)
    centre = float((spectrum.x[part] * energy).sum() / energy.sum())
    rms = float(np.sqrt(energy.sum() * spectrum.step))
    in_hertz = spectrum.unit == "hertz"
    return Line(
        centre if in_hertz else 0.0, None if in_hertz else centre, rms, float(10 * np.log10(ratio[at]))
    )

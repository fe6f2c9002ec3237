"""One working cycle, averaged over a recording: what repeats, how alike the firings are, how many are missed.

The signal along its strongest direction is resampled to crank angle and cut into working cycles; their mean
is what repeats, their spread what does not (synchronous averaging: noise falls as 1 / sqrt(cycles); S. Braun,
Mechanical Signature Analysis, 1986, from memory).

Firings that differ modulate the firing order once or more a cycle, which shows as orders on both sides of it.
Below it lie imbalance and what mounts and body pass too well, so the upper side alone is read, doubled
(single-sideband demodulation). The path to the phone passes those orders more or less than the firing order,
so small differences may look large: how unequal firings come through is no measure of the engine's own. Which
cylinder is number one is not known without a mark.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.ndimage import maximum_filter1d, median_filter

from vibecore.blocks import cut
from vibecore.constants import MAD_TO_SD, USABLE_SHARE
from vibecore.engine import Engine
from vibecore.model import Floats, Frozen, Signal, SpeedTrack
from vibecore.turning import Turned, turn

LEAST_CYCLES = 8
LEAST_ALIKE = 0.2  # of the shake repeats: below it a firing's strength is that of noise
UPPER_SIDE = 1.5  # of the firing order: so far up lie the orders beside it that are read
SHIFTS = 8  # of a firing's share of the cycle
MEDIAN_ERROR = 1.2533  # sqrt(pi / 2): standard error of a median over that of a mean, of normal data
MISSED = 0.35  # of its usual strength: a firing weaker than this did not burn
SIGMAS = 4.0  # that a missed firing must stand out: one in 30,000 by chance
ALWAYS_WEAK = 0.5  # of the mean: a cylinder that is always weaker is not one that misses now and then


@dataclass(frozen=True, eq=False)
class CycleView(Frozen):
    """angle_deg, mean_m_s2, spread_m_s2 (m,): the mean cycle and the standard deviation from cycle to cycle.

    alike: 0..1, share of the mean square that repeats. firings: strength of each firing in turn over their
    mean, empty where too little repeats; firings_se: standard error of each, over cycles; missed_per_minute:
    firings that did not come, None if not known."""

    angle_deg: Floats
    mean_m_s2: Floats
    spread_m_s2: Floats
    cycles: int
    alike: float
    firings: tuple[float, ...]
    firings_se: tuple[float, ...]
    missed_per_minute: float | None


def average_cycle(signal: Signal, track: SpeedTrack, engine: Engine) -> CycleView | None:
    """The working cycle of a recording; None if it holds fewer than LEAST_CYCLES whole ones."""
    turned = turn(signal, track.angle_rev)
    turns = 1.0 / engine.cycle_order
    size = round(turned.per_rev * turns)
    blocks = _cut(turned, size)
    if len(blocks) < LEAST_CYCLES:
        return None
    along = _direction(blocks.mean(axis=0))
    cycles = blocks @ along
    mean, spread = cycles.mean(axis=0), cycles.std(axis=0, ddof=1)
    alike = _alike(mean, spread, len(cycles))
    firings: tuple[float, ...] = ()
    errors: tuple[float, ...] = ()
    missed = None
    highest = UPPER_SIDE * engine.firing_order * track.turns_hz
    if alike >= LEAST_ALIKE and highest < USABLE_SHARE * signal.fs_hz:
        strengths = _strengths(turned, turned.accel_m_s2 @ along, size, round(engine.firing_order * turns))
        if strengths is not None:
            usual = np.nanmedian(strengths, axis=0)
            firings = tuple((usual / usual.mean()).tolist())
            errors = tuple((_standard_error(strengths) / usual.mean()).tolist())
            share = _missed(strengths)
            missed = None if share is None else share * engine.firing_order * track.mean_rpm
    angle_deg = np.arange(size) / size * 360.0 * turns
    return CycleView(
        angle_deg=angle_deg,
        mean_m_s2=mean,
        spread_m_s2=spread,
        cycles=len(cycles),
        alike=alike,
        firings=firings,
        firings_se=errors,
        missed_per_minute=missed,
    )


def _cut(turned: Turned, size: int) -> Floats:
    """(cycles, size, 3) whole cycles of good samples only."""
    return np.asarray(cut(turned.accel_m_s2, size)[cut(turned.good, size).all(axis=1)])


def _standard_error(strengths: Floats) -> Floats:
    """(firings,) of the median of each firing over its cycles (cycles, firings)."""
    scatter = MAD_TO_SD * np.nanmedian(np.abs(strengths - np.nanmedian(strengths, axis=0)), axis=0)
    return np.asarray(MEDIAN_ERROR * scatter / np.sqrt(np.isfinite(strengths).sum(axis=0)))


def _missed(strengths: Floats) -> float | None:
    """Share of the firings (cycles, firings) that did not come; None where single ones scatter too much.

    A firing that does not come is weak alone, within a cycle to each side: where a line beats with them most
    are weaker, and a knock makes one stronger, by half as much as this one is weaker."""
    usual = np.nanmedian(strengths, axis=0)
    burning = usual > ALWAYS_WEAK * usual.mean()
    each = strengths / usual
    scatter = np.nanmedian(np.abs(each - 1), axis=0)[burning].max() * MAD_TO_SD
    if not scatter <= (1 - MISSED) / SIGMAS:
        return None
    row, around = np.where(burning, np.nan_to_num(each), 1.0).ravel(), 2 * each.shape[1] + 1
    usual_beside = median_filter(row, around) > (1 + MISSED) / 2
    none_stronger = maximum_filter1d(row, around) < 1 + (1 - MISSED) / 2
    weak = (each < MISSED) & burning & (usual_beside & none_stronger).reshape(each.shape)
    return float(weak.sum() / np.isfinite(each).sum())


def _direction(mean: Floats) -> Floats:
    """(3,) the direction in which the mean cycle (m, 3) mostly shakes."""
    centred = mean - mean.mean(axis=0)
    return np.asarray(np.linalg.svd(centred, full_matrices=False)[2][0])


def _alike(mean: Floats, spread: Floats, count: int) -> float:
    """Share of the mean square that repeats, the scatter that is left in the mean taken off."""
    scatter = float(np.mean(spread**2))
    repeats = max(float(np.mean((mean - mean.mean()) ** 2)) - scatter / count, 0.0)
    return repeats / max(repeats + scatter, 1e-30)


def _strengths(turned: Turned, along: Floats, size: int, firings: int) -> Floats | None:
    """(cycles, firings) how strong the firing order came at each firing, NaN where samples are lacking; None
    where one of the firings is never whole.

    Each is read in the middle of a cycle cut round it, clear of the cut's ends. Where in the cycle a firing
    shows is not known, for the path delays it: of SHIFTS places the one is taken that parts them best."""
    count = (len(along) - size) // size
    at = np.arange(count * firings) * size / firings
    first = np.rint(at).astype(int)
    lines = np.fft.rfft(sliding_window_view(along, size)[first], axis=1)
    orders = firings + np.arange(firings // 2 + 1)
    lines = lines[:, orders] * np.exp(2j * np.pi / size * np.outer(at - first, orders))
    whole = sliding_window_view(turned.good, size)[first].all(axis=1)
    if not whole.reshape(count, firings).any(axis=0).all():
        return None
    lines[~whole] = np.nan
    lines *= np.exp(-1j * np.angle(np.nanmean(lines[:, 0])))
    lines[:, 1:] *= 2
    found = []
    for shift in range(SHIFTS):
        place = 2 * np.pi * (firings // 2 + shift / SHIFTS) / firings
        strengths = (lines @ np.exp(1j * place * (orders - firings))).real
        found.append(strengths.reshape(count, firings))
    return max(found, key=lambda strengths: float(np.nanmedian(strengths, axis=0).var()))

"""One working cycle, averaged over a recording: what repeats, how alike the firings are, how many are missed.

The signal along its strongest direction is resampled to crank angle and cut into working cycles; their mean
is what repeats, their spread what does not (synchronous averaging: noise falls as 1 / sqrt(cycles); S. Braun,
Mechanical Signature Analysis, 1986, from memory).

Firings that differ modulate the firing order once or more a cycle, which shows as orders on both sides of it.
Below it lie imbalance and what mounts and body pass too well, so the upper side alone is read, doubled
(single-sideband demodulation). Which cylinder is number one is not known without a mark.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibecore.constants import MAD_TO_SD, USABLE_SHARE
from vibecore.engine import Engine
from vibecore.model import Floats, Frozen, Signal, SpeedTrack
from vibecore.turning import Turned, turn

LEAST_CYCLES = 8
LEAST_ALIKE = 0.2  # of the shake repeats: below it a firing's strength is that of noise
SHIFTS = 8  # of a firing's share of the cycle
MISSED = 0.35  # of its usual strength: a firing weaker than this did not burn
SIGMAS = 4.0  # that a missed firing must stand out: one in 30,000 by chance
ALWAYS_WEAK = 0.5  # of the mean: a cylinder that is always weaker is not one that misses now and then


@dataclass(frozen=True, eq=False)
class CycleView(Frozen):
    """angle_deg, mean_m_s2, spread_m_s2 (m,): the mean cycle and the standard deviation from cycle to cycle.

    alike: 0..1, share of the mean square that repeats. firings: strength of each firing in turn over their
    mean, empty where too little repeats; missed_per_minute: firings that did not come, None if not known."""

    angle_deg: Floats
    mean_m_s2: Floats
    spread_m_s2: Floats
    cycles: int
    alike: float
    firings: tuple[float, ...]
    missed_per_minute: float | None


def average_cycle(signal: Signal, track: SpeedTrack, engine: Engine) -> CycleView | None:
    """The working cycle of a recording; None if it holds fewer than LEAST_CYCLES whole ones."""
    turned = turn(signal, track.angle_rev)
    turns = 1.0 / engine.cycle_order
    size = round(turned.per_rev * turns)
    blocks = _cut(turned, size, 0)
    if len(blocks) < LEAST_CYCLES:
        return None
    along = _direction(blocks.mean(axis=0))
    cycles = blocks @ along
    mean, spread = cycles.mean(axis=0), cycles.std(axis=0, ddof=1)
    alike = _alike(mean, spread, len(cycles))
    firings: tuple[float, ...] = ()
    missed = None
    highest = 1.5 * engine.firing_order * track.turns_hz
    if alike >= LEAST_ALIKE and highest < USABLE_SHARE * signal.fs_hz:
        count = round(engine.firing_order * turns)
        usual = np.median(_strengths(cycles, count), axis=0)
        firings = tuple((usual / usual.mean()).tolist())
        # A firing that a cut falls into is half in each cycle: cut half a firing later as well.
        cuts = [cycles, _cut(turned, size, size // (2 * count)) @ along]
        counts = [n for n in (_missed(_strengths(cut, count)) for cut in cuts) if n is not None]
        missed = max(counts) * track.mean_rpm / (len(cycles) * turns) if counts else None
    angle_deg = np.arange(size) / size * 360.0 * turns
    return CycleView(angle_deg, mean, spread, len(cycles), alike, firings, missed)


def _cut(turned: Turned, size: int, first: int) -> Floats:
    """(cycles, size, 3) whole cycles of good samples only, from sample `first` on."""
    accel, good = turned.accel_m_s2[first:], turned.good[first:]
    count = len(accel) // size
    whole = good[: count * size].reshape(count, size).all(axis=1)
    return np.asarray(accel[: count * size].reshape(count, size, 3)[whole])


def _missed(strengths: Floats) -> int | None:
    """Firings that did not come; None where single firings scatter too much to tell."""
    usual = np.median(strengths, axis=0)
    scatter = np.median(np.abs(strengths - usual)) * MAD_TO_SD / usual.mean()
    if not 0 <= scatter <= (1 - MISSED) / SIGMAS:
        return None
    return int(np.sum((strengths < MISSED * usual) & (usual > ALWAYS_WEAK * usual.mean())))


def _direction(mean: Floats) -> Floats:
    """(3,) the direction in which the mean cycle (m, 3) mostly shakes."""
    centred = mean - mean.mean(axis=0)
    return np.asarray(np.linalg.svd(centred, full_matrices=False)[2][0])


def _alike(mean: Floats, spread: Floats, count: int) -> float:
    """Share of the mean square that repeats, the scatter that is left in the mean taken off."""
    scatter = float(np.mean(spread**2))
    repeats = max(float(np.mean((mean - mean.mean()) ** 2)) - scatter / count, 0.0)
    return repeats / max(repeats + scatter, 1e-30)


def _strengths(cycles: Floats, firings: int) -> Floats:
    """(cycles, firings) how strong the firing order came at each firing.

    Where in the cycle a firing shows is not known, for the path delays it: of SHIFTS places the one is taken
    that parts the firings best."""
    lines = np.fft.rfft(cycles, axis=1)
    carrier = lines[:, firings]
    usual = np.exp(-1j * np.angle(carrier.mean()))
    sides = np.arange(1, firings // 2 + 1)
    upper = 2 * lines[:, firings + sides] * usual
    found = []
    for shift in range(SHIFTS):
        at = 2 * np.pi * (np.arange(firings) + shift / SHIFTS) / firings
        found.append((carrier * usual).real[:, None] + (upper @ np.exp(1j * np.outer(sides, at))).real)
    return max(found, key=lambda strengths: float(np.median(strengths, axis=0).var()))

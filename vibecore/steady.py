"""The steady part of a recording: the engine runs, and nobody touches the phone.

Blocks of a quarter second are told apart by their level. A car that shakes badly shakes all the time;
handling (picking the phone up, taping, pressing stop) and knocks (a door, a tap) do not last, and stand far
above the recording's own middle. A hand is also told by its slowness, gravity that points elsewhere by
itself, and an engine that does not run by how little is left.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import ndimage

from vibecore.blocks import cut
from vibecore.constants import MAD_TO_SD
from vibecore.model import Flags, Floats
from vibecore.runs import runs

BLOCK_S = 0.25  # a hand's movement or a door's slam lasts longer; a firing cycle at idle is shorter
LEAST_BLOCKS = 8  # fewer have no middle to speak of
HELD_SHARE = 0.5  # of a block's samples: with fewer, gaps leave too little to judge it by
UNBROKEN_SHARE = 0.9  # what a gap leaves of a block has a mean of its own
HANDLING_DB = 9.0  # a block this far over the median level, if it is also beyond the recording's own spread
HANDLING_SPREADS = 5.0  # ... standard deviations, as the median absolute deviation tells them
# A hand moves slower than an engine turns. The means of three blocks in a row hold motion up to about 2 Hz;
# of order 0.5 at 400 rpm (3.3 Hz), an engine's slowest, they hold a fifth of the amplitude (-14 dB).
HAND_SHARE_DB = -6.0  # slow motion against the block's own shake: over this no engine makes it
# Where the shake falls to a quarter for LEAST_STEADY_S, the engine does not run. Two lines that beat are so
# weak for a seventh of their beat.
STILL_DB = -12.0
RUNNING_QUANTILE = 0.6  # of the levels of blocks in no hand: the engine runs for half the time
LEAST_STEADY_S = 2.0  # shorter pieces hold too few working cycles (12 at 700 rpm) to tell anything
KNOCK_GUARD_BLOCKS = 1  # blocks left out at each side of a knock: the body rings on
MARGIN_S = 0.25  # left out beside handling at the start and end, for the same reason
MOVED_DEG = 8.0  # a taped phone does not turn; a body rocking on its springs stays under 2 degrees
POSTURES_TRIED = 60  # blocks taken in turn for the usual one


@dataclass(frozen=True)
class Steady:
    """start, stop: samples used. knocks: (n,) True where one was cut out. stood: for a part that is left out
    the car stood still."""

    start: int
    stop: int
    knocks: Flags
    knock_count: int
    stood: bool = False


@dataclass(frozen=True)
class _Blocks:
    """m blocks. level_db (m,): shake within each, dB re 1 m/s2; means (m, 3): m/s2; slow_db (m,): shake of
    the means of three in a row; share (m,): of the samples that are there."""

    level_db: Floats
    slow_db: Floats
    means: Floats
    share: Floats

    @property
    def known(self) -> Flags:
        return np.asarray(self.share > HELD_SHARE)

    @cached_property
    def by_hand(self) -> Flags:
        """Where the phone moves slower than any engine shakes it."""
        whole = ndimage.minimum_filter1d(self.share, 3) > UNBROKEN_SHARE
        return np.asarray((self.slow_db > self.level_db + HAND_SHARE_DB) & whole)


def steady_part(accel: Floats, good: Flags, fs_hz: float, *, gravity: bool, step_m_s2: float) -> Steady:
    """Of acceleration (n, 3) at even steps, good (n,) False in gaps. gravity: it is in there. step_m_s2:
    between neighbouring values, 0 if too fine to see."""
    n, size = len(accel), max(4, round(BLOCK_S * fs_hz))
    count = n // size
    if count < LEAST_BLOCKS:
        return Steady(0, n, np.zeros(n, dtype=bool), 0)
    blocks = _blocks(accel, good, size, step_m_s2)
    running = slice(*_longest_running(blocks))
    disturbed = np.zeros(count, dtype=bool)
    disturbed[running] = _disturbed(blocks, running, gravity)
    first, last = (running.start + block for block in _longest_calm(disturbed[running]))
    margin = round(MARGIN_S * fs_hz)
    start = 0 if first == 0 else first * size + margin
    stop = n if last == count else last * size - margin
    disturbed[:first], disturbed[last:] = False, False
    knocks = len(runs(disturbed))
    wide = ndimage.binary_dilation(disturbed, iterations=KNOCK_GUARD_BLOCKS) if knocks else disturbed
    knocked = np.zeros(n, dtype=bool)
    knocked[: count * size] = np.repeat(wide, size)
    return Steady(start, stop, knocked, knocks, (running.start, running.stop) != (0, count))


def _blocks(accel: Floats, good: Flags, size: int, step: float) -> _Blocks:
    held = cut(good, size)
    blocks = accel.T[:, : held.size].reshape(3, *held.shape)
    share = np.maximum(held.mean(axis=1), 1 / size)
    if not held.all():
        blocks = blocks * held
    means = (blocks.mean(axis=2) / share).T
    squares = np.einsum("kbs,kbs->b", blocks, blocks) / size / share
    rounding = 3 * step**2 / 12  # of three axes: what a phone that rounds may hide
    within = np.maximum(squares - (means**2).sum(axis=1), rounding)
    beside = sliding_window_view(np.pad(means, ((1, 1), (0, 0)), mode="edge"), 3, axis=0)
    return _Blocks(_db(within), _db(beside.var(axis=2).sum(axis=1)), means, share)


def _db(ms: Floats) -> Floats:
    return np.asarray(10 * np.log10(ms + 1e-12))


def _disturbed(blocks: _Blocks, running: slice, gravity: bool) -> Flags:
    """Blocks of the part in which the engine runs that are far louder than usual, in a hand, or turned."""
    level, slow, by_hand = blocks.level_db[running], blocks.slow_db[running], blocks.by_hand[running]
    usual = level[~by_hand] if 2 * np.count_nonzero(by_hand) < len(by_hand) else level
    middle = np.median(usual)
    deviation = MAD_TO_SD * np.median(np.abs(usual - middle))
    disturbed = level > middle + max(HANDLING_DB, HANDLING_SPREADS * deviation)
    disturbed |= by_hand & (slow > np.median(slow) + HANDLING_DB)
    if gravity:
        disturbed |= _turned(blocks.means[running])
    return np.asarray(disturbed & blocks.known[running])


def _longest_running(blocks: _Blocks) -> tuple[int, int]:
    """Block range of the longest time in which the car does not stand still: all, if it never does."""
    level, told = blocks.level_db, blocks.known & ~blocks.by_hand
    if not told.any():
        return 0, len(level)
    over = level - np.quantile(level[told], RUNNING_QUANTILE)
    still = [r for r in runs(told & (over < STILL_DB)) if r[1] - r[0] >= LEAST_STEADY_S / BLOCK_S]
    sudden = [
        r for r in still if all(np.median(side) > STILL_DB / 2 for side in _beside(over, *r) if len(side))
    ]
    between = np.array([0, *np.ravel(sudden), len(level)], dtype=int).reshape(-1, 2)
    first, last = max(between, key=lambda part: told[slice(*part)].sum())
    return int(first), int(last)


def _beside(levels: Floats, first: int, last: int) -> tuple[Floats, Floats]:
    """A second before and after: in it an engine starts or stops, while a sweep takes its time."""
    second = round(1 / BLOCK_S)
    return levels[max(first - second, 0) : first], levels[last : last + second]


def _longest_calm(loud: Flags) -> tuple[int, int]:
    """Block range of the steady part: handling at either end is dropped, a knock between stays inside.

    A loud run belongs to an end when less than `LEAST_STEADY_S` of calm lies beyond it.
    """
    calm = runs(~loud)
    calm = calm[calm[:, 1] - calm[:, 0] >= LEAST_STEADY_S / BLOCK_S]
    return (int(calm[0, 0]), int(calm[-1, 1])) if len(calm) else (0, len(loud))


def _turned(means: Floats) -> Flags:
    """Blocks in which gravity points elsewhere than in most of the recording: the phone was in a hand, or had
    slipped. `Most` is the direction that the largest number of blocks share."""
    pointing = means / np.maximum(np.linalg.norm(means, axis=1, keepdims=True), 1e-12)
    alike = pointing @ pointing[:: max(1, len(pointing) // POSTURES_TRIED)].T > np.cos(np.radians(MOVED_DEG))
    usual = pointing[alike[:, alike.sum(axis=0).argmax()]].mean(axis=0)
    cosine = pointing @ usual / np.linalg.norm(usual)
    return np.asarray(cosine < np.cos(np.radians(MOVED_DEG)))

"""A recording made ready for reading: even steps, gravity out, upright axes, only the steady part used.

Gravity is the mean vector of the steady part. It gives the vertical whichever way the phone lay; fore-aft
against sideways stays unknown. Handling (picking the phone up, taping, pressing stop) and knocks (a door,
a tap) are told by their level: blocks of a quarter second that stand far above the recording's own middle. A
car that shakes badly shakes all the time; handling does not last. A hand is also told by its slowness.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import ndimage

from vibecore import quality
from vibecore.constants import MAD_TO_SD
from vibecore.model import Flags, Floats, Recording, Signal, Warn
from vibecore.timebase import even_steps

BLOCK_S = 0.25  # a hand's movement or a door's slam lasts longer; a firing cycle at idle is shorter
HANDLING_DB = 9.0  # a block this far over the median level, if it is also beyond the recording's own spread
HANDLING_SPREADS = 5.0  # ... standard deviations, as the median absolute deviation tells them
# A hand moves slower than an engine turns. The means of three blocks in a row hold motion up to about 2 Hz;
# of order 0.5 at 400 rpm (3.3 Hz), an engine's slowest, they hold a fifth of the amplitude (-14 dB).
HAND_SHARE_DB = -6.0  # slow motion against the block's own shake: over this no engine makes it
WHOLE = 0.9  # share of a block that is there: what a gap leaves of one has a mean of its own
KNOCK_GUARD_BLOCKS = 1  # blocks left out at each side of a knock: the body rings on
MARGIN_S = 0.25  # left out beside handling at the start and end, for the same reason
# Where the shake falls to a quarter for as long as that, the engine does not run. Two lines that beat are so
# weak for a seventh of their beat.
STILL_DB = -12.0
RUNNING_QUANTILE = 0.6  # of the levels of blocks in no hand: the engine runs for half the time
LEAST_STEADY_S = 2.0  # shorter pieces hold too few working cycles (12 at 700 rpm) to tell anything
MOVED_DEG = 8.0  # a taped phone does not turn; a body rocking on its springs stays under 2 degrees
POSTURES_TRIED = 60  # blocks taken in turn for the usual one
POSTURE_S = 1.0  # gravity's direction is read over this time


@dataclass(frozen=True)
class _Steady:
    start: int  # first sample used
    stop: int
    knocks: Flags  # (n,) True where a knock was cut out
    knock_count: int
    stood: bool = False  # for a part that is left out the car stood still


def condition(recording: Recording) -> Signal:
    """Recording -> Signal: uniform in time, mean (gravity) removed, axis 2 vertical where gravity is known.

    The signal covers the used span only; samples in gaps and knocks inside it are marked not good.
    """
    series = even_steps(recording)
    fs, accel = series.fs_hz, series.accel_m_s2
    resolution = quality.resolution(recording.accel_m_s2)
    steady = _steady_part(accel, series.good, fs, recording.gravity_included, resolution)
    used = accel[steady.start : steady.stop]
    good = (series.good & ~steady.knocks)[steady.start : steady.stop]
    mean = np.einsum("ij,i->j", used, good) / good.sum() if good.any() else used.mean(axis=0)
    centred = used - mean
    upright = recording.gravity_included
    if upright:
        centred = np.einsum("ij,jn->in", _turn_upright(mean), centred.T).T
    centred[~good] = 0.0  # it then adds nothing to any sum over the signal
    span = (steady.start / fs, (steady.stop - 1) / fs)
    warnings = quality.warnings(recording, resolution, span, steady.knock_count, float(good.mean()))
    warnings += _moved(accel, steady, fs, recording.gravity_included)
    warnings += _stood(span) if steady.stood else []
    history = (
        *series.history,
        f"used {span[0]:.1f} s to {span[1]:.1f} s, {steady.knock_count} knocks cut out",
    )
    return Signal(fs, span[0], centred, good, span, upright, resolution, tuple(warnings), history)


def _steady_part(accel: Floats, good: Flags, fs: float, gravity: bool, step: float) -> _Steady:
    size = max(4, round(BLOCK_S * fs))
    count = len(accel) // size
    n = len(accel)
    if count < 8:
        return _Steady(0, n, np.zeros(n, dtype=bool), 0)
    blocks = accel.T[:, : count * size].reshape(3, count, size)
    held = good[: count * size].reshape(count, size)
    share = np.maximum(held.mean(axis=1), 1 / size)
    if not held.all():
        blocks = blocks * held
    means = (blocks.mean(axis=2) / share).T
    squares = np.einsum("kbs,kbs->b", blocks, blocks) / size / share
    rounding = 3 * step**2 / 12  # of three axes: what a phone that rounds may hide
    level = 10 * np.log10(np.maximum(squares - (means**2).sum(axis=1), rounding) + 1e-12)
    known = share > 0.5
    slow = _slow_db(means)
    by_hand = (slow > level + HAND_SHARE_DB) & (ndimage.minimum_filter1d(share, 3) > WHOLE)
    first, last = _longest_running(level, known & ~by_hand)
    running = slice(first, last)
    usual = ~by_hand[running] if by_hand[running].mean() < 0.5 else slice(None)
    loud = np.zeros(count, dtype=bool)
    loud[running] = _loud(level[running], usual)
    loud |= by_hand & (slow > np.median(slow[running]) + HANDLING_DB)
    if gravity:
        loud[running] |= _turned(means[running])
    loud &= known
    first, last = (running.start + block for block in _longest_calm(loud[running]))
    margin = round(MARGIN_S * fs)
    start = 0 if first == 0 else first * size + margin
    stop = n if last == count else last * size - margin
    knock = np.zeros(count, dtype=bool)
    knock[first:last] = loud[first:last]
    runs = len(_runs(knock))
    wide = ndimage.binary_dilation(knock, iterations=KNOCK_GUARD_BLOCKS) if runs else knock
    cut = np.zeros(n, dtype=bool)
    cut[: count * size] = np.repeat(wide, size)
    return _Steady(start, stop, cut, runs, (running.start, running.stop) != (0, count))


def _longest_running(level_db: Floats, told: Flags) -> tuple[int, int]:
    """Block range of the longest time in which the car does not stand still: all, if it never does. told:
    blocks that tell, in which the phone is recorded and in no hand."""
    if not told.any():
        return 0, len(level_db)
    still = _runs(told & (level_db < np.quantile(level_db[told], RUNNING_QUANTILE) + STILL_DB))
    still = still[still[:, 1] - still[:, 0] >= LEAST_STEADY_S / BLOCK_S]
    between = np.concatenate(([0], still.ravel(), [len(level_db)])).reshape(-1, 2)
    first, last = max(between, key=lambda part: told[slice(*part)].sum())
    return int(first), int(last)


def _runs(flags: Flags) -> np.ndarray:
    """(k, 2) where each run of True begins and where it has ended."""
    edges = np.diff(np.concatenate(([False], flags, [False])).astype(np.int8))
    return np.flatnonzero(edges).reshape(-1, 2)


def _loud(level_db: Floats, usual: Flags | slice) -> Flags:
    """Blocks far over the middle of the usual ones."""
    middle = np.median(level_db[usual])
    deviation = MAD_TO_SD * np.median(np.abs(level_db[usual] - middle))
    return np.asarray(level_db > middle + max(HANDLING_DB, HANDLING_SPREADS * deviation))


def _slow_db(means: Floats) -> Floats:
    """Motion slower than any engine shakes: of the means (m, 3) of each block and its neighbours, dB."""
    beside = sliding_window_view(np.pad(means, ((1, 1), (0, 0)), mode="edge"), 3, axis=0)
    return np.asarray(10 * np.log10(beside.var(axis=2).sum(axis=1) + 1e-12))


def _turned(means: Floats) -> Flags:
    """Blocks in which gravity points elsewhere than in most of the recording: the phone was in a hand, or had
    slipped. `Most` is the direction that the largest number of blocks share."""
    pointing = means / np.maximum(np.linalg.norm(means, axis=1, keepdims=True), 1e-12)
    alike = pointing @ pointing[:: max(1, len(pointing) // POSTURES_TRIED)].T > np.cos(np.radians(MOVED_DEG))
    usual = pointing[alike[:, alike.sum(axis=0).argmax()]].mean(axis=0)
    cosine = pointing @ usual / np.linalg.norm(usual)
    return np.asarray(cosine < np.cos(np.radians(MOVED_DEG)))


def _longest_calm(loud: Flags) -> tuple[int, int]:
    """Block range of the steady part: handling at either end is dropped, a knock between stays inside.

    A loud run belongs to an end when less than `LEAST_STEADY_S` of calm lies beyond it.
    """
    calm = _runs(~loud)
    calm = calm[calm[:, 1] - calm[:, 0] >= LEAST_STEADY_S / BLOCK_S]
    return (int(calm[0, 0]), int(calm[-1, 1])) if len(calm) else (0, len(loud))


def _turn_upright(gravity: Floats) -> Floats:
    """Rotation (3, 3) that brings the gravity vector onto the last axis (Rodrigues' formula)."""
    up = gravity / np.linalg.norm(gravity)
    target = np.array([0.0, 0.0, 1.0])
    axis = np.cross(up, target)
    cosine = float(up @ target)
    if cosine < -0.999999:
        return np.diag([1.0, -1.0, -1.0])
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.eye(3) + cross + cross @ cross / (1 + cosine)


def _moved(accel: Floats, steady: _Steady, fs: float, gravity: bool) -> list[Warn]:
    size = round(POSTURE_S * fs)
    part = accel[steady.start : steady.stop]
    count = len(part) // size if size else 0
    if not gravity or count < 2:
        return []
    means = part[: count * size].reshape(count, size, 3).mean(axis=1)
    first, last = means[: max(1, count // 4)].mean(axis=0), means[-max(1, count // 4) :].mean(axis=0)
    cosine = first @ last / (np.linalg.norm(first) * np.linalg.norm(last) + 1e-12)
    angle = float(np.degrees(np.arccos(np.clip(cosine, -1, 1))))
    if angle < MOVED_DEG / 2:
        return []
    message = (
        f"The phone turned by {angle:.0f} degrees during the recording. Tape it down firmly and record again."
    )
    return [Warn("moved", message)]


def _stood(span_s: tuple[float, float]) -> list[Warn]:
    text = (
        f"Only {span_s[0]:.0f} s to {span_s[1]:.0f} s was used: for a part of the recording the car hardly "
        "shook, as if the engine did not run. Start the recording after the engine, and stop it before."
    )
    return [Warn("stood-still", text)]

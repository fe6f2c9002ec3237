"""Rows handed over several at once, under one stamp or a hair's breadth apart: spread evenly in time.

A buffer of a fixed size that lost a sample comes with a row less and no sooner. Its place stays open, or the
rate would come out too low by all that was lost. A timer that takes whatever there is finds a row less as
well, but in a beat; and a buffer that goes out before it is full has the next one come sooner.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vibecore.model import Flags, Floats

Counts = NDArray[np.intp]

_SAME_LINE = 1.02  # steps of the clock: an even one through all groups keeps within one of each
_DELAYS = 9  # whole buffers: the middle one of so many tells the clock, some may be handed over late
_MADE_UP = 3  # groups, within which one that was handed over late is made up for
_JOINED_LATE = 0.9  # of the usual group: a shorter first one began before the recording did
_LONG_PAUSE = 2.5  # a pause over so many usual pauses between groups is a gap
_BEAT_SCATTER = 0.45  # of their mean distance: 1 by chance, 0.35 at most where two rates beat
_MOST_SHORT = 0.5  # share of the groups: where most are short nobody knows how many a whole one holds
_FEW = 2  # show no beat; and a sensor that is so near to its timer's beat is rarer than a lost sample
_LEAST_GROUPS, _LEAST_IN_GROUP = 10, 3  # by which groups are told
_MOSTLY = 0.8  # share of the steps that are near the usual one: else rows come in groups throughout
_WAITED = 2.5  # usual steps: a pause, after which rows that waited come in a crowd
_CROWDED = 0.5  # of the usual: nearer than this are rows of a crowd, or parts of one group
_LEAST_CROWD = 4  # rows, that have not caught up: some were lost as well; of fewer, jitter may make a crowd
_SOONER = 0.5  # of the time that the missing rows would have taken: between nothing and all of it


def in_beat(happens: Flags) -> bool:
    """Whether something happens (n,) as evenly as two rates make it. By chance its distances scatter by as
    much as their mean; so they do with a coarse phone on a smooth engine, which repeats a value wherever the
    motion turns."""
    apart = np.diff(np.flatnonzero(happens))
    return len(apart) < 2 or bool(np.std(apart) < _BEAT_SCATTER * np.mean(apart))


def within_even_groups(steps: Floats) -> Flags:
    """Which steps (n,) lie within groups of rows that a logger takes one by one out of a full buffer: not
    tiny beside the sensor's own, but every so many rows a long one comes. None without such groups."""
    long = steps > _WAITED * float(np.median(steps))
    sizes = np.diff(np.flatnonzero(long))
    usual = float(np.median(sizes)) if len(sizes) >= _LEAST_GROUPS else 0.0
    alike = usual >= _LEAST_IN_GROUP and float(np.mean(sizes == usual)) > _MOST_SHORT
    return ~long if alike else np.zeros(len(steps), dtype=bool)


def spread(at_s: Floats, starts: Counts, n: int) -> Floats:
    """Even stamps (n,) for groups of rows: an even clock through all of them if one fits every group within
    its step, else evenly from each group to the next, gaps left open.

    at_s: (m,) stamp of each group, m >= 3; starts: (m,) its first row; n rows in all. The first and the last
    group tell nothing of the clock: what cuts them off moves their stamps.
    """
    at_s, starts = _joined(at_s, starts, n)
    sizes, pauses = np.diff(np.append(starts, n)), np.diff(at_s)
    tick = float(np.median(pauses))
    whole = _whole(sizes, pauses, tick)
    taken, firsts = sizes, starts
    if whole:
        taken, firsts = np.full(len(sizes), whole), whole * np.append(0, np.cumsum(_steps(pauses / tick)))
    places = np.repeat(firsts, sizes) + _within(starts, sizes, taken)
    inner = slice(1, -1 if len(starts) > _MADE_UP else None)
    line = _line(firsts[inner].astype(np.float64), at_s[inner], places, tick, _DELAYS if whole else 1)
    if line is not None:
        return line - line[0]
    per_row = tick / float(np.median(taken))
    usual = np.append(pauses, tick)
    step = np.where(usual > _LONG_PAUSE * tick, per_row, usual / taken)
    t = np.repeat(at_s, sizes) + (places - np.repeat(firsts, sizes)) * np.repeat(step, sizes)
    first, last = int(sizes[0]), int(starts[-1])
    if first < _JOINED_LATE * np.median(sizes):  # it ends on time
        t[:first] = at_s[1] - per_row * np.arange(first, 0, -1)
    t[last:] = at_s[-1] + per_row * np.arange(n - last)
    return t


def _joined(at_s: Floats, starts: Counts, n: int) -> tuple[Floats, Counts]:
    """The same groups (m,), where rows lost out of the middle of one parted it: its parts follow each other
    in far less than the usual pause and hold no more than a usual group."""
    sizes, pauses = np.diff(np.append(starts, n)), np.diff(at_s)
    parted = (pauses < _CROWDED * np.median(pauses)) & (sizes[:-1] + sizes[1:] <= np.median(sizes))
    begins = np.append(True, ~parted)
    return at_s[begins], starts[begins]


def _whole(sizes: Counts, pauses: Floats, tick: float) -> int:
    """Rows of a whole buffer, 0 if the groups (m,) are none that lost rows. The first and the last may be cut
    off; pauses: (m - 1,) between them, usually `tick`."""
    inner = sizes[1:-1]
    whole = int(inner.max())
    short = inner < whole
    count = np.count_nonzero(short)
    if count == 0:
        return whole
    if count > _MOST_SHORT * len(inner) or (count > _FEW and in_beat(short)):
        return 0
    missing_s = (1 - inner[short] / whole) * tick
    sooner_s = 2 * tick - pauses[:-1][short] - pauses[1:][short]
    return whole if np.median(sooner_s / missing_s) < _SOONER else 0


def _steps(pauses: Floats) -> Counts:
    """How many buffers on each group is (m,); pauses (m,) in usual ones. A long one is of buffers that were
    lost whole, unless the group was only handed over late, and the next ones make up for it."""
    too_much = np.append(pauses - 1, np.zeros(_MADE_UP))
    after = np.cumsum(np.lib.stride_tricks.sliding_window_view(too_much, _MADE_UP + 1), axis=1)
    return np.maximum(np.rint(1 + after.min(axis=1)), 1).astype(np.intp)


def _within(starts: Counts, sizes: Counts, taken: Counts) -> Counts:
    """Place of each row (n,) within its group, which takes so many. Which ones are missing is not known: the
    middle ones are least wrong; of the first group the first ones, of the last group the last ones."""
    within = np.arange(int(sizes.sum())) - np.repeat(starts, sizes)
    opens = sizes // 2
    opens[0], opens[-1] = 0, sizes[-1]
    after = within >= np.repeat(opens, sizes)
    return np.asarray(within + np.where(after, np.repeat(taken - sizes, sizes), 0))


def _line(firsts: Floats, at_s: Floats, places: Counts, tick: float, among: int) -> Floats | None:
    """Times (n,) of places on the even clock that fits the groups (m,) best, None if it fits them badly: the
    middle one of so many of them counts."""
    x, middle = firsts - firsts.mean(), float(at_s.mean())
    slope = float(np.dot(x, at_s - middle) / np.dot(x, x))
    off = middle + slope * x - at_s
    off = np.median(np.lib.stride_tricks.sliding_window_view(off, min(among, len(off))), axis=1)
    if slope <= 0 or np.ptp(off) > _SAME_LINE * max(tick, slope):
        return None
    return np.asarray(middle + slope * (places - firsts.mean()))


def caught_up(t_s: Floats) -> tuple[Floats, int]:
    """Stamps (n,) of rows that waited while the writing stalled, put back between the row before and that on
    which it had caught up; and how many they are. A pause after which rows go on as usual is a gap."""
    steps = np.diff(t_s)
    usual = float(np.median(steps))
    mostly_even = np.mean(np.abs(steps - usual) < _CROWDED * usual) > _MOSTLY
    t_s, count, done = t_s.copy(), 0, 0
    for before in np.flatnonzero(steps > _WAITED * usual) if mostly_even else ():
        if before < done:
            continue
        first = int(before) + 1
        rows = _waiting(t_s[first : first + 2 * int(steps[before] / usual) + 2] - t_s[before], usual)
        if rows:
            done = first + rows
            last_s = float(t_s[done - 1] - t_s[before])
            t_s[first:done] = t_s[done - 1] - min(usual, last_s / rows) * np.arange(rows - 1, -1, -1)
            count += rows - 1
    return t_s, count


def _waiting(since_s: Floats, usual_s: float) -> int:
    """How many rows waited, 0 if none did; since_s: (m,) time of the rows after a pause, since the row before
    it."""
    crowd = 1 + int(np.argmax(np.append(np.diff(since_s) >= _CROWDED * usual_s, True)))
    due_s = (np.arange(crowd) + 1) * usual_s
    on_time = np.flatnonzero(since_s[:crowd] <= due_s + _CROWDED * usual_s)
    if len(on_time):
        return int(on_time[0]) + 1
    return crowd if crowd >= _LEAST_CROWD else 0

"""Stamps as loggers write them, mended where that is honest: repeats, disorder, equal stamps, bursts.

Nothing is resampled and no gap is filled. Every change is counted and told. Each function takes and returns
`Stamped`, so that the steps read in order in `mend`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vibecore.constants import LATE_ROWS
from vibecore.model import Flags, Floats

from . import groups, limits, scale
from .rows import Stamped

_FAR_S = 10.0  # a stamp this far from its neighbours, alone, is a broken figure
_POLLED_SHARE = 0.05  # repeated rows above this share are looked into
_POLLED_EXCESS = 3.0  # times more whole-row repeats than single axes repeating by chance would make
_RESTART_S = 2.0  # a fall of the clock by more than this begins another recording
_MOST_PARTS = 9  # recordings in one file that are looked at, the longest ones
_AROUND = 16  # steps: a late stamp is made up for within a few
_SET_BACK = 3  # times that the stamps go back, from which on sensors may write in batches
_JUDGED_ROWS, _LEAST_JUDGED = 6000, 200  # at the start, that show whether sensors take turns
_TURNS_APART = 0.3  # of the rows' rms, between the means of sensors; of one sensor they are alike
# Of that distance, the mean of all rows: half of it beside a sensor without a steady part; for a line at a
# part of the rate nothing, but for a zero that is off.
_NO_LINE = 0.15
_BLOCK_ROWS = 8  # that come again, fewer may be alike by chance
_COARSE_SHARE = 0.02  # share of equal stamps above which the clock is too coarse, not just now and then
_TINY_STEP = 0.2  # of the mean step: shorter ones come in a burst
_BURST_SHARE = 0.4  # share of tiny steps above which rows come in bursts
# A pause this long is no loss of samples: the idle may be another by then; and so many times the usual step,
# for files that are slow throughout are told so elsewhere. Common practice, no source.
_PAUSE_S, _PAUSE_STEPS = 10.0, 50.0


def mend(data: Stamped) -> Stamped:
    """Rows in order of time with strictly increasing stamps, the first at 0."""
    for step in (_lone_stamps, _repeats, _written_again, _order, _turns, _pauses, _waited, _bursts, _equal):
        if len(data.t_s) < 3:
            break
        data = step(data)
        if data.mixed:
            return data
    if len(data.t_s) == 0:
        return data
    t = data.t_s - data.t_s[0]
    rising = np.concatenate([[True], t[1:] > np.maximum.accumulate(t)[:-1]])
    return replace(data if rising.all() else data.keep(rising), t_s=t[rising])


def _lone_stamps(data: Stamped) -> Stamped:
    """Single stamps far from both neighbours, which lie close together: broken figures, not gaps."""
    size = np.abs(np.diff(data.t_s))
    far = size > _FAR_S
    if np.count_nonzero(far) < 1:
        return data
    lone = np.zeros(len(data.t_s), dtype=bool)
    across = np.abs(data.t_s[2:] - data.t_s[:-2])
    lone[1:-1] = far[:-1] & far[1:] & (across < 0.5 * _FAR_S)
    lone[-1] = far[-1] and not lone[-2]  # one sample after a long pause tells nothing
    count = int(np.count_nonzero(lone))
    if not count:
        return data
    text = f"{count} of {len(lone)} rows have a time far from the rows beside them; left out."
    return data.keep(~lone).tell("lone-stamps", text)


def _repeats(data: Stamped) -> Stamped:
    """Rows that repeat the one before: by stamp and value, or in such number that the logger must poll too
    fast."""
    n = len(data.t_s)
    same = data.accel[1:] == data.accel[:-1]
    all_same = same[:, 0] & same[:, 1] & same[:, 2]
    share = np.count_nonzero(all_same) / max(1, n - 1)
    may_be_polled = share > _POLLED_SHARE and not all_same.all()
    if may_be_polled and share > _POLLED_EXCESS * _by_chance(same) and groups.in_beat(all_same):
        drop = np.concatenate([[False], all_same])
        text = (
            f"{np.count_nonzero(drop)} of {n} rows repeat the one before on all axes: the logger asks faster "
            "than the sensor answers. They were left out; set the logger to the sensor's own rate."
        )
        return replace(data.keep(~drop), polled=True).tell("repeated-rows", text)
    equal = np.diff(data.t_s) == 0
    drop = np.concatenate([[False], all_same & equal])
    doubled = int(np.count_nonzero(drop))
    # Within a step of a coarse clock rows are alike by chance: many more equal stamps hold other values.
    if doubled and np.count_nonzero(equal) - doubled <= _COARSE_SHARE * n:
        return data.keep(~drop).tell("repeated-rows", f"{doubled} of {n} rows were written twice; left out.")
    return data


def _written_again(data: Stamped) -> Stamped:
    """Rows that come again later with the same stamp and the same values: what a logger kept was written
    twice."""
    if not (np.diff(data.t_s) < 0).any():
        return data
    _, first = np.unique(np.column_stack([data.t_s, data.accel]), axis=0, return_index=True)
    again = len(data.t_s) - len(first)
    if again < _BLOCK_ROWS:
        return data
    text = f"{again} of {len(data.t_s)} rows come again with the same stamp and values; left out."
    return data.keep(np.sort(first)).tell("repeated-rows", text)


def _by_chance(same: Flags) -> float:
    """Share of rows (n, 3) in which three independent axes repeat together. Where another axis moved the row
    is no copy, so there each axis shows how often it repeats of itself: a coarse phone lying still, nearly
    always."""
    shares = []
    for axis in range(3):
        moved = ~np.delete(same, axis, axis=1).all(axis=1)
        shares.append(float(same[moved, axis].mean()) if moved.any() else 1.0)
    return float(np.prod(shares))


def _order(data: Stamped) -> Stamped:
    """Stamps that go back: rows out of order are sorted, a clock set back is carried on, a restart is cut
    off."""
    steps = np.diff(data.t_s)
    back = np.flatnonzero(steps < 0)
    if not len(back):
        return data
    if len(back) == len(steps):
        return data.keep(np.arange(len(data.t_s))[::-1]).tell(
            "backward-stamps", "The rows stood newest first; turned round."
        )
    ordered = data.keep(np.argsort(data.t_s, kind="stable"))
    usual = _rising_step(data.t_s)
    carried_t = data.t_s + np.concatenate([[0.0], np.cumsum(np.where(steps < 0, usual - steps, 0.0))])
    times = f"{len(back)} time{'s' if len(back) > 1 else ''}"
    if _uneven(ordered.t_s) <= _uneven(carried_t) + len(back) or _only_late(data.t_s, back):
        return ordered.tell(
            "backward-stamps", f"The stamps go back {times}; the rows were put in order of time."
        )
    if len(back) >= _SET_BACK and _take_turns(data.accel, back + 1):
        return replace(data, mixed=True)
    if -float(steps.min()) < _RESTART_S:
        text = (
            f"The clock was set back {times}, by up to {-float(steps.min()):.3g} s; its time was "
            "carried on from there."
        )
        return replace(data, t_s=carried_t).tell("backward-stamps", text)
    return _longest(data, back + 1, f"The stamps start again {times}")


def _only_late(t_s: Floats, back: NDArray[np.intp]) -> bool:
    """Whether as much time goes by about the steps back (k,) as anywhere else: a row before was stamped late.
    A clock that was set back lacks more than a step there, for good."""
    around = min(_AROUND, len(t_s) - 1)
    passed = t_s[around:] - t_s[:-around]
    usual = float(np.median(passed))
    there = passed[(back - around // 2).clip(0, len(passed) - 1)]
    return float(np.median(there)) > usual * (1 - 0.5 / around)


def _take_turns(accel: Floats, starts: NDArray[np.intp]) -> bool:
    """Whether stretches of rows (n, 3) have steady parts of their own, as sensors have that write in batches
    of the same time. `starts` (k,): where time goes back, to the next sensor; half-way to the next the first
    one may come again, for which time goes on."""
    starts = np.concatenate([[0], starts])
    edges = np.unique(np.concatenate([starts, (starts + np.append(starts[1:], len(accel))) // 2]))
    lengths = np.diff(np.append(edges, len(accel)))
    means = np.add.reduceat(accel, edges, axis=0) / lengths[:, None]
    steps = np.linalg.norm(np.diff(means, axis=0), axis=1)
    return float(np.median(steps)) > _TURNS_APART * float(np.sqrt(np.mean(np.sum(accel**2, axis=1))))


def _turns(data: Stamped) -> Stamped:
    """Rows of two or three sensors in turn: each second or third row has a steady part of its own, and one
    is gravity. A line at half the rate, or a third, has such parts too, but nothing in all rows together."""
    some = data.accel[:_JUDGED_ROWS]
    size = float(np.sqrt(np.mean(np.sum(some**2, axis=1))))
    for count in (2, 3) if len(some) >= _LEAST_JUDGED else ():
        means = np.array([some[k::count].mean(axis=0) for k in range(count)])
        apart = float(np.linalg.norm(means - means[0], axis=1).max())
        heavy = any(scale.with_gravity(np.linalg.norm(means, axis=1).tolist()))
        in_all = float(np.linalg.norm(means.mean(axis=0)))
        if heavy and apart > _TURNS_APART * size and in_all > _NO_LINE * apart:
            return replace(data, mixed=True)
    return data


def _pauses(data: Stamped) -> Stamped:
    """Two recordings in one file, or a clock that was set: nobody knows what the car did meanwhile."""
    steps = np.diff(data.t_s)
    long = np.flatnonzero(steps > _PAUSE_S)
    if len(long):
        long = long[steps[long] > _PAUSE_STEPS * _rising_step(data.t_s)]
    if not len(long):
        return data
    return _longest(data, long + 1, f"The stamps pause for {float(steps[long].max()):.3g} s")


def _longest(data: Stamped, starts: NDArray[np.intp], why: str) -> Stamped:
    """The longest of several recordings, of those with gravity if not all have it; starts: rows (k,) where
    the second and later ones begin."""
    edges = np.concatenate([[0], starts, [len(data.t_s)]])
    lengths = np.diff(edges)
    least = min(limits.MIN_ROWS, int(lengths.max()))
    likely = [int(k) for k in np.argsort(-lengths, kind="stable")[:_MOST_PARTS] if lengths[k] >= least]
    heavy = scale.with_gravity([scale.steady_size(data.accel[edges[k] : edges[k + 1]]) for k in likely])
    longest = next((k for k, has in zip(likely, heavy, strict=True) if has), likely[0])
    part = np.arange(edges[longest], edges[longest + 1])
    text = (
        f"{why}: the file holds several recordings. Only the longest, rows {part[0] + 1} "
        f"to {part[-1] + 1} of {len(data.t_s)}, was read. Split the file to read the others."
    )
    return data.keep(part).tell("several-recordings", text)


def _rising_step(t_s: Floats) -> float:
    steps = np.diff(t_s)
    return float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0


def _uneven(t_s: Floats) -> int:
    """Steps far from the usual one."""
    steps, usual = np.diff(t_s), _rising_step(t_s)
    return int(np.count_nonzero((steps < 0.5 * usual) | (steps > 1.5 * usual)))


def _waited(data: Stamped) -> Stamped:
    """Rows written late, all at once, after the writing stalled."""
    t_s, count = groups.caught_up(data.t_s)
    if not count:
        return data
    text = f"{count} of {len(t_s)} rows waited to be written; an even clock puts them back to their places."
    return replace(data, t_s=t_s).tell(LATE_ROWS, text)


def _bursts(data: Stamped) -> Stamped:
    """Rows delivered several at once, a hair's breadth apart: spread evenly from burst to burst."""
    steps = np.diff(data.t_s)
    whole = float(np.mean(steps))
    if float(steps.min()) < _TINY_STEP * whole:
        whole = float(np.mean(np.minimum(steps, 50 * max(float(np.median(steps)), whole))))
    tiny = steps < _TINY_STEP * whole
    if np.mean(tiny) < _BURST_SHARE:
        tiny = groups.within_even_groups(steps)
    if np.mean(tiny) < _BURST_SHARE or not (steps > 0).any() or np.mean(steps[tiny] == 0) > 0.5:
        return data
    starts = np.concatenate([[0], np.flatnonzero(~tiny) + 1])
    if len(starts) < 3:
        return data
    size = len(data.t_s) / len(starts)
    text = f"The rows come in bursts of about {size:.3g}; they were spread evenly from burst to burst."
    return replace(data, t_s=groups.spread(data.t_s[starts], starts, len(data.t_s))).tell("bursts", text)


def _equal(data: Stamped) -> Stamped:
    """Equal stamps: a clock coarser than the samples. Spread evenly within each tick, or on the line that
    fits all."""
    steps = np.diff(data.t_s)
    equal = int(np.count_nonzero(steps == 0))
    if not equal:
        return data
    starts = np.concatenate([[0], np.flatnonzero(steps > 0) + 1])
    if len(starts) < 3:
        return data
    tick = float(np.median(np.diff(data.t_s[starts])))
    text = (
        f"{equal} of {len(data.t_s)} stamps equal the one before (the clock steps by {tick:.3g} s); "
        "rows were spread evenly within a step."
    )
    spread = replace(data, t_s=groups.spread(data.t_s[starts], starts, len(data.t_s)))
    code = "coarse-stamps" if equal > _COARSE_SHARE * len(steps) else "equal-stamps"
    return spread.tell(code, text)

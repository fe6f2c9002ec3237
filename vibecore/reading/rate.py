"""The true sample rate from jittered, rounded and gappy stamps, and how many samples the gaps have lost.

A lost sample shifts all later stamps by one step for good; jitter does not. So each step that is too long is
judged by the stamps before and after it, and the rate is the slope of time over the sample's number on the grid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LONG_STEP = 1.5  # steps over this many usual ones may hide a lost sample
_STEADY_SHARE = 0.6  # share of steps within half of the usual one, below which stamps follow no beat
_AROUND = 6  # stamps before and after a long step that judge it
_ROUNDS = 4
_EVENT_GAP = 8.0  # without a beat, only a step over so many mean ones is a gap


@dataclass(frozen=True, eq=False)
class Rate:
    """step_s: usual time between samples. lost: samples missing in all; longest_gap_s; steady: the stamps keep a beat."""

    step_s: float
    lost: int
    gaps: int
    longest_gap_s: float
    steady: bool


def find_rate(t_s: Floats) -> Rate:
    """Rate of strictly increasing stamps (n,), n >= 3."""
    steps = np.diff(t_s)
    usual = float(np.median(steps))
    inner = steps[(steps > 0.4 * usual) & (steps < 1.6 * usual)]
    if len(inner) < _STEADY_SHARE * len(steps):
        return _without_beat(steps)
    step = float(np.mean(inner))
    lost = np.zeros(len(steps))
    for _ in range(_ROUNDS):
        lost = _lost(t_s, steps, step)
        number = np.concatenate([[0.0], np.cumsum(1.0 + lost)])
        refined = _slope(number, t_s)
        done = abs(refined / step - 1.0) < 1e-6
        step = refined
        if done:
            break
    return Rate(step, int(lost.sum()), int(np.count_nonzero(lost)), _longest(steps, lost > 0), True)


def _lost(t_s: Floats, steps: Floats, step: float) -> Floats:
    """(n - 1,) whole samples lost in each step."""
    lost = np.zeros(len(steps))
    long = np.flatnonzero(steps > LONG_STEP * step)
    if not len(long):
        return lost
    late = t_s / step - np.arange(len(t_s))
    offsets = np.arange(_AROUND)
    # stamps on the far side of a neighbouring long step would blur the verdict: stay within the stretch between two
    lower = np.concatenate([[0], long[:-1] + 1])[:, None]
    upper = np.concatenate([long[1:], [len(t_s) - 1]])[:, None]
    before = np.median(late[np.maximum(long[:, None] - offsets, lower)], axis=1)
    after = np.median(late[np.minimum(long[:, None] + 1 + offsets, upper)], axis=1)
    lost[long] = np.maximum(0.0, np.rint(after - before))
    return lost


def _slope(x: Floats, y: Floats) -> float:
    x = x - x.mean()
    return float(np.dot(x, y - y.mean()) / np.dot(x, x))


def _without_beat(steps: Floats) -> Rate:
    """Event-driven stamps: the mean rate outside gaps, and gaps only where the step is far above any other."""
    limit = _EVENT_GAP * float(np.mean(steps[steps <= np.quantile(steps, 0.98)]))
    whole = steps <= limit
    step = float(np.mean(steps[whole]))
    lost = np.where(whole, 0.0, np.maximum(0.0, np.rint(steps / step) - 1.0))
    return Rate(step, int(lost.sum()), int(np.count_nonzero(lost)), _longest(steps, ~whole), False)


def _longest(steps: Floats, gap: NDArray[np.bool_]) -> float:
    return float(steps[gap].max()) if gap.any() else 0.0

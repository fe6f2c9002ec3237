"""The true sample rate from jittered, rounded and gappy stamps, and how many samples the gaps have lost.

A phone's sensor keeps a beat; stamps scatter about it and some samples go missing. Like the hands of a
clock, each stamp t is turned into the phase of exp(2 pi i t / step): a lost sample is a whole turn and
changes nothing, jitter averages out over a block. The step that makes the phases of every block agree is the
sensor's own, its slow change from block to block refines it, and each stamp's place on the beat then tells
how many places stand empty.

Reference (the method is the periodogram of a point process): D. R. Cox and P. A. W. Lewis, The Statistical
Analysis of Series of Events, 1966 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_CALM_STEP = 0.2  # if every step is this near the mean one, nothing is lost and no search is needed
_BLOCK = 256  # stamps to a block: jitter averages out sixteenfold, slow clock drift stays small
_SEARCH = (0.96, 1.12)  # the true rate over the first guess, which single lost samples make too low
_FINENESS = 0.5  # of the width of the peak in rate: a tenth of its height is lost at most
_SEARCH_BLOCKS = 16
_CUT = 2.5  # steps over so many usual ones are left out of the first guess
_RANDOM_BEAT = (
    0.89,
    1.9,
)  # mean phasor of stamps at random (Rayleigh: sqrt(pi)/2), and four times its scatter
_AROUND = 11  # places whose median smooths out single late or early stamps
_EVENT_GAP = 8.0  # without a beat, only a step over so many mean ones is a gap


@dataclass(frozen=True)
class Rate:
    """step_s: time between samples. lost: samples missing in all; gaps: in how many places; steady: there
    is a beat."""

    step_s: float
    lost: int
    gaps: int
    longest_gap_s: float
    steady: bool


def find_rate(t_s: Floats) -> Rate:
    """Rate of strictly increasing stamps (n,), n >= 3."""
    steps = np.diff(t_s)
    mean = float(steps.mean())
    if float(np.abs(steps - mean).max()) <= _CALM_STEP * mean:
        return Rate(_slope(np.arange(len(t_s), dtype=np.float64), t_s), 0, 0, 0.0, True)
    usual = float(np.median(steps))
    step = _search(t_s, float(np.mean(steps[steps <= _CUT * usual])))
    if step is None:
        return _without_beat(steps)
    step, phase = _refine(t_s, step)
    return _count(t_s, steps, step, phase)


def _blocks(t_s: Floats) -> Floats:
    """(blocks, rows) the stamps in blocks of equal length, a remainder left out."""
    rows = min(_BLOCK, len(t_s))
    return t_s[: len(t_s) // rows * rows].reshape(-1, rows)


def _search(t_s: Floats, guess: float) -> float | None:
    """The step near the guess whose phases agree best within blocks, or None if none stands out."""
    blocks = _blocks(t_s)
    blocks = blocks[:: max(1, len(blocks) // _SEARCH_BLOCKS)]
    rows = blocks.shape[1]
    blocks = blocks - blocks.mean(axis=1, keepdims=True)
    turns = np.arange(*_SEARCH, _FINENESS / rows)
    # one frequency after another is a rotation by a fixed angle: multiply instead of calling exp again
    phasor = np.exp(2j * np.pi * turns[0] / guess * blocks)
    turn = np.exp(2j * np.pi * (turns[1] - turns[0]) / guess * blocks)
    beats = np.empty(len(turns))
    for i in range(len(turns)):
        beats[i] = np.abs(phasor.mean(axis=1)).mean()
        phasor *= turn
    best = int(np.argmax(beats))
    mean, scatter = _RANDOM_BEAT
    if beats[best] < (mean + scatter / np.sqrt(len(blocks))) / np.sqrt(rows):
        return None
    return guess / float(turns[best])


def _refine(t_s: Floats, step: float) -> tuple[float, Floats]:
    """The step from the drift of phase over all blocks, and the beat's phase in turns at every stamp (n,)."""
    blocks = _blocks(t_s)
    middle = blocks.mean(axis=1)
    for _ in range(2):
        turns = np.unwrap(np.angle(np.exp(2j * np.pi / step * blocks).mean(axis=1))) / (2 * np.pi)
        if len(middle) > 1:
            step = 1.0 / (1.0 / step - _slope(middle, turns))
    turns = np.unwrap(np.angle(np.exp(2j * np.pi / step * blocks).mean(axis=1))) / (2 * np.pi)
    return step, np.interp(t_s, middle, turns)


def _count(t_s: Floats, steps: Floats, step: float, phase: Floats) -> Rate:
    """Empty places on the beat."""
    empty = _smooth(np.rint(t_s / step - phase) - np.arange(len(t_s), dtype=np.float64))
    lost = max(0, int(empty[-1] - empty[0]))
    at = np.diff(empty) > 0
    longest = float(steps[at].max()) if lost and at.any() else 0.0
    return Rate(step, lost, int(np.count_nonzero(at)) if lost else 0, longest, True)


def _smooth(values: Floats) -> Floats:
    """Running median, computed only where values change."""
    half = _AROUND // 2
    changed = np.flatnonzero(np.diff(values))
    if not len(changed):
        return values
    near = np.zeros(len(values), dtype=bool)
    for offset in range(-half, half + 2):
        near[np.clip(changed + offset, 0, len(values) - 1)] = True
    at = np.flatnonzero(near)
    padded = np.pad(values, half, mode="edge")
    out = values.copy()
    out[at] = np.median(np.lib.stride_tricks.sliding_window_view(padded, _AROUND)[at], axis=1)
    return out


def _slope(x: Floats, y: Floats) -> float:
    x = x - x.mean()
    return float(np.sum(x * (y - y.mean())) / np.sum(x * x))


def _without_beat(steps: Floats) -> Rate:
    """Event-driven stamps: the mean rate outside gaps, and gaps only where the step is far above any
    other."""
    limit = _EVENT_GAP * float(np.mean(steps[steps <= np.quantile(steps, 0.98)]))
    whole = steps <= limit
    step = float(np.mean(steps[whole]))
    lost = np.where(whole, 0.0, np.maximum(0.0, np.rint(steps / step) - 1.0))
    longest = float(steps[~whole].max()) if lost.any() else 0.0
    return Rate(step, int(lost.sum()), int(np.count_nonzero(lost)), longest, False)

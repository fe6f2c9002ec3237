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

from dataclasses import dataclass, replace

import numpy as np

from vibecore.model import Floats

_CALM_STEP = 0.2  # if every step is this near the mean one, nothing is lost and no search is needed
_BLOCK = 256  # stamps to a block: jitter averages out sixteenfold, slow clock drift stays small
_SEARCH = (0.96, 1.12)  # the true rate over the first guess, which single lost samples make too low
_AT_LEAST = 0.998  # of the mean rate, for the jitter of the first and last stamp
_ALIKE = 0.8  # of the highest peak: less than a peak loses between two trial rates
_FINENESS = 0.5  # of the width of the peak in rate: a tenth of its height is lost at most
_SEARCH_BLOCKS = 16
_NEAR = 0.75  # of the usual step: nearer to one step than to two
# Mean phasor of stamps at random (Rayleigh: sqrt(pi)/2), and four times its scatter.
_RANDOM_BEAT = (0.89, 1.9)
_NEIGHBOURS = 1.5  # times the usual distance of two blocks: further apart there is a gap between them
_AROUND = 11  # places whose median smooths out single late or early stamps
_WHOLE = 0.02  # of a unit: what is left of it in printed fractions
_ROUNDED = 1.2  # units between the earliest and the latest stamp of a block, 1 but for the clock's own drift
_MOSTLY = 0.6  # of the blocks: those over gaps are not even
_MORE = 2  # gaps than rows left out
_BESIDE = 1.02  # units to a step: nearer to one the unit is the beat
_EVENT_GAP = 8.0  # without a beat, only a step over so many mean ones is a gap
_ORDINARY = 0.98  # share of the steps, the shorter ones: gaps are few and long
_POLLED_GAP = 3.0  # a polled or rounded step may be twice the mean one with nothing lost


@dataclass(frozen=True)
class Rate:
    """step_s: time between samples. lost: samples missing in all; gaps: in how many places; steady: there
    is a beat."""

    step_s: float
    lost: int
    gaps: int
    longest_gap_s: float
    steady: bool


def find_rate(t_s: Floats, polled: bool = False, left_out: int = 0) -> Rate:
    """Rate of strictly increasing stamps (n,), n >= 3. `polled`: they are the times when a logger asked,
    which keep the logger's beat and not the sensor's. `left_out`: rows of the file that gave none."""
    steps = np.diff(t_s)
    if polled:
        return replace(_without_beat(steps, _POLLED_GAP), steady=True)
    mean = float(steps.mean())
    if float(np.abs(steps - mean).max()) <= _CALM_STEP * mean:
        return Rate(
            step_s=_slope(np.arange(len(t_s), dtype=np.float64), t_s),
            lost=0,
            gaps=0,
            longest_gap_s=0.0,
            steady=True,
        )
    if _is_rounded(t_s, steps, left_out):
        return replace(_without_beat(steps, _POLLED_GAP), steady=True)
    step = _search(t_s, _guess(steps), mean)
    if step is None:
        return _without_beat(steps, _EVENT_GAP)
    step, phase = _refine(t_s, step)
    return _count(t_s, steps, step, phase)


def _is_rounded(t_s: Floats, steps: Floats, left_out: int) -> bool:
    """Whether an even beat of more than one and less than two units of the stamps was rounded to them: 80 Hz
    in hundredths of a second step by 1, 1, 1, 2, and so do 100 Hz of which a fifth is lost. But no stamp of
    the even one is further than a unit from its place, and no rows were left out that would fill the gaps."""
    unit = float(np.median(steps))
    if np.count_nonzero(steps > 1.5 * unit) <= _MORE * left_out:
        return False
    if not np.all(np.abs(steps - unit * np.rint(steps / unit)) < _WHOLE * unit):
        return False
    blocks = _blocks(t_s)
    places = np.arange(blocks.shape[1]) - (blocks.shape[1] - 1) / 2
    slopes = (blocks @ places) / (places @ places)
    off = blocks - blocks.mean(axis=1, keepdims=True) - slopes[:, None] * places
    even = np.ptp(off, axis=1) <= _ROUNDED * unit
    return bool(np.mean(even) > _MOSTLY and np.median(slopes) > _BESIDE * unit)


def _guess(steps: Floats) -> float:
    """Mean of the steps near the usual one: jitter cancels, steps over a lost sample stay out."""
    guess = float(np.median(steps))
    for _ in range(3):
        near = steps[np.abs(steps - guess) <= _NEAR * guess]
        guess = float(np.mean(near)) if len(near) else guess
    return guess


def _blocks(t_s: Floats) -> Floats:
    """(blocks, rows) the stamps in blocks of equal length, a remainder left out."""
    rows = min(_BLOCK, len(t_s))
    return t_s[: len(t_s) // rows * rows].reshape(-1, rows)


def _search(t_s: Floats, guess: float, mean_step: float) -> float | None:
    """The step near the guess whose phases agree best within blocks, or None if none stands out. It is no
    longer than the mean step: there are no more samples than places for them."""
    blocks = _blocks(t_s)
    blocks = blocks[:: max(1, len(blocks) // _SEARCH_BLOCKS)]
    rows = blocks.shape[1]
    blocks = blocks - blocks.mean(axis=1, keepdims=True)
    low, high = _SEARCH
    turns = np.arange(max(low, _AT_LEAST * guess / mean_step), high, _FINENESS / rows)
    if len(turns) < 2:
        return None  # far more samples than places: the stamps are not of one clock
    # one frequency after another is a rotation by a fixed angle: multiply instead of calling exp again
    phasor = np.exp(2j * np.pi * turns[0] / guess * blocks)
    turn = np.exp(2j * np.pi * (turns[1] - turns[0]) / guess * blocks)
    beats = np.empty(len(turns))
    for i in range(len(turns)):
        beats[i] = np.abs(phasor.mean(axis=1)).mean()
        phasor *= turn
    # stamps rounded to a lattice, such as whole ms, fit two rates alike: the one nearer to the guess is meant
    padded = np.pad(beats, 1)
    peaks = np.flatnonzero((beats >= padded[:-2]) & (beats >= padded[2:]) & (beats >= _ALIKE * beats.max()))
    best = int(peaks[np.argmin(np.abs(turns[peaks] - 1.0))])
    mean, scatter = _RANDOM_BEAT
    if beats[best] < (mean + scatter / np.sqrt(len(blocks))) / np.sqrt(rows):
        return None
    # two rates of one lattice may be too near for the trial rates to part them: then the guess itself stands
    as_guessed = float(np.abs(np.exp(2j * np.pi / guess * blocks).mean(axis=1)).mean())
    return guess if as_guessed >= _ALIKE * beats.max() else guess / float(turns[best])


def _refine(t_s: Floats, step: float) -> tuple[float, Floats]:
    """The step from the drift of phase over all blocks, and the beat's phase in turns at every stamp (n,)."""
    blocks = _blocks(t_s)
    middle = blocks.mean(axis=1)
    turns = _turns(blocks, step)
    if len(middle) > 2:  # first from neighbours: over a long gap the phase may have slipped whole turns
        apart = np.diff(middle)
        near = apart <= _NEIGHBOURS * np.median(apart)
        step = 1.0 / (1.0 / step - float(np.diff(turns)[near].sum() / apart[near].sum()))
    for _ in range(2):
        turns = _turns(blocks, step)
        if len(middle) > 1:
            step = 1.0 / (1.0 / step - _slope(middle, turns))
    return step, np.interp(t_s, middle, _turns(blocks, step))


def _turns(blocks: Floats, step: float) -> Floats:
    """Phase of the beat in each block (blocks,), in turns."""
    return np.asarray(np.unwrap(np.angle(np.exp(2j * np.pi / step * blocks).mean(axis=1))) / (2 * np.pi))


def _count(t_s: Floats, steps: Floats, step: float, phase: Floats) -> Rate:
    """Empty places on the beat."""
    empty = _smooth(np.rint(t_s / step - phase) - np.arange(len(t_s), dtype=np.float64))
    lost = max(0, int(empty[-1] - empty[0]))
    at = np.diff(empty) > 0
    longest = float(steps[at].max()) if lost and at.any() else 0.0
    return Rate(
        step_s=step,
        lost=lost,
        gaps=int(np.count_nonzero(at)) if lost else 0,
        longest_gap_s=longest,
        steady=True,
    )


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


def _without_beat(steps: Floats, gap: float) -> Rate:
    """The mean rate outside gaps, which are steps over `gap` mean ones, far above any other."""
    whole = steps <= gap * float(np.mean(steps[steps <= np.quantile(steps, _ORDINARY)]))
    step = float(np.mean(steps[whole]))
    lost = np.where(whole, 0.0, np.maximum(0.0, np.rint(steps / step) - 1.0))
    longest = float(steps[~whole].max()) if lost.any() else 0.0
    return Rate(
        step_s=step,
        lost=int(lost.sum()),
        gaps=int(np.count_nonzero(lost)),
        longest_gap_s=longest,
        steady=False,
    )

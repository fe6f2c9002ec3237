"""The strongest lines of a sweep, followed while their frequency climbs and falls by up to a fifth a second.

The path is sought over frequency and rate of climb together (Viterbi's algorithm, as in `lines`): a line goes
on as it went, so that one which is crossed does not catch it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from vibecore.model import Floats, Signal
from vibecore.speed import lines, pattern

STEP = 0.01  # of a frequency, natural log: a quarter of a line's width at 40 Hz
RATES = np.arange(-5, 6)  # of climb, in steps a frame: 0.2 a second, from 700 to 2000 rpm in 5 s
TURNS = np.arange(-2, 3)  # rates that a line may change by from frame to frame
TURN_COST = 0.7  # of the score, for one rate: a foot on the pedal moves smoothly
LOWEST_HZ = 4.0
LEAST_SCORE = 0.5  # mean along a path: about twice the floor
EDGE = 0.95  # of the highest frequency seen: a line that comes nearer may have gone on beyond


@dataclass(frozen=True, eq=False)
class SweptLine:
    """A line's path (t_s, hz: (f,)) and its usual power over the floor, (1,)."""

    t_s: Floats
    hz: Floats
    height: Floats


def followed(signal: Signal, most: int) -> Iterator[SweptLine]:
    """The strongest lines of a signal (n, 3), each followed with those before it taken out."""
    rest = lines.frames(signal)
    highest_hz = pattern.highest_hz(signal.fs_hz)
    hz = np.exp(np.arange(np.log(LOWEST_HZ), np.log(highest_hz), STEP))
    for _ in range(most):
        score = _on_grid(rest, hz)
        place = _best_path(score)
        if score[np.arange(len(place)), place].mean() < LEAST_SCORE:
            return
        if hz[place].max() < EDGE * highest_hz:
            yield SweptLine(rest.t_s, hz[place], lines.height_along(rest, hz[place]))
        rest = lines.without(rest, hz[place])


def _on_grid(fr: lines.Frames, hz: Floats) -> np.ndarray:
    """The frames' score (f, k) at these frequencies (k,)."""
    place = hz / fr.df_hz
    below, part = place.astype(int), (place % 1).astype(np.float32)
    return np.asarray(fr.score[:, below] * (1 - part) + fr.score[:, below + 1] * part)


def _best_path(score: np.ndarray) -> np.ndarray:
    """Place in every frame, (f,), along the path of highest summed score (f, k): from frame to frame a line
    moves by its rate, and the rate by up to two."""
    count, places = score.shape
    source = np.arange(places) - RATES[:, None]
    outside = (source < 0) | (source >= places)
    source = source.clip(0, places - 1)
    cost = (TURN_COST * TURNS**2).astype(np.float32)[:, None, None]
    turned = np.empty((count, len(RATES), places), dtype=np.int8)
    total = np.repeat(score[:1], len(RATES), axis=0)
    padded = np.full((len(RATES) + len(TURNS) - 1, places), -np.inf, dtype=np.float32)
    inside = slice(-TURNS[0], -TURNS[0] + len(RATES))
    lanes = np.lib.stride_tricks.sliding_window_view(padded, len(RATES), axis=0).transpose(0, 2, 1)
    for i in range(1, count):
        padded[inside] = total
        options = lanes - cost
        turned[i] = np.take_along_axis(TURNS[options.argmax(axis=0)], source, axis=1)
        moved = np.take_along_axis(options.max(axis=0), source, axis=1)
        total = np.where(outside, np.float32(-np.inf), moved) + score[i]
    place = np.empty(count, dtype=int)
    rate, place[-1] = np.unravel_index(total.argmax(), total.shape)
    for i in range(count - 1, 0, -1):
        place[i - 1] = place[i] - RATES[rate]
        rate += turned[i, rate, place[i]]
    return place

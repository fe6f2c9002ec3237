"""The strongest lines of a sweep, followed while their frequency climbs and falls by up to a fifth a second.

A plain short spectrum smears such a line over several hertz. So each moment is also read along warped times,
along which a line that climbs at one steady rate stands still (the harmonic chirp transform; L. Weruaga and
M. Kepesi, Signal Processing 87, 2007, from memory), and the path is sought over frequency and rate of climb
together: a line that moves on as it was moving is told from one that it crosses.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy import fft

from vibecore.model import Floats, Signal
from vibecore.speed import lines, pattern

FRAMING = lines.Framing(frame_s=1.0, change_per_s=0.2, wander=1.0)
STEP = 0.01  # of a frequency, natural log: half a line's width at 40 Hz
CLIMB_STEP = STEP / FRAMING.hop_s  # a second: one rate further climbs one step more from frame to frame
CLIMBS = CLIMB_STEP * np.arange(-5, 6)  # 0.2 a second: from 700 to 2000 rpm in 5 s
TURNS = 2  # rates that a line may change by from frame to frame
TURN_COST = 0.7  # of the score, for one rate: a foot on the pedal moves smoothly
LOWEST_HZ = 4.0
EDGE = 0.95  # of the highest frequency seen: a line that comes nearer may have gone on beyond
ZERO_PAD = 4
LEAST_SCORE = 0.5  # mean along a path: log(1 + power / 3), about twice the floor


@dataclass(frozen=True, eq=False)
class Climbing:
    """t_s (f,): middles of the frames. hz (k,): evenly spaced in the logarithm. score (r, f, k): how much
    stands there for each rate of climb."""

    t_s: Floats
    hz: Floats
    score: np.ndarray


@dataclass(frozen=True, eq=False)
class Followed:
    """A line's path (t_s, hz: (f,)) and its usual power over the floor."""

    t_s: Floats
    hz: Floats
    height: float


def followed(signal: Signal, most: int) -> Iterator[Followed]:
    """The strongest lines of a signal (n, 3), each followed with those before it taken out."""
    rest = climbing(signal)
    for _ in range(most):
        rate, place = _best_path(rest.score)
        score = rest.score[rate, np.arange(len(rate)), place]
        if score.mean() < LEAST_SCORE:
            return
        power = lines.SOFTENING * float(np.expm1(np.median(score)))
        if rest.hz[place].max() < EDGE * rest.hz[-1]:
            yield Followed(rest.t_s, rest.hz[place], max(1.0, lines.HEIGHT_TRUSTED * power))
        rest = _without(rest, rest.hz[place])


def climbing(signal: Signal) -> Climbing:
    """Short spectra of a signal (n, 3) along each warped time, whitened as in `lines.frames`."""
    size, hop = (round(s * signal.fs_hz) for s in (FRAMING.frame_s, FRAMING.hop_s))
    n_fft = fft.next_fast_len(ZERO_PAD * size, real=True)
    hz = np.exp(np.arange(np.log(LOWEST_HZ), np.log(pattern.highest_hz(signal.fs_hz)), STEP))
    place = hz * n_fft / signal.fs_hz
    axes = signal.accel_m_s2.T.astype(np.float32)
    cut = np.lib.stride_tricks.sliding_window_view(axes, size, axis=1)[:, ::hop]
    floors = [lines.floor_of(axis, signal.fs_hz / n_fft) for axis in _power(cut, 0.0, signal.fs_hz, n_fft)]
    score = np.empty((len(CLIMBS), cut.shape[1], len(hz)), dtype=np.float32)
    below, part = place.astype(int), (place % 1).astype(np.float32)
    for i, climb in enumerate(CLIMBS):
        power = _power(cut, float(climb), signal.fs_hz, n_fft)
        white = sum((axis / floor for axis, floor in zip(power, floors, strict=True))) / len(power)
        rated = np.log1p(white / lines.SOFTENING)
        score[i] = rated[:, below] * (1 - part) + rated[:, below + 1] * part
    t_s: Floats = (np.arange(cut.shape[1], dtype=float) * hop + size / 2) / signal.fs_hz
    return Climbing(t_s, hz, score)


def _power(cut: np.ndarray, climb: float, fs_hz: float, n_fft: int) -> np.ndarray:
    """Power (3, f, b) of frames (3, f, n) along the time u = t + climb t^2 / 2, in which a line that climbs
    at this rate is steady."""
    size = cut.shape[2]
    even = (np.arange(size) - size / 2) / fs_hz
    at_s = even if climb == 0 else (np.sqrt(1 + 2 * climb * even) - 1) / climb
    at = np.clip(at_s * fs_hz + size / 2, 0, size - 1)
    low = np.minimum(at.astype(int), size - 2)
    part = (at - low).astype(np.float32)
    window = np.hanning(size + 1)[:size].astype(np.float32)
    spectra = fft.rfft((cut[:, :, low] * (1 - part) + cut[:, :, low + 1] * part) * window, n_fft, axis=2)
    return np.asarray(spectra.real**2 + spectra.imag**2)


def _best_path(score: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rate and place in every frame, (f,) each, along the path of highest summed score: from frame to frame a
    line moves by its rate, and the rate by up to TURNS."""
    rates, count, places = score.shape
    shift = np.arange(rates) - rates // 2
    source = np.arange(places) - shift[:, None]
    outside = (source < 0) | (source >= places)
    source = source.clip(0, places - 1)
    turn = np.arange(-TURNS, TURNS + 1)
    cost = (TURN_COST * turn**2).astype(np.float32)[:, None, None]
    came_from = np.empty((count, rates, places), dtype=np.int8)
    total = score[:, 0].copy()
    padded = np.full((rates + 2 * TURNS, places), -np.inf, dtype=np.float32)
    for i in range(1, count):
        padded[TURNS : TURNS + rates] = total
        options = np.stack([padded[TURNS + d : TURNS + d + rates] for d in turn]) - cost
        came_from[i] = np.take_along_axis(turn[options.argmax(axis=0)], source, axis=1)
        total = np.where(outside, -np.inf, np.take_along_axis(options.max(axis=0), source, axis=1))
        total = total + score[:, i]
    rate, place = np.empty((2, count), dtype=int)
    rate[-1], place[-1] = np.unravel_index(total.argmax(), total.shape)
    for i in range(count - 1, 0, -1):
        place[i - 1] = place[i] - shift[rate[i]]
        rate[i - 1] = rate[i] + came_from[i, rate[i], place[i]]
    return rate, place


def _without(rated: Climbing, path_hz: Floats) -> Climbing:
    """With a line that was followed (f,) taken out at every rate, to the first null on each side."""
    near = np.abs(rated.hz - path_hz[:, None]) < lines.MAIN_LOBE / FRAMING.frame_s
    return replace(rated, score=np.where(near, np.float32(0), rated.score))

"""From a path good to half a percent to a crank angle good to a few degrees, by the phase of the orders.

Along the trial angle each order is a slowly turning phasor; how fast it still turns, divided by the order, is
what the trial speed lacks. First the turning from window to window is read, which cannot slip; then the phase
itself, which is far finer. Orders vote by what their height over the floor says of their phase's error,
    var(phase) = 1 / (2 x signal-to-noise power),
and a penalised least-squares smoother (E. T. Whittaker, 1923; P. Eilers, Analytical Chemistry, 2003) joins
the votes with how steadily a crank can turn: where the lines are weak it trusts inertia, where they are
strong the lines.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg

from vibecore.model import Flags, Floats, Signal
from vibecore.runs import runs
from vibecore.speed.bands import WINDOW_HOPS, Bands, Windows, windowed

LEAST_WINDOWS = 6
MOST_ORDERS = 4
COARSE_ORDERS = 2  # the strongest two are enough for the first round
LEAST_SNR = 0.02
VANISHED = 0.05  # of the usual power, 13 dB down: the orders' phase is no longer theirs
# Usual is what a line has in its better windows: it may be left for most of the time, and knocks are few.
# Burning that varies (power like an exponential) falls as low as GONE of that in 1 of 30 windows.
HELD_QUANTILE, GONE = 0.8, 0.02
# How much the speed's slope changes from hop to hop, as a share of the speed: an idle that wanders by 0.7 %
# over a second or so; common practice. Strong lines override it.
RESTLESS = 0.003
EDGE_SHARE = 1.0  # of the usual wander: a speed carried on for 0.4 s is not wholly forgotten
AT_ONE = 0.5  # mean cosine to the phase beside it: a line goes on within 60 degrees, noise in one of five
LEAST_ON = 0.75  # share of a sweep in which its phase must go on: below, the path left the line somewhere
WHOLE = 0.8  # share of a window's samples that must be good for its power to mean anything
LONG_CUT_S = 0.8  # a window's length: over less some window on either side reaches across
UNREFINED = 0.02  # of the speed: standard error of the mean of a path whose phase was not read
MOST_STRENGTH = 4.0  # of an order's usual power: no window counts for more, however loud
SWING = 2.0  # on the error: the smoother's model is not exact


@dataclass(frozen=True, eq=False)
class Refined:
    """t_s, speed_hz (m,): nodes joined by straight lines. mean_error_hz: standard error of the mean speed.
    silent: share of the time in which the strongest order all but vanishes; away: the same in one stretch."""

    t_s: Floats
    speed_hz: Floats
    mean_error_hz: float
    silent: float = 0.0
    away: float = 0.0


def refine(
    bands: Bands,
    t_s: Floats,
    speed_hz: Floats,
    orders: Floats,
    snr_1s: Floats,
    rounds: int = 2,
    swept: bool = False,
) -> Refined:
    """Refine a speed path (t_s, speed_hz: (f,), times from the signal's first sample).

    orders, snr_1s (k,): orders to follow, and each one's power over the noise within one second's resolution.
    rounds: the first reads turning, the later ones phase. swept: levels rise and fall as orders pass modes.
    """
    hop_s = bands.windows.hop_s
    if len(bands.windows.middle_s) < LEAST_WINDOWS:
        return Refined(t_s, speed_hz, UNREFINED * float(speed_hz.mean()))
    node_t = _nodes(bands)
    speed = np.interp(node_t, t_s, speed_hz)
    snr = np.maximum(snr_1s * WINDOW_HOPS * hop_s, LEAST_SNR)
    restless = RESTLESS * float(speed.mean()) * hop_s
    error = UNREFINED * float(speed.mean())
    for i in range(rounds):
        use = slice(COARSE_ORDERS if i == 0 else None)
        phasors = _phasors(bands, node_t, speed, orders[use])
        if i == 0:
            turning, weight = _turning(phasors, orders[use], snr[use])
            step, _ = _smooth(turning, weight, restless, 2)
        else:
            phase, turned_error = _phase(phasors, orders, snr, restless)
            step, error = np.diff(phase), _mean_error_hz(turned_error, speed, bands)
        speed = speed + np.pad(step, 2, mode="edge") / hop_s
    gone = _gone(phasors, snr[: len(phasors)], _whole(bands.signal, bands.windows), swept)
    longest = float(np.diff(runs(gone)).max(initial=0))
    return Refined(node_t, speed, error, float(np.mean(gone)), longest / len(gone))


def _nodes(bands: Bands) -> Floats:
    """Times (m + 3,) of the nodes: between the middles of the m windows, and on to both ends of the signal in
    two steps each, so that no two nodes lie more than half a second apart."""
    middle, end_s = bands.windows.middle_s, _end_s(bands.signal)
    between = 0.5 * (middle[1:] + middle[:-1])
    ends = 0.5 * between[:1], 0.5 * (between[-1:] + end_s)
    return np.concatenate(([0.0], ends[0], between, ends[1], [end_s]))


def _end_s(signal: Signal) -> float:
    """Time of the last sample."""
    return (len(signal.accel_m_s2) - 1) / signal.fs_hz


def _mean_error_hz(turned_error: float, speed_hz: Floats, bands: Bands) -> float:
    """Standard error of the mean speed. turned_error: of the angle from the first window to the last, in
    revolutions. Before the first window's middle, after the last one's and where long stretches were cut out
    the speed is only carried on."""
    middle = bands.windows.middle_s
    error = SWING * turned_error / float(middle[-1] - middle[0])
    carried_s = WINDOW_HOPS / 2 * bands.windows.hop_s + _cut_out_s(bands.signal)
    wander = float(np.std(speed_hz)) * np.sqrt(2) * carried_s / _end_s(bands.signal)
    return float(np.hypot(error, EDGE_SHARE * wander))


def _cut_out_s(signal: Signal) -> float:
    """Time (s) of the long stretches that were cut out; over short ones a speed is carried on faithfully."""
    runs_s = np.diff(runs(~signal.good)).ravel() / signal.fs_hz
    at_ends = np.zeros(len(runs_s), dtype=bool)
    if len(runs_s):
        at_ends[0], at_ends[-1] = not signal.good[0], at_ends[-1] or not signal.good[-1]
    return float(runs_s[(runs_s > LONG_CUT_S) | at_ends].sum())


def _gone(phasors: np.ndarray, snr: Floats, whole: Flags, swept: bool) -> Flags:
    """Whether the strongest order all but vanishes, of each whole window: what was cut out tells nothing. The
    others may not speak for it: where the speed changed half-way one that begins would hide it. Only in a
    sweep, where each passes a mode at its own time, they may, if its own phase still goes on."""
    if not whole.any():
        return np.ones(1, dtype=bool)
    power = np.abs(phasors) ** 2
    weak = power < GONE * np.quantile(power[:, whole], HELD_QUANTILE, axis=1, keepdims=True)
    best = int(np.argmax(snr))
    if swept:
        goes_on = _goes_on(phasors)
        if goes_on[best, whole].mean() < LEAST_ON:
            return np.ones(1, dtype=bool)
        weak[best] &= ~(goes_on[best] & (goes_on & ~weak).any(axis=0))
    return np.asarray(weak[best, whole])


def _goes_on(phasors: np.ndarray) -> Flags:
    """Where (k, m) the phase is about that of the nearest windows which share no sample with this one."""
    unit = np.exp(1j * np.angle(phasors))
    alike = np.real(unit[:, WINDOW_HOPS:] * unit[:, :-WINDOW_HOPS].conj())
    before, after = ((0, 0), (WINDOW_HOPS, 0)), ((0, 0), (0, WINDOW_HOPS))
    total = np.pad(alike, before) + np.pad(alike, after)
    sides = np.pad(np.ones(alike.shape), before) + np.pad(np.ones(alike.shape), after)
    return np.asarray(total > AT_ONE * sides)


def _whole(signal: Signal, windows: Windows) -> Flags:
    """Which windows (m,) are of good samples."""
    good = np.concatenate(([0.0], np.cumsum(signal.good)))
    half = WINDOW_HOPS / 2 * windows.hop_s
    ends = [(windows.middle_s + side) * signal.fs_hz for side in (-half, half)]
    first, last = (np.rint(e).astype(int).clip(0, len(good) - 1) for e in ends)
    return np.asarray(good[last] - good[first] >= WHOLE * (last - first))


def crank_angle(sample_t: Floats, node_t: Floats, speed_hz: Floats) -> Floats:
    """Angle (n,) in revolutions at rising times, from speeds at node times joined by straight lines."""
    step = np.diff(node_t)
    at_nodes = np.concatenate(([0.0], np.cumsum(0.5 * (speed_hz[1:] + speed_hz[:-1]) * step)))
    begins = np.searchsorted(sample_t, node_t[1:-1])
    index = np.repeat(np.arange(len(step)), np.diff(begins, prepend=0, append=len(sample_t)))
    since = sample_t - node_t[index]
    slope = (np.diff(speed_hz) / step)[index]
    return at_nodes[index] + speed_hz[index] * since + 0.5 * slope * since**2


def _phasors(bands: Bands, node_t: Floats, speed_hz: Floats, orders: Floats) -> np.ndarray:
    """(k, m): each order's phasor in each window, along the direction in which it mostly shakes."""
    out = np.empty((len(orders), len(bands.windows.middle_s)), dtype=complex)
    for i, order in enumerate(orders):
        series, t, zero_hz = bands.around(order * float(speed_hz.min()), order * float(speed_hz.max()))
        turns = order * crank_angle(t, node_t, speed_hz) - zero_hz * t
        vectors = windowed(series * np.exp(-2j * np.pi * turns), bands.windows.hops)
        _, directions = np.linalg.eigh(vectors @ vectors.conj().T)
        out[i] = directions[:, -1].conj() @ vectors
    return out


def _turning(phasors: np.ndarray, orders: Floats, snr: Floats) -> tuple[Floats, Floats]:
    """Revolutions still turned from window to window (m - 1,), and the weight of each reading."""
    cross = phasors[:, 1:] * np.conj(phasors[:, :-1])
    turned = np.angle(cross) / (2 * np.pi * orders[:, None])
    strength = np.abs(cross) / np.maximum(np.abs(cross).mean(axis=1, keepdims=True), 1e-30)
    weight = (2 * np.pi * orders[:, None]) ** 2 * snr[:, None] * np.minimum(strength, MOST_STRENGTH)
    total = weight.sum(axis=0)
    return (weight * turned).sum(axis=0) / np.maximum(total, 1e-12), total


def _phase(phasors: np.ndarray, orders: Floats, snr: Floats, restless: float) -> tuple[Floats, float]:
    """Angle still lacking at each window (m,), revolutions, and the error of its change end to end."""
    power = np.abs(phasors) ** 2
    strength = power / np.maximum(power.mean(axis=1, keepdims=True), 1e-30)
    weight = 2 * (2 * np.pi * orders[:, None]) ** 2 * snr[:, None] * np.minimum(strength, MOST_STRENGTH)
    best = int(np.argmax(snr * orders**2))
    lead = _unwrapped(phasors[best], strength[best]) / (2 * np.pi * orders[best])
    lead, _ = _smooth(lead, weight[best], restless, 3)
    # The others are read relative to the lead, so that each needs no unwrapping of its own.
    rest = np.angle(phasors * np.exp(-2j * np.pi * orders[:, None] * lead))
    centre = np.angle(np.sum(np.exp(1j * rest) * weight, axis=1))[:, None]
    lacking = np.angle(np.exp(1j * (rest - centre))) / (2 * np.pi * orders[:, None])
    total = weight.sum(axis=0)
    step, error = _smooth((weight * lacking).sum(axis=0) / np.maximum(total, 1e-9), total, restless, 3)
    # Readings that stray from the joint line by more than their weights allow (a body's resonance turns the
    # phase as the speed wanders, burning varies) make the answer as much less sure: Birge's ratio.
    misfit = float(np.sqrt(np.mean(weight * (lacking - step) ** 2)))
    return lead + step, error * max(1.0, misfit)


def _unwrapped(phasor: np.ndarray, strength: Floats) -> Floats:
    """Phase (m,) without jumps, counted over the windows that hold the order: in a knock that was cut out, or
    where two lines beat it down, the phase is anyone's and would slip whole turns."""
    at = np.arange(len(phasor))
    held = strength > VANISHED
    if np.count_nonzero(held) < LEAST_WINDOWS:
        held[:] = True
    return np.asarray(np.interp(at, at[held], np.unwrap(np.angle(phasor[held]))))


def _smooth(values: Floats, weight: Floats, restless: float, degree: int) -> tuple[Floats, float]:
    """Whittaker smoother: weights are inverse variances, `restless` the standard deviation of the degree-th
    difference. Returns the smooth series and the standard error of last minus first."""
    count = len(values)
    difference = np.array([(-1) ** i * _choose(degree, i) for i in range(degree + 1)], dtype=float)
    bands = np.zeros((degree + 1, count))
    bands[degree] = weight + 1e-9
    for gap in range(degree + 1):
        for i in range(degree + 1 - gap):
            bands[degree - gap, gap + i : count - degree + gap + i] += (
                difference[i] * difference[i + gap] / restless**2
            )
    ends = np.zeros(count)
    ends[0], ends[-1] = -1.0, 1.0
    solved = linalg.solveh_banded(bands, np.stack((weight * values, ends), axis=1))
    return solved[:, 0], float(np.sqrt(max(float(solved[-1, 1] - solved[0, 1]), 0.0)))


def _choose(n: int, k: int) -> int:
    return {2: (1, 2, 1), 3: (1, 3, 3, 1)}[n][k]

"""Which multiple is it? How well a speed explains the lines seen along its own crank angle.

A speed track gives a crank angle; over that angle every order of the engine is a sharp line. A hypothesis
'the crank turns so fast' puts a tooth at each half order. What stands at each tooth, a level or nothing over
the floor, is judged by what this layout shows in a few plain states (sound, one cylinder weak, uneven, out
of balance), against the chance that some stray line stands just there. Lines off the teeth are strays under
every hypothesis and cancel. One line alone fits many speeds and stays undecided; a family does not.

The states' levels are common practice, no source; their spread (a body passes one order 10 dB better than its
neighbour) is wide on purpose.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from scipy import fft, special

from vibecore import hann
from vibecore.constants import USABLE_SHARE
from vibecore.engine import Engine
from vibecore.model import Floats, Signal
from vibecore.speed.bands import FINER


@dataclass(frozen=True)
class EngineState:
    """What an engine shows when it is so: dB of order 0.5, of order 1, of the other orders below and above
    the firing order, and of the firing order itself, all re the state's leading order."""

    name: str
    share: float
    lead_db: float
    half: float
    one: float
    below: float
    above: float
    firing: float = 0.0
    offsets: tuple[tuple[float, float, float], ...] = ((1.0, 0.0, 0.0),)


LEAST_BLOCK_S, MOST_BLOCK_S = 4.0, 9.0  # Hann: a line is 1.44 / block wide, 0.16 Hz at the longest
BLOCKS = 5.0  # wanted, to average noise
ZERO_PAD = 2  # points a line width; a peak is looked for one point to each side of a tooth
FLOOR_HALF_WIDTH_HZ = 4.0  # just short of the next half order at 500 rpm
FLOOR_QUANTILE = 30.0
# Times the floor: with ten blocks of three axes noise alone passes it less than once in 10,000 bins.
SEEN = 3.0
HIGHEST_HZ = 88.0  # orders above it say nothing about idle speed that those below do not
STRAY_SHAPE = 2.0  # of the gamma distribution: a calm recording has few, a road full of them
STRAY_LINES = 4.0  # expected in a recording, anywhere over the orders looked at
STRAY_HEIGHT_DB = 10.0  # over the floor, on average: stray lines are mostly weak (exponential distribution)
SPREAD_DB = 8.0  # from one order to the next: the body's resonances
LEAD_SPREAD_DB = 9.0  # of the leading order, from car to car and place to place
# Density of Student's t with four degrees of freedom at its middle: gamma(5/2) / (2 sqrt(pi)).
T4_PEAK = 0.375
HIDDEN_DB = 3.0  # over the floor: a line lower than this is not told from it
# Each further firing harmonic re the one before, in equal shares.
FIRING_HARMONICS_DB = (0.0, -7.0, -14.0, -30.0)
# How even its cylinders are differs from engine to engine and moves all its half orders together; how well
# its crank is balanced moves the whole orders below the firing order. Each pair of offsets (dB) is taken in
# turn, with its share; in the last neither shows at all.
EVENNESS = ((0.25, 0.0), (0.3, -12.0), (0.25, -24.0), (0.2, -40.0))
BALANCE = ((0.4, 0.0), (0.35, -14.0), (0.25, -28.0))
SMOOTH = (0.2, -40.0, -44.0)
OFFSETS = (*(((1 - SMOOTH[0]) * p * q, even, whole) for p, even in EVENNESS for q, whole in BALANCE), SMOOTH)
# What is out of balance forces order 1 alone: no other whole order need show.
UNBALANCED = tuple((p * q, even, whole) for p, even in EVENNESS for q, whole in BALANCE)
HARD = ((0.25, 0.0, 0.0), (0.25, 0.0, -14.0), (0.25, -14.0, 0.0), (0.25, -14.0, -14.0))
# Level of the leading order (dB re 1 m/s2 rms), and of the others re the leading order.
STATES = (
    EngineState("sound", 0.60, -18.0, half=-14.0, one=-12.0, below=-20.0, above=-30.0, offsets=OFFSETS),
    EngineState("hard mount", 0.08, -5.0, half=-26.0, one=-24.0, below=-30.0, above=-36.0, offsets=HARD),
    EngineState("uneven", 0.08, -18.0, half=-2.0, one=-4.0, below=-8.0, above=-18.0),
    EngineState("weak cylinder", 0.16, -9.0, firing=-10.0, half=-5.0, one=-5.0, below=-16.0, above=-26.0),
    EngineState(
        "unbalance",
        0.08,
        -10.0,
        firing=-12.0,
        half=-14.0,
        one=0.0,
        below=-24.0,
        above=-30.0,
        offsets=UNBALANCED,
    ),
)
# What fires at uneven angles shows further orders of its firing when sound, as strong as any.
FIRES_UNEVENLY = replace(STATES[0], name="fires unevenly", lead_db=-15.0, half=-2.0, one=-6.0, above=-10.0)
THREE_ROCKS_DB = -8.0  # order 1 of a three-cylinder engine when sound: its rocking couple


@dataclass(frozen=True, eq=False)
class OrderSpectrum:
    """Order spectrum (m,) along a trial angle: height over the floor, level and floor in one line width."""

    orders: Floats
    height: Floats
    level_db: Floats
    floor_db: Floats
    block_s: float

    def at(self, teeth: Floats) -> tuple[np.ndarray, Floats, Floats]:
        """For each tooth (k,): does a line peak there, its level (dB re 1 m/s2 rms), the floor's level."""
        tooth = np.rint(teeth / self.orders[1]).astype(int)
        place = (tooth[:, None] + np.arange(-3, 4)).clip(1, len(self.orders) - 1)
        best = self.height[place].argmax(axis=1)
        at = place[np.arange(len(place)), best]
        seen = (np.abs(best - 3) <= 1) & (self.height[at] > SEEN)
        return seen, self.level_db[at], self.floor_db[tooth.clip(1, len(self.orders) - 1)]

    @cached_property
    def peaks(self) -> int:
        """How many lines stand in it, on teeth or not."""
        h = self.height
        return int(np.sum((h[1:-1] > SEEN) & (h[1:-1] > h[:-2]) & (h[1:-1] >= h[2:])))

    def strays(self, count: int) -> float:
        """Log likelihood of just this many stray lines in their places: their number is Poisson, at a rate
        that is itself not known (gamma, STRAY_LINES on average): a crowded spectrum proves little."""
        cells = len(self.orders) / 3  # a tooth takes in three points
        spread = STRAY_SHAPE * cells / STRAY_LINES
        return float(special.gammaln(count + STRAY_SHAPE) - (count + STRAY_SHAPE) * np.log(cells + spread))


def highest_hz(fs_hz: float) -> float:
    """Up to where lines are looked for."""
    return min(USABLE_SHARE * fs_hz, HIGHEST_HZ)


def view(fine: Signal, angle_rev: Floats) -> OrderSpectrum:
    """Order spectrum along a trial crank angle (m,), in revolutions, of a signal brought to FINER times its
    rate (m, 3)."""
    fs_hz = fine.fs_hz / FINER
    duration = (len(angle_rev) - 1) / fine.fs_hz
    speed_hz = (angle_rev[-1] - angle_rev[0]) / duration
    per_rev = fs_hz / speed_hz  # at the signal's own rate
    even = np.arange(angle_rev[0], angle_rev[-1], 1 / per_rev)
    place = np.interp(even, angle_rev, np.arange(len(angle_rev)))
    first = place.astype(np.intp).clip(0, len(angle_rev) - 2)
    low, high = (fine.accel_m_s2.T.take(first + step, axis=1) for step in (0, 1))
    turns = (low + (place - first) * (high - low)).astype(np.float32)
    block_s = float(np.clip(duration / BLOCKS, LEAST_BLOCK_S, MOST_BLOCK_S))
    size = min(round(block_s * fs_hz), len(even))
    n_fft = fft.next_fast_len(ZERO_PAD * size, real=True)
    window = hann.periodic(size).astype(np.float32)
    blocks = np.lib.stride_tricks.sliding_window_view(turns, size, axis=1)[:, :: max(1, size // 2)]
    lines = fft.rfft(blocks * window, n_fft, axis=2)
    power = (lines.real**2 + lines.imag**2).mean(axis=1, dtype=float)
    power *= 2 / window.sum() ** 2  # a sine's mean square at its peak
    step = per_rev / n_fft
    keep = max(8, min(int(highest_hz(fs_hz) / speed_hz / step), power.shape[1]))
    power = power[:, :keep]
    floor = _floor(power, max(8, int(2 * FLOOR_HALF_WIDTH_HZ / speed_hz / step)))
    height = (power / floor).mean(axis=0)
    height /= max(1.0, float(np.median(height)))
    total, bare = power.sum(axis=0), floor.sum(axis=0)
    level = 10 * np.log10(np.maximum(total - bare, 1e-3 * bare))
    return OrderSpectrum(np.arange(keep) * step, height, level, 10 * np.log10(bare), size / fs_hz)


def _floor(power: Floats, width: int) -> Floats:
    """Low quantile of each axis (3, m) over windows of `width` points, joined by straight lines."""
    width = min(width, power.shape[1])
    hop = max(1, width // 4)
    lanes = np.lib.stride_tricks.sliding_window_view(power, width, axis=1)[:, ::hop]
    rank = int(FLOOR_QUANTILE / 100 * width)
    low = np.partition(lanes, rank, axis=2)[:, :, rank]
    middle = np.arange(low.shape[1]) * hop + width / 2
    at = np.arange(power.shape[1])
    floor = np.array([np.interp(at, middle, axis) for axis in low])
    return np.asarray(np.maximum(floor, 1e-10 * power.max() + 1e-30))


def log_likelihood(seen: OrderSpectrum, ratio: float, engine: Engine, speed_hz: float, fs: float) -> float:
    """Log likelihood ratio of 'the crank turns at ratio x the trial angle' against 'only stray lines'.

    speed_hz: mean crank speed of this hypothesis. Orders that would lie above half the rate are left out.
    """
    teeth = _teeth(engine, highest_hz(fs) / speed_hz)
    if not len(teeth):
        return -20.0
    there, level, floor = seen.at(teeth * ratio)
    table = _table(engine, len(teeth))
    lead = np.where((table.lead >= 0) & there[table.lead], table.lead, -1)
    shown = np.flatnonzero(there & (teeth <= 1.0))
    if len(shown):  # a weak cylinder leads with the stronger of orders 0.5 and 1
        lead[table.weak] = shown[level[shown].argmax()]
    rows = np.arange(len(lead))
    led = lead >= 0
    shift = np.where(led, level[lead] - table.relative[rows, lead], table.lead_db)
    expected = table.relative + shift[:, None]
    spread = np.full(expected.shape, SPREAD_DB)
    expected[rows[led], lead[led]] = table.lead_db[led]
    spread[rows[led], lead[led]] = LEAD_SPREAD_DB
    # A Student t with four degrees of freedom: heavy tails, so that no single order decides.
    density = T4_PEAK / spread * (1 + ((level - expected) / spread) ** 2 / 4) ** -2.5
    hidden = _t4_below((floor + HIDDEN_DB - expected) / spread)
    stray = np.exp(-np.maximum(level - floor, 0.0) / STRAY_HEIGHT_DB) / STRAY_HEIGHT_DB
    terms = np.where(there, density / stray, np.maximum(hidden, 1e-6))
    total = table.log_share + np.log(terms).sum(axis=1)
    crowd = max(seen.peaks, int(there.sum()))
    placed = seen.strays(crowd - int(there.sum())) - seen.strays(crowd)
    return float(total.max() + np.log(np.exp(total - total.max()).sum())) + placed


def _t4_below(x: Floats) -> Floats:
    """Distribution function of Student's t with four degrees of freedom, in closed form."""
    root = np.sqrt(1 + x**2 / 4)
    return np.asarray(0.5 + 0.375 * x / root * (1 - x**2 / (12 * root**2)))


@dataclass(frozen=True, eq=False)
class _Table:
    """For each state and variant (s): log share, levels (s, k) of the teeth re the leading order, the
    leading tooth (-1: too high to be seen), its own level, and which rows are those of a weak cylinder."""

    log_share: Floats
    relative: Floats
    lead: np.ndarray
    lead_db: Floats
    weak: np.ndarray


@lru_cache(maxsize=512)
def _table(engine: Engine, count: int) -> _Table:
    step = engine.cycle_order
    teeth: Floats = step * np.arange(1, count + 1, dtype=float)
    variants = [
        (state, share / len(FIRING_HARMONICS_DB), (even, whole), slope)
        for state in _states(engine)
        for share, even, whole in state.offsets
        for slope in FIRING_HARMONICS_DB
    ]
    leads = [1.0 if state.name == "unbalance" else engine.firing_order for state, *_ in variants]
    places = [round(lead / step) - 1 if lead < teeth[-1] + 0.1 else -1 for lead in leads]
    return _Table(
        np.log([state.share * share for state, share, _, _ in variants]),
        np.array([_relative(state, offsets, slope, engine, teeth) for state, _, offsets, slope in variants]),
        np.array(places),
        np.array([state.lead_db for state, *_ in variants]),
        np.array([state.name == "weak cylinder" for state, *_ in variants]),
    )


def _states(engine: Engine) -> list[EngineState]:
    """The states of this engine: where it may fire unevenly when sound, as often as its layouts do."""
    uneven, sound = engine.uneven_share, STATES[0]
    even, odd = (
        replace(s, share=sound.share * p) for s, p in ((sound, 1 - uneven), (FIRES_UNEVENLY, uneven))
    )
    return [state for state in (even, *STATES[1:], odd) if state.share]


def _relative(
    state: EngineState, offsets_db: tuple[float, float], slope_db: float, engine: Engine, teeth: Floats
) -> Floats:
    """Level (dB) of each tooth re the state's leading order. offsets_db: of half and of whole orders."""
    firing = engine.firing_order
    whole = np.isclose(teeth % 1.0, 0.0)
    relative = np.where(teeth < firing, state.below, state.above) + np.where(whole, *offsets_db[::-1])
    relative[np.isclose(teeth, 1.0)] = state.one + (offsets_db[1] if state.one else 0.0)
    relative[np.isclose(teeth, 0.5)] = state.half + offsets_db[0]
    if state.name == "sound" and engine.cylinders == 3:
        relative[np.isclose(teeth, 1.0)] = THREE_ROCKS_DB
    if state.name == FIRES_UNEVENLY.name:
        fired = [order for order, normal in engine.normal_orders().items() if normal.kind == "uneven firing"]
        relative[np.isclose(teeth[:, None], fired).any(axis=1)] = state.half
    multiple = teeth / firing
    harmonic = np.isclose(multiple, np.rint(multiple)) & (multiple > 0.5)
    relative[harmonic] = state.firing + slope_db * (multiple[harmonic] - 1)
    return relative


def _teeth(engine: Engine, highest: float) -> Floats:
    step = engine.cycle_order
    return np.arange(step, min(highest, 24.0) + 1e-9, step)


def telling(
    seen: OrderSpectrum, ratio: float, engine: Engine, speed_hz: float, fs: float, most: int
) -> tuple[Floats, Floats]:
    """The orders whose lines stand highest on this hypothesis' teeth, and each one's power over the noise
    within one second's resolution."""
    teeth = _teeth(engine, highest_hz(fs) / speed_hz)
    there, level, floor = seen.at(teeth * ratio)
    height = np.where(there, level - floor, -np.inf)
    ranked = [i for i in np.argsort(-height)[:most] if there[i]]
    return teeth[ranked], 10 ** (height[ranked] / 10) / seen.block_s


def orders_to_try(engine: Engine) -> Floats:
    """Orders (k,) that a strong line may be: up to the firing order's second harmonic, and to order 4."""
    return _teeth(engine, max(4.0, 2 * engine.firing_order))

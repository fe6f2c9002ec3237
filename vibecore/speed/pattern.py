"""Which multiple is it? How well a speed explains the lines seen along its own crank angle.

A speed track gives a crank angle; over that angle every order of the engine is a sharp line. A hypothesis
'the crank turns so fast' puts a tooth at each half order. What stands at each tooth, a level or nothing over
the floor, is judged by what this layout shows in a few plain states (sound, one cylinder weak, uneven, out of
balance), against the chance that some stray line stands just there. Lines off the teeth are strays under every
hypothesis and cancel. One line alone fits many speeds and stays undecided; a family of lines does not.

The states' levels are common practice, no source; their spread (a body passes one order 10 dB better than its
neighbour) is wide on purpose.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft, ndimage, special

from vibecore.engine import Engine
from vibecore.model import Floats, Signal

LEAST_BLOCK_REV, MOST_BLOCK_REV = 40.0, 90.0  # Hann: a line is 1.44 / block wide, 0.036 order at 40
BLOCKS = 5.0  # wanted, to average noise
ZERO_PAD = 2
FLOOR_HALF_WIDTH_ORDER = 0.45  # just short of the next half order
FLOOR_QUANTILE = 30.0
SEEN = (
    3.0  # times the floor: with ten blocks of three axes noise alone passes it less than once in 10,000 bins
)
TOOTH_WIDTH = 0.02  # orders, either side: how far a line's peak may lie from its tooth
HIGHEST_HZ = 110.0  # orders above it say nothing about idle speed that those below do not
USABLE_SHARE = 0.46  # of the sample rate
STRAY_LINES = 2.0  # expected in a recording, anywhere over the orders looked at
LEVEL_RANGE_DB = 50.0  # a stray line may have any level within this range
SPREAD_DB = 10.0
ANCHOR_SPREAD_DB = 9.0
FOLDED_SEEN = 0.3  # an order above half the rate passes the phone's own filter rather less than half the time
FOLDED_STRAY = 0.02  # chance that a stray line stands where the order folds to
FOLDED_HEIGHT = 6.0  # times the floor: five blocks of three axes, highest of three bins, one false in 1,000
FOLDED_REACH = 1.4  # of the sample rate: above it even a poor filter leaves nothing
# state: prior, level of its leading order (dB re 1 m/s2 rms), dB of the others re the leading order
STATES = {
    "sound": {"prior": 0.58, "lead_db": -18.0, "half": -18.0, "one": -16.0, "below": -26.0, "above": -36.0},
    "uneven": {"prior": 0.12, "lead_db": -18.0, "half": -4.0, "one": -6.0, "below": -10.0, "above": -20.0},
    "weak cylinder": {"prior": 0.16, "lead_db": -9.0, "firing": -10.0, "below": -16.0, "above": -26.0},
    "unbalance": {
        "prior": 0.14,
        "lead_db": -10.0,
        "firing": -12.0,
        "half": -22.0,
        "below": -34.0,
        "above": -40.0,
    },
}
FIRING_HARMONIC_DB = -9.0  # each further firing harmonic re the one before
THREE_ROCKS_DB = -8.0  # order 1 of a three-cylinder engine when sound: its rocking couple


@dataclass(frozen=True, eq=False)
class OrderView:
    """Order spectrum (m,) along a trial angle: height over the floor, mean square and floor per line width."""

    orders: Floats
    height: Floats
    level_db: Floats
    floor_db: Floats

    def at(self, teeth: Floats) -> tuple[np.ndarray, Floats, Floats]:
        """For each tooth (k,): whether a line peaks there, its level (dB re 1 m/s2 rms), the floor's level."""
        step = self.orders[1]
        reach = max(1, round(TOOTH_WIDTH / step))
        place = np.rint(teeth / step).astype(int)[:, None] + np.arange(-2 * reach - 1, 2 * reach + 2)
        place = place.clip(1, len(self.orders) - 1)
        best = self.height[place].argmax(axis=1)
        rows = np.arange(len(place))
        at = place[rows, best]
        centred = np.abs(best - (2 * reach + 1)) <= reach
        seen = centred & (self.height[at] > SEEN)
        return (
            seen,
            self.level_db[at],
            self.floor_db[np.rint(teeth / step).astype(int).clip(1, len(self.orders) - 1)],
        )


def view(signal: Signal, angle_rev: Floats) -> OrderView:
    """Order spectrum of a signal along a trial crank angle (n,), in revolutions."""
    speed_hz = (angle_rev[-1] - angle_rev[0]) / ((len(angle_rev) - 1) / signal.fs_hz)
    per_rev = max(4.0, np.ceil(signal.fs_hz / speed_hz))
    even = np.arange(angle_rev[0], angle_rev[-1], 1 / per_rev)
    turns = np.asarray([np.interp(even, angle_rev, axis) for axis in signal.accel_m_s2.T])
    block_rev = np.clip((angle_rev[-1] - angle_rev[0]) / BLOCKS, LEAST_BLOCK_REV, MOST_BLOCK_REV)
    size = min(round(block_rev * per_rev), len(even))
    n_fft = fft.next_fast_len(ZERO_PAD * size, real=True)
    window = np.hanning(size + 1)[:size]
    blocks = np.lib.stride_tricks.sliding_window_view(turns, size, axis=1)[:, :: max(1, size // 2)]
    power = (np.abs(fft.rfft(blocks * window, n_fft, axis=2)) ** 2).mean(axis=1)
    power *= 2 / window.sum() ** 2  # a sine's mean square at its peak
    step = per_rev / n_fft
    keep = max(8, int(min(USABLE_SHARE * signal.fs_hz, HIGHEST_HZ) / speed_hz / step))
    power = power[:, :keep]
    width = max(3, int(2 * FLOOR_HALF_WIDTH_ORDER / step))
    floor = ndimage.percentile_filter(power, FLOOR_QUANTILE, size=(1, width), mode="nearest")
    floor = np.maximum(floor, 1e-10 * power.max() + 1e-30)
    height = (power / floor).mean(axis=0)
    height /= max(1.0, float(np.median(height)))
    total, bare = power.sum(axis=0), floor.sum(axis=0)
    level = 10 * np.log10(np.maximum(total - bare, 1e-3 * bare))
    return OrderView(np.arange(keep) * step, height, level, 10 * np.log10(bare))


def log_likelihood(seen: OrderView, ratio: float, engine: Engine, speed_hz: float, fs: float) -> float:
    """Log likelihood ratio of 'the crank turns at ratio x the trial angle' against 'only stray lines'.

    speed_hz: mean crank speed of this hypothesis. Orders that would lie above half the rate are left out.
    """
    teeth = _teeth(engine, min(USABLE_SHARE * fs, HIGHEST_HZ) / speed_hz)
    if not len(teeth):
        return -20.0
    there, level, floor = seen.at(teeth * ratio)
    stray = min(0.5, STRAY_LINES * 2 * TOOTH_WIDTH * ratio / max(seen.orders[-1], 1.0))
    parts = [
        np.log(state["prior"]) + _state(name, state, engine, teeth, there, level, floor, stray)
        for name, state in STATES.items()
    ]
    return float(special.logsumexp(parts))


def folded_log_likelihood(signal: Signal, angle_rev: Floats, engine: Engine, speed_hz: float) -> float:
    """The same for the first two firing orders where they lie above half the rate and fold down.

    Samples of a turning phasor hold it whether or not it turns faster than half the rate, so it is read
    along the trial angle like any other order; whether the phone's own filter let it pass is not known.
    """
    total = 0.0
    for order in (engine.firing_order, 2 * engine.firing_order):
        if USABLE_SHARE * signal.fs_hz < order * speed_hz < FOLDED_REACH * signal.fs_hz:
            height = _height_along(signal, order * angle_rev, speed_hz)
            total += np.log(FOLDED_SEEN / FOLDED_STRAY) if height > FOLDED_HEIGHT else np.log(1 - FOLDED_SEEN)
    return float(total)


def _height_along(signal: Signal, turns: Floats, speed_hz: float) -> float:
    """Power of the phasor that turns with `turns` (n,), over the floor within a third of an order of it."""
    values = signal.accel_m_s2.T * np.exp(-2j * np.pi * turns)
    size = min(values.shape[1], round(LEAST_BLOCK_REV / speed_hz * signal.fs_hz))
    blocks = np.lib.stride_tricks.sliding_window_view(values, size, axis=1)[:, :: max(1, size // 2)]
    power = (np.abs(np.fft.fft(blocks * np.hanning(size), axis=2)) ** 2).mean(axis=1).sum(axis=0)
    near = max(4, int(speed_hz / 3 * size / signal.fs_hz))
    around = np.concatenate((power[4 : near + 4], power[-near - 3 : -3]))
    return float(power[[-1, 0, 1]].max() / np.median(around))


def _teeth(engine: Engine, highest: float) -> Floats:
    step = 1.0 if engine.strokes == 2 else 0.5
    return np.arange(step, min(highest, 24.0) + 1e-9, step)


def _state(
    name: str,
    state: dict[str, float],
    engine: Engine,
    teeth: Floats,
    there: np.ndarray,
    level: Floats,
    floor: Floats,
    stray: float,
) -> float:
    expected, lead = _expected(name, state, engine, teeth, there, level)
    log_stray = np.log(stray / LEVEL_RANGE_DB)
    spread = np.full(len(teeth), SPREAD_DB)
    if lead is not None:
        spread[lead] = ANCHOR_SPREAD_DB
    deviation = (level - expected) / spread
    # A Student t with four degrees of freedom: heavy tails, so that no single order decides.
    density = special.gammaln(2.5) - special.gammaln(2.0) - 0.5 * np.log(4 * np.pi) - np.log(spread)
    density = density - 2.5 * np.log1p(deviation**2 / 4)
    hidden = special.stdtr(4.0, (floor + 3.0 - expected) / spread)
    terms = np.where(there, density - log_stray, np.log(np.maximum(hidden, 1e-6)))
    return float(terms.sum())


def _expected(
    name: str, state: dict[str, float], engine: Engine, teeth: Floats, there: np.ndarray, level: Floats
) -> tuple[Floats, int | None]:
    """Expected level (dB) of each tooth in a state, given the level of the state's leading order if seen."""
    firing = engine.firing_order
    harmonic = np.isclose(teeth % firing, 0) | np.isclose(teeth % firing, firing)
    relative = np.where(teeth < firing, state["below"], state["above"])
    relative = np.where(np.isclose(teeth, 1.0), state.get("one", relative), relative)
    relative = np.where(np.isclose(teeth, 0.5), state.get("half", relative), relative)
    if name == "sound" and engine.cylinders == 3:
        relative = np.where(np.isclose(teeth, 1.0), THREE_ROCKS_DB, relative)
    base = state.get("firing", 0.0)
    relative = np.where(harmonic, base + FIRING_HARMONIC_DB * (teeth / firing - 1), relative)
    lead = _leading(name, firing, teeth, there, level)
    if lead is None:
        return relative + state["lead_db"], None
    if name == "weak cylinder":
        relative = np.where(teeth <= 1.0, -5.0, relative)
    relative[lead] = 0.0
    expected = relative + level[lead] if there[lead] else relative + state["lead_db"]
    expected[lead] = state["lead_db"]
    return expected, lead


def _leading(name: str, firing: float, teeth: Floats, there: np.ndarray, level: Floats) -> int | None:
    if name == "weak cylinder":
        low = np.flatnonzero(teeth <= 1.0)
        shown = [i for i in low if there[i]]
        if shown:
            return int(max(shown, key=lambda i: level[i]))
        return int(low[0]) if len(low) else None
    order = 1.0 if name == "unbalance" else firing
    at = np.flatnonzero(np.isclose(teeth, order))
    return int(at[0]) if len(at) else None


def expected_teeth(engine: Engine) -> tuple[Floats, Floats]:
    """Orders (k,) for the comb, and the weight (k,) of each: the chance that this engine shows it."""
    firing = engine.firing_order
    teeth = _teeth(engine, max(4.0, 2 * firing))
    chance = np.full(len(teeth), 0.4)
    chance[teeth <= 1] = 0.6
    chance[np.isclose(teeth, 2 * firing)] = 0.7
    chance[np.isclose(teeth, firing)] = 1.0
    return teeth, chance

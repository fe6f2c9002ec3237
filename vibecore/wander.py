"""How level and phase of an order go with the small wander of an idle.

With r = f / f0 a mode of damping z answers as H = 1 / (1 - r^2 + 2 i z r) (Thomson, Theory of Vibration with
Applications, ch. 3). Near f0

    d ln H / d ln f = 1 / (i z - (r - 1)),      its real part the power of speed that the level goes as,
                                                its imaginary part radians of phase a unit of ln f

so that right on top of it the level stands still and the phase turns by 1 / z, 10 and more, while beside it
both move by 1 / (2 z). Without a mode near, levels go as the square of speed at most and phases hardly turn.
The crank angle is itself read from the vibration; an error in it turns every order m in proportion to m, so
that the phase of one order can be told beside the others' alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from vibecore.model import Flags, Floats, Signal, SpeedTrack
from vibecore.resonance import WINDOW_REV, order_points, turns_window
from vibecore.units import DB_PER_NEPER

BIN_SHARE = 0.002  # windows whose speed is this near are averaged: an idle wanders by a percent or two
LEAST_POINTS = 4
HOPS = 4  # windows to a window's length; Hann windows so close count half (Welch, 1967)
COUNTS = 0.5
LEAST_WINDOWS = 12
LONGEST_S = 180.0
GOOD = 0.8  # share of a window's weight on good samples
CLEAR_RAD = 0.8  # residual scatter of phase above which turns cannot be counted
OWN_TURN = 3.0  # radians a unit of ln f that paths without a mode near turn an order


class Slope(NamedTuple):
    """Change with the natural logarithm of speed, and its standard error: nepers of a level, radians of a
    phase."""

    value: float
    error: float


def order_slope(signal: Signal, track: SpeedTrack, order: float) -> Slope | None:
    """How the level of an order goes with its speed within one recording; None where the speed wanders too
    little or the order cannot be followed."""
    if not _long_enough(signal, track):
        return None
    signal, track = _excerpt(signal, track)
    p = order_points(signal, track, order, bin_share=BIN_SHARE)
    if len(p.frequency_hz) < LEAST_POINTS:
        return None
    line = _line(np.log(p.frequency_hz), np.log(p.rms_m_s2), (DB_PER_NEPER / p.sd_db) ** 2)
    if line is None:
        return None
    misfit = line.left / max(len(p.frequency_hz) - 2, 1)
    return Slope(line.slope, float(np.sqrt(max(misfit, 1.0) / line.square)))


class _Line(NamedTuple):
    """A weighted line: its slope, and weighted sums of squares: of x about its mean, of what is left of y."""

    slope: float
    square: float
    left: float


def _line(x: Floats, y: Floats, weight: Floats) -> _Line | None:
    """The line through the points by weighted least squares; None where the points lie in one place."""
    if weight.sum() <= 0:
        return None
    x, y = x - np.average(x, weights=weight), y - np.average(y, weights=weight)
    square = float(weight @ x**2)
    if square <= 0:
        return None
    slope = float(weight @ (x * y)) / square
    return _Line(slope, square, float(weight @ (y - slope * x) ** 2))


def phase_slope(signal: Signal, track: SpeedTrack, order: float, beside: Sequence[float]) -> Slope | None:
    """Radians by which the phase of an order turns a unit of ln speed, told beside the phases of other
    orders; None where none of them can be followed, or the speed stands too still."""
    if not _long_enough(signal, track):
        return None
    signal, track = _excerpt(signal, track)
    log_speed, kept = _windows(signal, track)
    if np.count_nonzero(kept) < LEAST_WINDOWS:
        return None
    own = _turning(signal, track, order, log_speed, kept)
    told = [(m, s) for m in beside if (s := _turning(signal, track, m, log_speed, kept)) is not None]
    if own is None or not told:
        return None
    ratios = np.array([order / m for m, _ in told])
    values = ratios * [s.value for _, s in told]
    errors = ratios * np.hypot(OWN_TURN, [s.error for _, s in told])
    weights = 1 / errors**2
    return Slope(
        own.value - float(np.average(values, weights=weights)),
        float(np.sqrt(own.error**2 + 1 / weights.sum())),
    )


def _long_enough(signal: Signal, track: SpeedTrack) -> bool:
    """Whether some windows find room."""
    turns = len(signal.good) / signal.fs_hz * track.turns_hz
    return turns > 2 * WINDOW_REV and len(track.angle_rev) == len(signal.good)


def _excerpt(signal: Signal, track: SpeedTrack) -> tuple[Signal, SpeedTrack]:
    """The middle of a long recording: enough to tell, and the windows of an hour need not lie in memory."""
    n, keep = len(signal.good), round(LONGEST_S * signal.fs_hz)
    part = slice((n - keep) // 2, (n - keep) // 2 + keep) if n > keep else slice(None)
    return (
        replace(signal, accel_m_s2=signal.accel_m_s2[part], good=signal.good[part]),
        replace(track, angle_rev=track.angle_rev[part]),
    )


def _windows(signal: Signal, track: SpeedTrack) -> tuple[Floats, Flags]:
    """Natural logarithm of speed in each window (w,), and whether it is good (w,)."""
    weights = _weights(signal, track)
    size = len(weights)
    hop = max(size // HOPS, 1)
    angle = sliding_window_view(track.angle_rev, size)[::hop]
    share = sliding_window_view(signal.good.astype(float), size)[::hop] @ weights
    return np.log(angle[:, -1] - angle[:, 0]), share > GOOD


def _weights(signal: Signal, track: SpeedTrack) -> Floats:
    """(size,) of the samples in a window, adding up to 1."""
    window = turns_window(signal, track)
    return np.asarray(window / window.sum())


def _turning(signal: Signal, track: SpeedTrack, order: float, log_speed: Floats, kept: Flags) -> Slope | None:
    """Slope of an order's phase along the crank angle as it was read; None if it cannot be followed."""
    weights = _weights(signal, track)
    size = len(weights)
    still = np.where(signal.good[:, None], signal.accel_m_s2, 0.0)
    still = still * np.exp(-2j * np.pi * order * track.angle_rev)[:, None]
    vectors = (sliding_window_view(still, size, axis=0)[:: max(size // HOPS, 1)] @ weights)[kept]
    line = vectors @ np.linalg.svd(vectors, full_matrices=False)[2][0].conj()  # where most of it points
    weight = np.abs(line) ** 2
    through = _line(log_speed[kept], np.unwrap(np.angle(line)), weight)
    if through is None:
        return None
    scatter = through.left / float(weight.sum())
    if scatter > CLEAR_RAD**2:
        return None
    error = np.sqrt(scatter / (COUNTS * len(line)) * weight.sum() / through.square)
    return Slope(through.slope, float(error))

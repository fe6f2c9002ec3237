"""Natural frequency, damping and amplification from the level of orders over frequency.

A raised idle, a slow sweep or a hunting idle carries an order past a natural frequency. With r = f / f0 and
the damping ratio z, all textbooks on vibration (Thomson, Theory of Vibration with Applications, ch. 3) give

    force      1 / D            displacement for a force of constant size (over that of the spring alone)
    unbalance  r^2 / D          displacement for a mass that turns out of balance (over m e / M)
    base       N / D            displacement over that of a base which moves
    with       D = sqrt((1 - r^2)^2 + (2 z r)^2),   N = sqrt(1 + (2 z r)^2)

The phone measures acceleration: force and unbalance gain a factor r^2; base gains none, for what excites it
is an acceleration as well. Each order (and each recording) has an unknown gain of its own; f0 and z are
shared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import ArrayLike, NDArray

from vibecore import hann
from vibecore.model import Floats, Signal, SpeedTrack
from vibecore.units import DB_PER_NEPER

Form = Literal["force", "unbalance", "base"]
Groups = NDArray[np.intp]  # (n,) which gain each point shares
FORMS: tuple[Form, ...] = ("force", "unbalance", "base")

WINDOW_REV = 8.0  # a Hann window of 8 turns is blind to orders a quarter away from its own
_ASIDE_ORDERS = 0.25  # where the floor is read: as far from this order as from the next half order
_LEAST_GOOD = 0.8  # share of a window's weight on good samples
_BIN_SHARE = 0.02  # windows whose frequency is this near are averaged
_LEAST_SD_DB = 0.3  # gains drift with load and temperature: no point is known better than this
_LEAST_OVER_FLOOR = 4.0  # power over floor of a point worth using
_LEAST_POINTS = 6
_LEAST_SPAN = 1.15  # highest over lowest frequency: a mode of damping 0.05 is 10 % wide
_DAMPING = (0.003, 0.5)  # searched; above it there is no peak to speak of
# A peak must fit better than a slope: F of one parameter, chance under 0.5 % for 10 and more points.
_LEAST_F = 12.0
_AT_THE_END = 0.99  # of the highest damping searched: a fit that ends there has found no peak
# A mode is sought from below the lowest frequency read to above the highest: on a grid, and then beyond it.
_GRID_ENDS, _ENDS = (0.9, 1.1), (0.8, 1.2)
_GRID = (60, 14)  # natural frequencies, dampings
_WIDEST_INTERVAL = 0.15  # of the natural frequency: wider is no answer
_ALIKE = 4.0  # forms whose misfit is within this of the best cannot be told apart (2 sigma)
_NEAR_SHARE = 0.1  # idle this near a natural frequency is lifted plainly


def magnification(ratio: ArrayLike, damping: float, form: Form) -> Floats:
    """Displacement magnification at frequency ratio r = f / f0, same shape as `ratio`, no unit."""
    r = np.asarray(ratio, dtype=float)
    two_zr2 = (2 * damping * r) ** 2
    top = {"force": np.ones_like(r), "unbalance": r**2, "base": np.sqrt(1 + two_zr2)}[form]
    return np.asarray(top / np.sqrt((1 - r**2) ** 2 + two_zr2))


def accelerance(ratio: ArrayLike, damping: float, form: Form) -> Floats:
    """The same for acceleration, as the phone sees it: times r^2 where the excitation is a force."""
    r = np.asarray(ratio, dtype=float)
    return magnification(r, damping, form) * (1.0 if form == "base" else r**2)


class Points(NamedTuple):
    """Level of one order over frequency. All (m,): hertz, m/s2 rms, standard error in dB."""

    frequency_hz: Floats
    rms_m_s2: Floats
    sd_db: Floats


def turns_window(signal: Signal, track: SpeedTrack) -> Floats:
    """Hann window (size,) over WINDOW_REV turns of the crank, at most over the whole signal."""
    return hann.inner(min(round(WINDOW_REV / track.turns_hz * signal.fs_hz), len(signal.good)))


def order_points(signal: Signal, track: SpeedTrack, order: float, *, bin_share: float = _BIN_SHARE) -> Points:
    """Level of an order, three axes together, against its momentary frequency, floor taken off.

    The signal is turned back by the order's angle, so that the order stands still, and averaged over Hann
    windows of eight turns; windows at nearly the same frequency are put together.
    """
    window = turns_window(signal, track)
    size = len(window)
    hop = max(size // 2, 1)
    share = sliding_window_view(signal.good.astype(float), size)[::hop] @ window / window.sum()
    angle = sliding_window_view(track.angle_rev, size)[::hop]
    frequency = order * (angle[:, -1] - angle[:, 0]) / (size - 1) * signal.fs_hz
    x = np.where(signal.good[:, None], signal.accel_m_s2, 0.0)

    def power(at: float) -> Floats:
        turned = x * np.exp(-2j * np.pi * at * track.angle_rev)[:, None]
        mean = sliding_window_view(turned, size, axis=0)[::hop] @ window / window.sum()
        return np.asarray(2 * np.sum(np.abs(mean) ** 2, axis=1)) / np.maximum(share, 1e-9) ** 2

    floor = (power(order - _ASIDE_ORDERS) + power(order + _ASIDE_ORDERS)) / 2
    line = power(order) - floor
    usable = (share >= _LEAST_GOOD) & (line > _LEAST_OVER_FLOOR * floor) & (frequency < signal.fs_hz / 2)
    return _binned(frequency[usable], line[usable], floor[usable], bin_share)


def _binned(frequency: Floats, line: Floats, floor: Floats, bin_share: float) -> Points:
    """Windows of nearly one frequency as one point; its error from noise and from the scatter of its
    windows."""
    if not len(frequency):
        return Points(np.empty(0), np.empty(0), np.empty(0))
    bins = np.round(np.log(frequency) / bin_share).astype(int)
    _, which, count = np.unique(bins, return_inverse=True, return_counts=True)

    def mean(v: Floats) -> Floats:
        return np.asarray(np.bincount(which, v) / count)

    power = mean(line)
    noise = mean(2 * floor / line) / count  # relative variance of power of a line in noise
    spread = np.maximum(mean(line**2) - power**2, 0.0) / power**2 / count
    sd_db = DB_PER_NEPER / 2 * np.sqrt(np.maximum(noise, spread))
    return Points(mean(frequency), np.sqrt(power), np.hypot(sd_db, _LEAST_SD_DB))


@dataclass(frozen=True)
class Resonance:
    """A natural frequency with damping ratio and amplification at it, each with its 95 % interval."""

    natural_hz: float
    low_hz: float
    high_hz: float
    damping: float
    low_damping: float
    high_damping: float
    amplification: float
    low_amplification: float
    high_amplification: float
    form: Form

    def lift(self, frequency_hz: float) -> float:
        """How many times the natural frequency lifts a shake at this frequency."""
        return float(magnification(frequency_hz / self.natural_hz, self.damping, self.form))

    def course_db(self, frequency_hz: float) -> float:
        """Level over frequency in dB, reference unknown: to correct a level for another speed."""
        return float(20 * np.log10(accelerance(frequency_hz / self.natural_hz, self.damping, self.form)))


@dataclass(frozen=True)
class Unknown:
    """No natural frequency can be told, and why."""

    why: str


class _Data(NamedTuple):
    """What the modes are fitted to. All (n,): hertz, natural logarithm of the level and its standard error,
    and which gain each point shares."""

    f: Floats
    y: Floats
    sd: Floats
    group: Groups


class _Fit(NamedTuple):
    form: Form
    log_natural: float
    log_damping: float
    misfit: float  # weighted sum of squares
    covariance: Floats  # (2, 2), of the two logarithms, before scaling by the misfit


def fit(points: Sequence[Points], *, form: Form | None = None) -> Resonance | Unknown:
    """Least squares of the logarithm of the level on the response of one mode.

    points: one entry for each order and recording, each with a gain of its own. form None: all three are
    tried; if the data cannot tell which, the interval covers all that fit as well.
    """
    kept = [p for p in points if len(p.frequency_hz) >= 2]
    if sum(len(p.frequency_hz) for p in kept) < _LEAST_POINTS:
        return Unknown(
            "Too few frequencies were passed: raise the idle slowly, or hold three or more speeds."
        )
    f, rms, sd_db = (np.concatenate([p[i] for p in kept]) for i in range(3))
    group = np.repeat(np.arange(len(kept), dtype=np.intp), [len(p.frequency_hz) for p in kept])
    data = _Data(f, np.log(rms), sd_db / DB_PER_NEPER, group)
    if f.max() < _LEAST_SPAN * f.min():
        return Unknown(
            f"The order moved from {f.min():.1f} to {f.max():.1f} Hz only: too little to tell a peak "
            "from a slope."
        )
    fits = [_fit_form(data, tried) for tried in ((form,) if form else FORMS)]
    best = min(fits, key=lambda x: x.misfit)
    freedom = max(len(f) - 2 - len(kept), 1)
    scale = max(best.misfit / freedom, 1.0)
    slope_misfit = _slope_misfit(data)
    natural = float(np.exp(best.log_natural))
    too_soft = best.log_damping > np.log(_AT_THE_END * _DAMPING[1])
    if (slope_misfit - best.misfit) / scale < _LEAST_F or not f.min() <= natural <= f.max() or too_soft:
        return Unknown(f"No peak between {f.min():.1f} and {f.max():.1f} Hz that is more than a slope.")
    alike = [x for x in fits if (x.misfit - best.misfit) / scale < _ALIKE]
    return _result(best, alike, scale, freedom, (float(f.min()), float(f.max())))


def _residuals(log_natural: ArrayLike, log_damping: ArrayLike, data: _Data, form: Form) -> Floats:
    """Weighted residuals (..., n) with the best gain of each group taken out."""
    natural, damping = np.exp(np.asarray(log_natural))[..., None], np.exp(np.asarray(log_damping))[..., None]
    return _without_gains(data.y - np.log(accelerance(data.f / natural, damping, form)), data)


def _without_gains(rest: Floats, data: _Data) -> Floats:
    """Weighted rest (..., n) with the best gain of each group taken out."""
    member = data.group == np.unique(data.group)[:, None]  # (groups, n)
    weight = member / data.sd**2
    gains = rest @ weight.T / weight.sum(axis=1)
    return np.asarray((rest - gains @ member) / data.sd)


def _fit_form(data: _Data, form: Form) -> _Fit:
    """Search over a grid, then least squares from its best place."""
    from scipy.optimize import least_squares

    lowest, highest = data.f.min(), data.f.max()
    naturals = np.log(np.geomspace(_GRID_ENDS[0] * lowest, _GRID_ENDS[1] * highest, _GRID[0]))[:, None]
    dampings = np.log(np.geomspace(*_DAMPING, _GRID[1]))[None, :]
    grid = np.broadcast_arrays(naturals, dampings)
    misfit = np.sum(_residuals(grid[0], grid[1], data, form) ** 2, axis=-1)
    start = np.unravel_index(np.argmin(misfit), misfit.shape)

    def residuals(p: Floats) -> Floats:
        return _residuals(p[0], p[1], data, form)

    low = [np.log(_ENDS[0] * lowest), np.log(_DAMPING[0])]
    high = [np.log(_ENDS[1] * highest), np.log(_DAMPING[1])]
    first = np.clip([grid[0][start], grid[1][start]], np.add(low, 1e-6), np.subtract(high, 1e-6))
    solved = least_squares(residuals, first, bounds=(low, high))
    jacobian = np.asarray(solved.jac, dtype=float)
    covariance = np.linalg.pinv(jacobian.T @ jacobian)
    return _Fit(form, float(solved.x[0]), float(solved.x[1]), float(2 * solved.cost), covariance)


def _slope_misfit(data: _Data) -> float:
    """Weighted sum of squares about one power law with a gain for each group: no resonance at all."""
    level, slope = _without_gains(data.y, data), _without_gains(np.log(data.f), data)
    return float(np.sum((level - slope * (level @ slope) / (slope @ slope)) ** 2))


def _result(
    best: _Fit, alike: Sequence[_Fit], scale: float, freedom: int, span_hz: tuple[float, float]
) -> Resonance | Unknown:
    from scipy.special import stdtrit

    t = float(stdtrit(freedom, 0.975)) * np.sqrt(scale)

    def ends(which: int, least: float, most: float) -> tuple[float, float]:
        halves = [(x[1 + which], t * np.sqrt(x.covariance[which, which])) for x in alike]
        low, high = min(v - h for v, h in halves), max(v + h for v, h in halves)
        low, high = np.clip((low, high), np.log(least), np.log(most))  # few points may tell next to nothing
        return float(np.exp(low)), float(np.exp(high))

    natural, damping = float(np.exp(best.log_natural)), float(np.exp(best.log_damping))
    (low_hz, high_hz), (low_z, high_z) = ends(0, span_hz[0] / 2, 2 * span_hz[1]), ends(1, *_DAMPING)
    if high_hz - low_hz > 2 * _WIDEST_INTERVAL * natural:
        return Unknown(
            f"A natural frequency somewhere between {low_hz:.0f} and {high_hz:.0f} Hz: too vague to use."
        )
    at_peak, low_peak, high_peak = (
        float(magnification(1.0, z, best.form))
        for z in (damping, high_z, low_z)  # more damping, less lift
    )
    return Resonance(
        natural_hz=natural,
        low_hz=low_hz,
        high_hz=high_hz,
        damping=damping,
        low_damping=low_z,
        high_damping=high_z,
        amplification=at_peak,
        low_amplification=low_peak,
        high_amplification=high_peak,
        form=best.form,
    )


def idle_note(resonance: Resonance, order_hz: float) -> str:
    """Where an order of a recording sits against the natural frequency, in words."""
    off = order_hz / resonance.natural_hz - 1
    side = "above" if off > 0 else "below"
    told = (
        f"A natural frequency at {resonance.natural_hz:.1f} Hz "
        f"({resonance.low_hz:.1f} to {resonance.high_hz:.1f}); here the order at {order_hz:.1f} Hz sits "
        f"{100 * abs(off):.0f} % {side} it"
    )
    if abs(off) > _NEAR_SHARE:
        return f"{told}."
    return f"{told} and is lifted about {resonance.lift(order_hz):.1f} times."

"""What is true of a simulated recording: mean speed, track, and how much shake sits on each order."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.signal.windows import tukey

from vibecore.constants import LINE_HALF_WIDTH_ORDERS
from vibecore.engine import Engine
from vibecore.model import Floats
from vibecore.simulate.physics import between
from vibecore.simulate.vibration import Vibration

TRACK_STEP_S = 0.25
TRACK_REACH_S = 0.25  # a track point is the mean over this much either side
ANGLE_STEPS = 64  # points a revolution: orders to 32
EDGE_SHARE = 0.1  # of the span tapered, so that a strong order does not leak into its neighbours


@dataclass(frozen=True, eq=False)
class Truth:
    """mean_rpm None: engine off. track_t_s, track_rpm (m,). orders_m_s2: rms of the three-axis vector within
    +-0.05 order, noise and floor left out. overall_m_s2: of everything but the phone's own noise."""

    mean_rpm: float | None
    steady_span_s: tuple[float, float]
    track_t_s: Floats
    track_rpm: Floats
    orders_m_s2: dict[float, float]
    overall_m_s2: float
    knocks_s: tuple[float, ...] = ()
    other_lines: dict[str, float] = field(default_factory=dict)

    def mean_between(self, start_s: float, end_s: float) -> float | None:
        """Mean rpm over a part of the recording, from the track; None where the track does not reach."""
        inside = (self.track_t_s >= start_s) & (self.track_t_s <= end_s)
        return float(self.track_rpm[inside].mean()) if inside.any() else None


def tell(
    vibration: Vibration, engine: Engine, span_s: tuple[float, float], knocks_s: tuple[float, ...]
) -> Truth:
    """Truth over `span_s`, the time between handling at the start and at the end."""
    step = vibration.step_s
    first, last = round(span_s[0] / step), round(span_s[1] / step)
    both = vibration.shake[:, first:last] + vibration.rest[:, first:last]
    overall = float(np.sqrt(np.sum(np.mean(both**2, axis=1))))
    angle = vibration.angle_rev
    if angle is None:
        return Truth(
            mean_rpm=None,
            steady_span_s=span_s,
            track_t_s=np.zeros(0),
            track_rpm=np.zeros(0),
            orders_m_s2={},
            overall_m_s2=overall,
            knocks_s=knocks_s,
        )
    t = np.arange(len(angle)) * step
    at = np.arange(span_s[0] + TRACK_REACH_S, span_s[1] - TRACK_REACH_S + 1e-9, TRACK_STEP_S)
    rpm = (
        60
        * (np.interp(at + TRACK_REACH_S, t, angle) - np.interp(at - TRACK_REACH_S, t, angle))
        / (2 * TRACK_REACH_S)
    )
    mean = 60 * (angle[last] - angle[first]) / ((last - first) * step)
    levels = order_levels(
        vibration.shake[:, first:last], angle[first:last], engine.orders, engine.cycle_order
    )
    return Truth(
        mean_rpm=float(mean),
        steady_span_s=span_s,
        track_t_s=at,
        track_rpm=rpm,
        orders_m_s2=levels,
        overall_m_s2=overall,
        knocks_s=knocks_s,
    )


def order_levels(
    accel: Floats, angle_rev: Floats, orders: tuple[float, ...], cycle_order: float = 0.5
) -> dict[float, float]:
    """rms of the three-axis vector within +-0.05 order of each order, from accel (3, n) at crank angles
    (n,)."""
    cycle = 1.0 / cycle_order
    cycles = np.floor((angle_rev[-1] - angle_rev[0]) / cycle)
    count = int(cycles * cycle * ANGLE_STEPS)
    even = angle_rev[0] + np.arange(count) / ANGLE_STEPS
    window = tukey(count, EDGE_SHARE)
    power = np.zeros(count // 2 + 1)
    index = np.interp(even, angle_rev, np.arange(len(angle_rev), dtype=np.float64))
    for axis in between(accel, index):
        power += np.abs(np.fft.rfft(window * axis)) ** 2
    power *= 2.0 / (count * np.sum(window**2))
    at = np.arange(len(power)) * ANGLE_STEPS / count
    sums = {o: float(np.sum(power[np.abs(at - o) <= LINE_HALF_WIDTH_ORDERS + 1e-9])) for o in orders}
    return {o: float(np.sqrt(s)) for o, s in sums.items()}

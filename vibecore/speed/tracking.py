"""From a path good to half a percent to a crank angle good to a few degrees, by the phase of the orders.

Along the trial angle each order is a slowly turning phasor; how fast it still turns, divided by the order, is
what the trial speed lacks. All orders and axes vote by their power and by how steadily they turn, so that
an order without steady phase (uneven combustion) has little say. A penalised least-squares smoother
(E. T. Whittaker, 1923; P. Eilers, Analytical Chemistry, 2003) joins the votes in time.
"""

from __future__ import annotations

import numpy as np
from scipy import linalg

from vibecore.model import Floats, Signal

WINDOW_S = 0.5
HOP_S = 0.125
CORNER_HZ = (
    0.6,
    1.0,
    1.6,
)  # bandwidth of the correction in each round: coarse first, so that no turn is lost
MOST_ORDERS = 6


def refine(
    signal: Signal, t_s: Floats, speed_hz: Floats, orders: Floats, rounds: int = len(CORNER_HZ)
) -> tuple[Floats, Floats, Floats]:
    """Refine a speed path (t_s, speed_hz: (f,), times from the signal's first sample).

    Returns times (m,), speeds in hertz (m,) and the standard deviation of each speed reading (m,).
    """
    n = len(signal.accel_m_s2)
    sample_t = np.arange(n) / signal.fs_hz
    hop, size = max(1, round(HOP_S * signal.fs_hz)), max(8, round(WINDOW_S * signal.fs_hz))
    at = np.arange(0, n - size + 1, hop)
    middle = (at + size / 2) / signal.fs_hz
    gap_t = 0.5 * (middle[1:] + middle[:-1])
    node_t = np.concatenate(([0.0], gap_t, [sample_t[-1]]))
    speed = np.interp(node_t, t_s, speed_hz)
    usable = orders[orders * speed_hz.max() < 0.48 * signal.fs_hz]
    error = np.full(len(gap_t), np.nan)
    for corner in CORNER_HZ[:rounds]:
        angle = crank_angle(sample_t, node_t, speed)
        lacking, weight = _lacking(signal.accel_m_s2, angle, usable, at, size, hop / signal.fs_hz)
        smooth, error = _smooth(lacking, weight, hop / signal.fs_hz, corner)
        speed = speed + np.concatenate((smooth[:1], smooth, smooth[-1:]))
    return node_t, speed, np.concatenate((error[:1], error, error[-1:]))


def crank_angle(sample_t: Floats, node_t: Floats, speed_hz: Floats) -> Floats:
    """Angle (n,) in revolutions at sample times, from speeds at node times joined by straight lines."""
    step = np.diff(node_t)
    at_nodes = np.concatenate(([0.0], np.cumsum(0.5 * (speed_hz[1:] + speed_hz[:-1]) * step)))
    index = np.searchsorted(node_t, sample_t, side="right").clip(1, len(node_t) - 1) - 1
    since = sample_t - node_t[index]
    slope = (np.diff(speed_hz) / step)[index]
    return at_nodes[index] + speed_hz[index] * since + 0.5 * slope * since**2


def _lacking(
    accel: Floats, angle: Floats, orders: Floats, at: np.ndarray, size: int, hop_s: float
) -> tuple[Floats, Floats]:
    """Speed still lacking between neighbouring windows (m,), hertz, and the weight of each reading (m,)."""
    window = np.hanning(size + 2)[1:-1].astype(np.float32)
    half_turn = np.exp(-1j * np.pi * (angle % 2)).astype(np.complex64)
    values = accel.T.astype(np.float32)
    total = np.zeros(len(at) - 1)
    weight = np.zeros(len(at) - 1)
    turning = np.ones_like(half_turn)
    done = 0
    for order in np.sort(orders):
        while done < round(2 * order):
            turning = turning * half_turn
            done += 1
        phasor = _windowed(values * turning, window, at)
        cross = (phasor[:, 1:] * np.conj(phasor[:, :-1])).sum(axis=0)
        power = (np.abs(phasor[:, 1:]) ** 2 + np.abs(phasor[:, :-1]) ** 2).sum(axis=0) / 2 + 1e-20
        local = np.convolve(cross, np.ones(5) / 5, mode="same")
        steady = np.minimum(np.abs(local) / np.convolve(power, np.ones(5) / 5, mode="same"), 0.999)
        vote = order**2 * steady**2 / (1 - steady**2)
        total += vote * np.angle(cross) / (2 * np.pi * order * hop_s)
        weight += vote
    return total / np.maximum(weight, 1e-12), weight


def _windowed(values: np.ndarray, window: np.ndarray, at: np.ndarray) -> np.ndarray:
    """(3, m): window-weighted sums of complex values (3, n) starting at each of `at` (m,)."""
    lanes = np.lib.stride_tricks.sliding_window_view(values, len(window), axis=1)[:, at]
    return np.asarray(lanes @ window)


def _smooth(values: Floats, weight: Floats, hop_s: float, corner_hz: float) -> tuple[Floats, Floats]:
    """Whittaker smoother of second differences whose response is one half at corner_hz for mean weight."""
    weight = weight / max(float(np.median(weight)), 1e-12)
    weight = np.minimum(weight, 10.0) + 1e-6
    stiffness = 1 / (2 - 2 * np.cos(2 * np.pi * corner_hz * hop_s)) ** 2
    count = len(values)
    if count < 4:
        mean = float(np.average(values, weights=weight))
        return np.full(count, mean), np.full(count, float(np.std(values)))
    bands = np.zeros((3, count))
    bands[2] = weight
    difference = np.array([1.0, -2.0, 1.0])
    for i in range(3):
        bands[2, i : count - 2 + i] += stiffness * difference[i] ** 2
    for i in range(2):
        bands[1, 1 + i : count - 1 + i] += stiffness * difference[i] * difference[i + 1]
    bands[0, 2:] += stiffness * difference[0] * difference[2]
    smooth = linalg.solveh_banded(bands, weight * values)
    rest = float(np.sqrt(np.average((values - smooth) ** 2, weights=weight)))
    return smooth, rest / np.sqrt(weight)

"""Closed forms that the simulator stands on: mounts, modes, rotating imbalance, and a cylinder's torque.

With r = f / f0 the ratio of a frequency to the natural frequency and z the damping ratio,

    transmissibility           T(r) = (1 + 2 i z r) / (1 - r^2 + 2 i z r)
    rotating unbalance     X M / me = r^2 / (1 - r^2 + 2 i z r)

(J. P. Den Hartog, Mechanical Vibrations; S. S. Rao, Mechanical Vibrations, ch. 3 and 9). The gas in a
cylinder follows the first law in a crank-slider: p V^g = p0 V0^g + (g - 1) * integral of V^(g-1) dQ, the
heat Q released along a Wiebe curve (J. B. Heywood, Internal Combustion Engine Fundamentals, ch. 2 and 9).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecore.model import Floats

Complexes = NDArray[np.complex128]

TABLE_STEPS = 720  # of a cylinder's torque over one working cycle: one degree or finer
AMBIENT_BAR = 1.0
WIEBE_A, WIEBE_M = 5.0, 2.0  # Heywood eq. 9.27: 99 % burnt at the end of burning, usual shape


def transmissibility(ratio: Floats, damping: float) -> Complexes:
    """Force (or motion) passed on by a spring and damper, at `ratio` = frequency / natural frequency."""
    out: Complexes = (1 + 2j * damping * ratio) / (1 - ratio**2 + 2j * damping * ratio)
    return out


def unbalance_response(ratio: Floats, damping: float) -> Complexes:
    """Motion of a sprung mass with a rotating imbalance, as a multiple of (unbalance / mass). The same
    shape is the acceleration that a unit force gives a mode, as a multiple of (force / modal mass)."""
    below: Complexes = 1 - ratio**2 + 2j * damping * ratio
    return np.asarray(ratio**2 / below)


@dataclass(frozen=True)
class Combustion:
    """How one cylinder works at idle."""

    compression_ratio: float = 10.0
    rod_ratio: float = 0.3  # half stroke / connecting rod
    manifold_bar: float = 0.4
    polytropic: float = 1.32
    burn_start_deg: float = -12.0  # from firing top dead centre
    burn_length_deg: float = 55.0
    heat: float = 4.0  # in units of ambient pressure times swept volume


def gas_torque(combustion: Combustion, strokes: int) -> tuple[Floats, Floats]:
    """Torque of one cylinder over its working cycle, from firing top dead centre on: (from compression,
    from burning).

    Both (TABLE_STEPS,), in units of ambient pressure times swept volume per radian. A dead cylinder keeps the
    first part. Two strokes: the cycle is one revolution and the scavenging is taken as ambient.
    """
    span_deg = 180.0 * strokes
    angle_deg = -span_deg / 2 + span_deg * np.arange(TABLE_STEPS) / TABLE_STEPS
    cold = _net_torque(combustion, angle_deg, strokes, heat=0.0)
    hot = _net_torque(combustion, angle_deg, strokes, heat=combustion.heat)
    from_top = TABLE_STEPS // 2  # the table starts half a cycle early: index 0 shall be top dead centre
    return np.roll(cold, -from_top), np.roll(hot - cold, -from_top)


def _net_torque(combustion: Combustion, angle_deg: Floats, strokes: int, heat: float) -> Floats:
    theta = np.radians(angle_deg)
    volume = _volume(theta, combustion)
    closed = np.abs(angle_deg) < (140.0 if strokes == 4 else 110.0)  # valves or ports shut: usual timing
    start = int(np.argmax(closed))
    burnt = np.clip((angle_deg - combustion.burn_start_deg) / combustion.burn_length_deg, 0.0, None)
    fraction = 1.0 - np.exp(-WIEBE_A * burnt ** (WIEBE_M + 1))
    released = heat * np.diff(fraction, prepend=0.0)
    g = combustion.polytropic
    charge_bar = combustion.manifold_bar if strokes == 4 else AMBIENT_BAR
    released[:start] = 0.0
    inside = charge_bar * volume[start] ** g + (g - 1) * np.cumsum(volume ** (g - 1) * released)
    pressure = np.where(closed, inside / volume**g, AMBIENT_BAR)
    if strokes == 4:
        intake = angle_deg <= angle_deg[start]
        pressure = np.where(intake & (angle_deg > -360.0), charge_bar, pressure)
        end = np.flatnonzero(closed)[-1]
        after = np.arange(TABLE_STEPS) > end
        blown = (pressure[end] - AMBIENT_BAR) * np.exp(-(angle_deg - angle_deg[end]) / 30.0)
        pressure = np.where(after, AMBIENT_BAR + blown, pressure)
    slope = np.gradient(volume, theta)
    return (pressure - AMBIENT_BAR) * slope


def _volume(theta: Floats, combustion: Combustion) -> Floats:
    """Cylinder volume over swept volume, crank-slider (Heywood eq. 2.4)."""
    lam = combustion.rod_ratio
    travel = 0.5 * (1 - np.cos(theta)) + (1 - np.sqrt(1 - (lam * np.sin(theta)) ** 2)) / (2 * lam)
    out: Floats = 1 / (combustion.compression_ratio - 1) + travel
    return out


def order_coefficient(table: Floats, order: float, strokes: int) -> complex:
    """Complex amplitude of one order of a torque table: torque = sum of Re(c exp(i order angle))."""
    harmonic = round(order * strokes / 2)
    return complex(2 * np.fft.rfft(table)[harmonic] / len(table))


def between(motion: Floats, at: Floats) -> Floats:
    """Rows of `motion` (k, n) at fractional indices: a cubic through the four points around (Lagrange)."""
    last = motion.shape[1] - 3
    low = np.clip(at.astype(int), 1, last)
    x = at - low
    weights = np.stack([-x * (x - 1) * (x - 2) / 6, (x + 1) * (x - 1) * (x - 2) / 2,
                        -(x + 1) * x * (x - 2) / 2, (x + 1) * x * (x - 1) / 6])  # fmt: skip
    out = weights[0] * motion[:, low - 1]
    for i in (1, 2, 3):
        out += weights[i] * motion[:, low + i - 1]
    return np.asarray(out)

"""A signal along the crank's angle: read at even steps of it, every order is a sharp line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from vibecore.model import Flags, Floats, Signal

BLOCK, MARGIN = 1 << 13, 64  # samples read at once, few enough to stay near; neighbours that bear on them


@dataclass(frozen=True, eq=False)
class Turned:
    """accel (m, 3) and good (m,) at even steps of crank angle, per_rev steps a revolution."""

    accel_m_s2: Floats
    good: Flags
    per_rev: float

    @property
    def revolutions(self) -> float:
        return float(self.good.sum() / self.per_rev)


def turn(signal: Signal, angle_rev: Floats) -> Turned:
    """Resample a signal (n, 3) to even steps of its crank angle (n,), levels kept to 0.45 of the rate.

    Twice as many samples by the Fourier method first, then a cubic spline (M. Unser, IEEE Signal Processing
    Magazine 16(6), 1999): alone it would read 1.6 dB low at 0.4 of the rate.
    """
    n = len(signal.accel_m_s2)
    fastest = float(np.max(np.diff(angle_rev[:: max(1, round(signal.fs_hz / 4))], prepend=angle_rev[0])))
    speed = max(fastest * 4, (angle_rev[-1] - angle_rev[0]) * signal.fs_hz / (n - 1))
    per_rev = float(np.ceil(signal.fs_hz / speed)) + 1
    even = np.arange(angle_rev[0], angle_rev[-1], 1 / per_rev)
    place = np.interp(even, angle_rev, np.arange(n))
    good = signal.good[np.rint(place).astype(int).clip(0, n - 1)]
    return Turned(_read_at(signal.accel_m_s2.T, place).T, good, per_rev)


def _read_at(values: Floats, place: Floats) -> Floats:
    """Values (k, n) at fractional places (m,): (k, m), in blocks so that memory stays small."""
    out = np.empty((len(values), len(place)))
    count = values.shape[1]
    for start in range(0, count, BLOCK):
        low, high = max(0, start - MARGIN), min(count, start + BLOCK + MARGIN)
        first, last = np.searchsorted(place, (start, start + BLOCK))
        knots = _knots(np.pad(values[:, low:high], ((0, 0), (MARGIN, MARGIN)), mode="reflect"))
        _spline(knots, 2 * (place[first:last] - low + MARGIN), out[:, first:last])
    return out


def _knots(values: Floats) -> Floats:
    """Coefficients (k, 2 n) of the cubic B-spline through values (k, n) brought to twice the rate; the outer
    ends are faded out, for a transform joins them."""
    count = values.shape[1]
    fade = np.sin(np.linspace(0, np.pi / 2, MARGIN // 2)) ** 2
    values[:, : len(fade)] *= fade
    values[:, -len(fade) :] *= fade[::-1]
    size = fft.next_fast_len(count, real=True)
    lines = fft.rfft(values, size, axis=1)
    turn_by = np.pi * np.arange(lines.shape[1]) / size  # a knot
    lines *= 2 * 3 / (2 + np.cos(turn_by))  # Unser 1999: the inverse of the B-spline's samples 1/6, 4/6, 1/6
    return np.asarray(fft.irfft(lines, 2 * size, axis=1)[:, : 2 * count])


def _spline(knots: Floats, at: Floats, out: Floats) -> None:
    """The cubic B-spline of knots (k, n) at fractional places (m,), into out (k, m)."""
    whole = at.astype(np.intp)
    after = at - whole
    before = 1 - after
    near, far = after * after, before * before
    weights = (
        far * before / 6,
        2 / 3 - near * (1 - after / 2),
        2 / 3 - far * (1 - before / 2),
        near * after / 6,
    )
    for row, read in zip(knots, out, strict=True):
        read[:] = sum(w * row.take(whole + shift) for shift, w in enumerate(weights, -1))

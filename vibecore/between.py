"""Values between samples: an even series read at fractional places, levels kept to 0.45 of its rate.

Twice as many samples by the Fourier method first, then a cubic spline (M. Unser, IEEE Signal Processing
Magazine 16(6), 1999): alone it would read 1.7 dB low at 0.4 of the rate.
"""

from __future__ import annotations

import numpy as np
from scipy import fft

from vibecore.model import Floats

BLOCK, MARGIN = 1 << 13, 64  # samples read at once, few enough to stay near; neighbours that bear on them


def read_at(values: Floats, place: Floats) -> Floats:
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

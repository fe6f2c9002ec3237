"""Narrow bands of a signal as slow complex series: a line is followed on a few hundred points, not thousands.

One Fourier transform of the whole; a band's bins alone, transformed back, are the band's analytic signal at a
rate just above its width, shifted down by its lowest frequency. Frequencies above half the rate are taken
where sampling folds them, so that a folded line can be followed as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft
from scipy.signal import upfirdn

from vibecore.model import Floats, Signal

MARGIN_HZ = 3.0  # kept beside the line's own range: the windows' main lobe (2.5 Hz) and a little more


@dataclass(frozen=True, eq=False)
class Windows:
    """Even windows over a recording: `count` of them, hop_s apart, each four hops long."""

    duration_s: float
    hops: int

    @property
    def hop_s(self) -> float:
        return self.duration_s / self.hops

    @property
    def middle_s(self) -> Floats:
        return np.asarray((np.arange(self.hops - 3) + 2.0) * self.hop_s, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Bands:
    """The transform (3, n) of a signal's axes."""

    lines: np.ndarray
    windows: Windows

    def around(self, low_hz: float, high_hz: float) -> tuple[np.ndarray, Floats, float]:
        """The band as a complex series (3, m), its times (m,) and the frequency that now stands at 0."""
        duration, hops = self.windows.duration_s, self.windows.hops
        first = round(max(low_hz - MARGIN_HZ, 0.0) * duration)
        wanted = round((high_hz - low_hz + 2 * MARGIN_HZ) * duration)
        count = hops * int(np.ceil(wanted / hops))
        chosen = np.zeros((3, count), dtype=complex)
        places = np.arange(first, first + wanted) % self.lines.shape[1]
        chosen[:, :wanted] = self.lines[:, places]
        return fft.ifft(chosen, axis=1), np.arange(count) * duration / count, first / duration


def transform(signal: Signal, hop_s: float) -> Bands:
    """The bands of a signal (n, 3), for windows about hop_s apart."""
    duration = len(signal.accel_m_s2) / signal.fs_hz
    lines = fft.fft(np.ascontiguousarray(signal.accel_m_s2.T), axis=1)
    return Bands(lines, Windows(duration, max(1, round(duration / hop_s))))


def windowed(series: np.ndarray, hops: int) -> np.ndarray:
    """Hann-weighted sums (3, hops - 3) of a series (3, m) whose length is a whole number of hops."""
    hop = series.shape[1] // hops
    window = np.hanning(4 * hop + 1)[: 4 * hop]
    sums = upfirdn(window[::-1], np.pad(series, ((0, 0), (1, 0))), down=hop, axis=1)
    return np.asarray(sums[:, 4 : 4 + hops - 3])

"""Narrow bands of a signal as slow complex series: a line is followed on a few hundred points, not thousands.

One Fourier transform of the whole; a band's bins alone, transformed back, are the band's analytic signal at a
rate just above its width, shifted down by its lowest frequency. Frequencies above half the rate are taken
where sampling folds them, so that a folded line can be followed as well. All bins, with as many empty ones
above them, are the signal at twice its rate.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy import fft

from vibecore import hann
from vibecore.constants import USABLE_SHARE
from vibecore.model import Floats, Signal

HOP_S = 0.2  # windows are four hops long (Hann): other lines 2.5 Hz away do not disturb
WINDOW_HOPS = 4
FINER = 2  # times the rate at which a signal is read along an angle
MARGIN_HZ = 3.0  # kept beside the line's own range: the windows' main lobe (2.5 Hz) and a little more


@dataclass(frozen=True, eq=False)
class Windows:
    """Even windows over a recording of so many hops: hop_s apart, each four hops long."""

    duration_s: float
    hops: int

    @property
    def hop_s(self) -> float:
        return self.duration_s / self.hops

    @property
    def middle_s(self) -> Floats:
        count = self.hops - WINDOW_HOPS + 1
        return np.asarray((np.arange(count) + WINDOW_HOPS / 2) * self.hop_s, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Bands:
    """A signal (n, 3), the transform (3, n) of its axes, and the windows over it."""

    signal: Signal
    lines: np.ndarray
    windows: Windows

    @cached_property
    def fine(self) -> Signal:
        """The signal at twice its rate (2n, 3), to be read between its samples by straight lines. Between
        those of the signal itself such lines copy each line of frequency f to rate - f, and that folds down
        among the orders; here the copy is far weaker, and lies on the line itself. What lies above the usable
        share is left out: along an angle that is read a little slower now and then it would fold down."""
        n = len(self.signal.accel_m_s2)
        finer = fft.irfft(FINER * self.lines[:, : int(USABLE_SHARE * n)], FINER * n, axis=1)
        good = np.repeat(self.signal.good, FINER)
        return replace(self.signal, fs_hz=FINER * self.signal.fs_hz, accel_m_s2=finer.T, good=good)

    def around(self, low_hz: float, high_hz: float) -> tuple[np.ndarray, Floats, float]:
        """The band as a complex series (3, m), its times (m,) and the frequency that now stands at 0."""
        duration, hops = self.windows.duration_s, self.windows.hops
        first = round(max(low_hz - MARGIN_HZ, 0.0) * duration)
        wanted = round((high_hz - low_hz + 2 * MARGIN_HZ) * duration)
        count = hops * int(np.ceil(wanted / hops))
        chosen = np.zeros((3, count), dtype=complex)
        chosen[:, :wanted] = self._bins(first, wanted)
        return fft.ifft(chosen, axis=1), np.arange(count) * duration / count, first / duration

    def _bins(self, first: int, wanted: int) -> np.ndarray:
        """(3, wanted) bins from this one on, folded where they lie above half the rate."""
        if first + wanted <= self.lines.shape[1]:
            return self.lines[:, first : first + wanted]
        return self.lines[:, np.arange(first, first + wanted) % self.lines.shape[1]]


def transform(signal: Signal) -> Bands:
    """The bands of a signal (n, 3)."""
    duration = len(signal.accel_m_s2) / signal.fs_hz
    lines = fft.fft(np.ascontiguousarray(signal.accel_m_s2.T), axis=1)
    return Bands(signal, lines, Windows(duration, max(1, round(duration / HOP_S))))


def windowed(series: np.ndarray, hops: int) -> np.ndarray:
    """Hann-weighted sums (3, windows) of a series (3, m) whose length is a whole number of hops."""
    hop = series.shape[1] // hops
    window = hann.periodic(WINDOW_HOPS * hop).reshape(WINDOW_HOPS, hop)
    parts = series.reshape(-1, hops, hop) @ window.T  # each hop under each quarter of the window
    count = hops - WINDOW_HOPS + 1
    return np.asarray(sum(parts[:, i : i + count, i] for i in range(WINDOW_HOPS)))

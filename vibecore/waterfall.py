"""Shake over time and frequency, for looking at: spectral density of short stretches, three axes summed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np

from vibecore.model import Floats, Frozen, Signal

STRETCH_S = 4.0  # parts half orders at idle (6 Hz apart at 700 rpm), and is short enough to see hunting
OVERLAP = 0.9  # neighbours share most of their samples: bands run on smoothly
MOST_COLUMNS = 240  # stretches in the picture: more than a phone's screen has room for
MOST_HZ = 120.0  # twice the firing frequency of an eight-cylinder at idle
Part = Literal["everything", "steady lines", "knocks"]
PARTS: tuple[Part, ...] = get_args(Part)
# A line lasts longer than this, a knock is broader: medians over so much time and so many hertz part them. A
# knock fills one stretch of the picture; half orders at idle lie 6 Hz apart.
LASTS_S, BROAD_HZ = 3 * STRETCH_S, 10.0
REFERENCE_M_S2 = 1e-6  # ISO 1683: reference acceleration for levels in decibels
LEAST_PSD = 1e-12  # (m/s2)^2/Hz, i.e. 0 dB on that reference: keeps the logarithm finite in silence


@dataclass(frozen=True, eq=False)
class Waterfall(Frozen):
    """t_s (m,), frequency_hz (k,), level_db (k, m): decibels of (1e-6 m/s2)^2 per hertz, NaN in stretches
    that hold something left out: its edges would look like a knock."""

    t_s: Floats
    frequency_hz: Floats
    level_db: Floats


def make_waterfall(signal: Signal) -> Waterfall:
    """The waterfall of a signal. A recording shorter than one stretch gives a single column."""
    from scipy.signal import ShortTimeFFT
    from scipy.signal.windows import hann

    n = len(signal.accel_m_s2)
    length = max(8, min(n, round(STRETCH_S * signal.fs_hz)))
    hop = max(round(length * (1 - OVERLAP)), n // MOST_COLUMNS, 1)
    sft = ShortTimeFFT(hann(length, sym=False), hop, signal.fs_hz, fft_mode="onesided2X", scale_to="psd")
    half = length // 2  # only whole stretches: the first middle lies half a stretch in
    first = -(-half // hop)
    last = max(first, (n - (length - half)) // hop) + 1
    psd = sum(sft.spectrogram(signal.accel_m_s2[:, axis], p0=first, p1=last) for axis in range(3))
    keep = sft.f <= MOST_HZ
    level = 10 * np.log10(np.maximum(np.asarray(psd)[keep], LEAST_PSD) / REFERENCE_M_S2**2)
    begins = np.clip(np.arange(first, last) * hop - half, 0, n - length)
    bad = np.insert(np.cumsum(~signal.good), 0, 0)
    level[:, bad[begins + length] > bad[begins]] = np.nan
    t_s = signal.start_s + np.arange(first, last) * hop / signal.fs_hz
    return Waterfall(t_s, np.asarray(sft.f[keep]), level)


def parted(fall: Waterfall, part: Part) -> Waterfall:
    """Only what lasts, or only what knocks: parted by medians over time and over frequency (D. FitzGerald,
    Proc. 13th Int. Conf. on Digital Audio Effects, 2010)."""
    known = np.isfinite(fall.level_db).all(axis=0)
    if part == "everything" or min(len(fall.frequency_hz), int(known.sum())) < 2:
        return fall
    import librosa  # seconds: only who asks for it waits

    over_time, over_hz = (
        int(reach / (np.ptp(axis) / (len(axis) - 1))) | 1
        for reach, axis in ((LASTS_S, fall.t_s), (BROAD_HZ, fall.frequency_hz))
    )
    both = librosa.decompose.hpss(10 ** (fall.level_db[:, known] / 20), kernel_size=(over_time, over_hz))
    level = np.full_like(fall.level_db, np.nan)
    kept = both[PARTS.index(part) - 1]
    level[:, known] = 20 * np.log10(np.maximum(kept, np.sqrt(LEAST_PSD) / REFERENCE_M_S2))
    return replace(fall, level_db=level)

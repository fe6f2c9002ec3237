"""Shake as a person feels it: frequency weightings of ISO 2631-1 (whole body) and ISO 5349-1 (hand, arm).

A weighting is a band limit times a low-frequency part times a step, each a ratio of polynomials in
s = i 2 pi f with the corner frequencies f1..f6 and qualities Q1..Q6 of ISO 8041-1:2017, Tables 1 and 3:

    band limit  1 / (1 + w1 / (Q1 s) + (w1 / s)^2)  *  1 / (1 + s / (Q2 w2) + (s / w2)^2)
    a-v part    (1 + s / w3) / (1 + s / (Q4 w4) + (s / w4)^2)
    step        (1 + s / (Q5 w5) + (s / w5)^2) / (1 + s / (Q6 w6) + (s / w6)^2) * (w5 / w6)^2

The response is applied exactly, in the frequency domain. A digital filter by the plain bilinear transform
reads 22 % low at 25 Hz when the phone samples at 100 Hz: it squeezes all frequencies below half the rate.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft

from vibecore.model import Flags, Floats, Overall, Place, Signal

_BUTTERWORTH = 2.0**-0.5  # Q of both band-limiting filters, ISO 8041-1 Table 3
_MEMORY_CYCLES = 4.0  # a band-limiting high-pass has died out to 2e-8 after this many cycles of its corner
_RINGING_SAMPLES = 256  # cutting the response off at half the rate rings a little ahead of time too
_BLOCK_SAMPLES = 1 << 15  # fits the processor's cache
_SHARE_WORTH_SAYING = 0.01  # weighted energy left out that is worth a sentence: 1 % is 0.04 dB


@dataclass(frozen=True)
class Weighting:
    """Corner frequencies in hertz and qualities of one weighting. No f5: no step."""

    name: str
    f1_hz: float
    f2_hz: float
    f3_hz: float
    f4_hz: float
    q4: float
    f5_hz: float | None = None
    q5: float = 1.0
    f6_hz: float = 1.0
    q6: float = 1.0

    def band_limit(self, f_hz: ArrayLike) -> NDArray[np.complex128]:
        """Response of the band limit alone, same shape as `f_hz` (hertz)."""
        f = np.asarray(f_hz, dtype=float)
        up, down = 1j * f / self.f1_hz, 1j * f / self.f2_hz  # s/w1 and s/w2
        high_pass = up**2 / (1 + up / _BUTTERWORTH + up**2)
        return high_pass / (1 + down / _BUTTERWORTH + down**2)

    def response(self, f_hz: ArrayLike) -> NDArray[np.complex128]:
        """Whole weighting, same shape as `f_hz` (hertz), no unit; 0 at 0 Hz."""
        f = np.asarray(f_hz, dtype=float)
        s4 = 1j * f / self.f4_hz
        out = self.band_limit(f) * (1 + 1j * f / self.f3_hz) / (1 + s4 / self.q4 + s4**2)
        if self.f5_hz is not None:
            s5, s6 = 1j * f / self.f5_hz, 1j * f / self.f6_hz
            step = (1 + s5 / self.q5 + s5**2) / (1 + s6 / self.q6 + s6**2)
            out = out * step * (self.f5_hz / self.f6_hz) ** 2
        return out


# ISO 8041-1:2017 Table 3; checked against ISO 2631-1:1997 Table 3 and ISO 8041-1 Annex B in the tests.
WK = Weighting(
    "Wk", f1_hz=0.4, f2_hz=100.0, f3_hz=12.5, f4_hz=12.5, q4=0.63, f5_hz=2.37, q5=0.91, f6_hz=3.35, q6=0.91
)
WD = Weighting("Wd", f1_hz=0.4, f2_hz=100.0, f3_hz=2.0, f4_hz=2.0, q4=0.63)
WH = Weighting("Wh", f1_hz=10**0.8, f2_hz=10**3.1, f3_hz=100 / (2 * np.pi), f4_hz=100 / (2 * np.pi), q4=0.64)

WHOLE_BODY, HAND = "ISO 2631-1 Wk, Wd", "ISO 5349-1 Wh"  # what a weighted value is called after
_VERTICAL_AXIS = 2

# ISO 2631-1:1997 Annex C, C.2.3: weighted total in m/s2, what people say of it. The bands overlap by design.
COMFORT_BANDS: tuple[tuple[float, float, str], ...] = (
    (0.0, 0.315, "not uncomfortable"),
    (0.315, 0.63, "a little uncomfortable"),
    (0.5, 1.0, "fairly uncomfortable"),
    (0.8, 1.6, "uncomfortable"),
    (1.25, 2.5, "very uncomfortable"),
    (2.0, float("inf"), "extremely uncomfortable"),
)


def weight(
    accel_m_s2: Floats, fs_hz: float, weighting: Weighting, *, band_limit_only: bool = False
) -> Floats:
    """Weighted acceleration over time, from a filter at rest.

    accel_m_s2: (n,) or (n, k), m/s2, even steps. Returns the same shape, m/s2. Cost grows linearly with n.
    Blocks overlap by the filter's memory, so nothing wraps round from one end to the other.
    """
    x = np.asarray(accel_m_s2, dtype=float)
    columns = x.reshape(len(x), -1).T
    lead, size = _block_plan(fs_hz, weighting, columns.shape[1])
    response = weighting.band_limit if band_limit_only else weighting.response
    gain = response(fft.rfftfreq(size, 1 / fs_hz))
    step = size - lead - _RINGING_SAMPLES
    padded = np.pad(columns, ((0, 0), (lead, size)))
    out = np.empty_like(columns)
    for start in range(0, columns.shape[1], step):
        block = fft.irfft(fft.rfft(padded[:, start : start + size]) * gain, size)
        out[:, start : start + step] = block[:, lead : lead + min(step, columns.shape[1] - start)]
    return out.T.reshape(x.shape)


def _block_plan(fs_hz: float, weighting: Weighting, n: int) -> tuple[int, int]:
    """Samples of memory ahead of a block, and samples of a whole block."""
    lead = int(np.ceil(_MEMORY_CYCLES * fs_hz / weighting.f1_hz))
    useful = min(n, max(_BLOCK_SAMPLES, 2 * lead))
    return lead, fft.next_fast_len(lead + useful + _RINGING_SAMPLES, real=True)


def bridge(accel_m_s2: Floats, good: Flags) -> Floats:
    """(n, k) with samples that are not good replaced by straight lines between their good neighbours.

    A hole filled with nothing would make a step, and a knock left in would ring on in the filter.
    """
    if good.all() or not good.any():
        return accel_m_s2
    here, bad = np.flatnonzero(good), np.flatnonzero(~good)
    out = accel_m_s2.copy()
    for k in range(out.shape[1]):
        out[bad, k] = np.interp(bad, here, accel_m_s2[here, k])
    return out


def overall(signal: Signal, place: Place | None) -> Overall:
    """Root-mean-square of the three-axis vector, plain and weighted for the place, over the good samples.

    Seat, floor, body: Wk up and down, Wd both level axes, factors 1 (ISO 2631-1:1997, 8.2.2, seat surface and
    standing); the value is not known when the signal does not know which way is up. Steering wheel: Wh on
    every axis (ISO 5349-1:2001). Engine or a place not said: nobody's hand or seat, so no weighted value.
    """
    rms = _vector_rms(signal.accel_m_s2, signal.good)
    if place is None or place == "engine":
        return Overall(rms, None, None, None)
    hand = place == "steering wheel"
    if not hand and not signal.vertical_known:
        why = "Not weighted: the recording does not tell which way is up, and up and level count differently."
        return Overall(rms, None, None, why)
    x = bridge(signal.accel_m_s2, signal.good)
    if hand:
        weighted = weight(x, signal.fs_hz, WH)
    else:
        level = weight(x[:, :_VERTICAL_AXIS], signal.fs_hz, WD)
        weighted = np.column_stack([level, weight(x[:, _VERTICAL_AXIS], signal.fs_hz, WK)])
    widest, text = (WH, HAND) if hand else (WK, WHOLE_BODY)
    return Overall(rms, _vector_rms(weighted, signal.good), text, cut_off_note(signal.fs_hz, widest))


def _vector_rms(x: Floats, good: Flags) -> float:
    kept = x if good.all() else x[good]
    return float(np.sqrt(np.einsum("ij,ij->", kept, kept) / max(len(kept), 1)))


@lru_cache(maxsize=256)
def share_above(f_hz: float, weighting: Weighting) -> float:
    """Share 0..1 of the weighted energy of a flat acceleration spectrum that lies above `f_hz` (hertz)."""
    f = np.geomspace(weighting.f1_hz / 100, weighting.f2_hz * 100, 20001)
    energy = np.abs(weighting.response(f)) ** 2
    steps = np.concatenate([[0.0], np.cumsum(np.diff(f) * (energy[1:] + energy[:-1]) / 2)])
    return float(1 - np.interp(f_hz, f, steps) / steps[-1])


def cut_off_note(fs_hz: float, weighting: Weighting) -> str | None:
    """What half the sample rate leaves out of a weighting's band, in words; None if next to nothing."""
    share = share_above(fs_hz / 2, weighting)
    if share < _SHARE_WORTH_SAYING:
        return None
    return (
        f"{fs_hz:.0f} samples a second show shake up to {fs_hz / 2:.0f} Hz only; the {weighting.name} "
        f"weighting reaches {weighting.f2_hz:.0f} Hz. Of a shake equally strong at all frequencies, "
        f"{100 * share:.0f} % of the weighted energy would be missed: the true value may be higher."
    )


def comfort_words(weighted_rms_m_s2: float) -> tuple[str, ...]:
    """What seated people say of this weighted total (m/s2): one or two overlapping bands of ISO 2631-1:1997,
    C.2.3. For the seat only, for information, and no safety limit."""
    return tuple(
        words
        for low, high, words in COMFORT_BANDS
        if low <= weighted_rms_m_s2 <= high and not (low and weighted_rms_m_s2 == low)
    )

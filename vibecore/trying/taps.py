"""Taps beside the phone, by which a person marks a moment without looking at a screen.

A finger on a dashboard is over in milliseconds: it stands out in the change from one sample to the next,
where an engine's slow shake does not.
"""

from __future__ import annotations

import numpy as np

from vibecore.constants import MAD_TO_SD
from vibecore.model import Recording

SLICE_S = 0.2
APART_S = 2.0  # a tap and its bounce are one
TIMES = 8.0  # robust standard deviations over the middle: of 300 slices of noise none comes near
MOST = 6


def taps_s(recording: Recording) -> tuple[float, ...]:
    """Moments (s, from the first sample) at which something knocked, in order; the strongest few."""
    change = np.linalg.norm(np.diff(recording.accel_m_s2, axis=0), axis=1)
    place = (recording.t_s[1:] / SLICE_S).astype(int)
    peak = np.zeros(place[-1] + 1)
    np.maximum.at(peak, place, change)
    middle = np.median(peak)
    scatter = MAD_TO_SD * np.median(np.abs(peak - middle))
    found: list[float] = []
    for slot in np.argsort(-peak):
        if peak[slot] <= middle + TIMES * scatter or len(found) == MOST:
            break
        at_s = float((slot + 0.5) * SLICE_S)
        if all(abs(at_s - other) > APART_S for other in found):
            found.append(at_s)
    return tuple(sorted(found))

"""Does a line keep its hertz or its order while the engine's speed wanders?

What turns with the crank is a line along the crank's angle and smeared in hertz, what has a motor of its own
the other way round: the narrower of the two tells.
"""

from __future__ import annotations

import numpy as np

from vibecore import spectra
from vibecore.model import Signal, Spectrum, SpeedTrack
from vibecore.turning import turn

LOOK_S = 30.0  # shorter looks see less of the wander; longer ones hardly tell more on simulated cars
BAND_HZ = 0.7  # to either side of the line: an idle that wanders by 1 % smears 35 Hz so far to each


def narrower_in_hertz_db(signal: Signal, track: SpeedTrack, hertz: float) -> float:
    """10 log10 of a line's width along the crank's angle over its width in hertz, both in hertz: above 0 it
    keeps its hertz, below 0 its order; 0 where nothing stands there."""
    look = min(LOOK_S, len(signal.good) / signal.fs_hz)
    turns_hz = track.turns_hz
    along = turn(signal, track.angle_rev)
    in_hertz = spectra.of_signal(signal, resolution_hz=1 / look)
    in_orders = spectra.density(
        along.accel_m_s2, along.per_rev, resolution_hz=1 / (look * turns_hz), good=along.good
    )
    widths = _width(in_hertz, hertz, BAND_HZ), _width(in_orders, hertz / turns_hz, BAND_HZ / turns_hz)
    if not all(widths):
        return 0.0
    return float(10 * np.log10(widths[1] * turns_hz / widths[0]))


def _width(spectrum: Spectrum, at: float, reach: float) -> float:
    """Over how much of x the power about a line is spread: its square over its density's squares."""
    near = spectrum.psd[np.abs(spectrum.x - at) < reach]
    if not near.any():
        return 0.0
    return float(near.sum() ** 2 / (near**2).sum() * spectrum.x[1])

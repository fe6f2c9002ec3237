"""Firing orders above half the sample rate: sampling folds them down, and there they still tell the speed."""

from __future__ import annotations

import numpy as np

from vibecore import hann
from vibecore.constants import USABLE_SHARE
from vibecore.engine import Engine
from vibecore.model import Floats, Signal
from vibecore.speed import pattern

BELOW_HZ = 130.0  # below this rate firing orders of idling engines may fold down; above it next to none do
MOST_RPM = 2000.0  # a firing order folded down is only looked for at idle and raised idle
# Chance that the firing order, and its second harmonic, pass the phone's own filter when above half the rate.
SEEN = (0.35, 0.08)
HEIGHT = 6.0  # times the floor: five blocks of three axes, highest of three bins, one false in 1,000
NEAR_ORDERS = 1 / 3  # to each side, where the floor is read: short of the next half order
CLEAR_BINS = 4  # beside the phasor that are none of the floor: twice a Hann line's half width
REACH = 1.4  # of the sample rate: above it even a poor filter leaves nothing


def log_likelihood(
    signal: Signal, seen: pattern.OrderSpectrum, angle_rev: Floats, engine: Engine, speed_hz: float
) -> float:
    """Log likelihood ratio of the first two firing orders against stray lines, where they fold down.

    Samples of a turning phasor hold it whether or not it turns faster than half the rate, so it is read
    along the trial angle like any other order; whether the phone's own filter let it pass is not known.
    """
    total = 0.0
    crowd = seen.peaks
    stray = np.exp(seen.strays(crowd + 1) - seen.strays(crowd))  # chance of one stray line in just that place
    for order, chance in zip((engine.firing_order, 2 * engine.firing_order), SEEN, strict=True):
        if USABLE_SHARE * signal.fs_hz < order * speed_hz < REACH * signal.fs_hz:
            there = _height_along(signal, order * angle_rev, speed_hz) > HEIGHT
            # A line let through may have any level: that cancels against a stray line's.
            total += np.log(chance / stray) if there else np.log(1 - chance)
    return float(total)


def _height_along(signal: Signal, turns: Floats, speed_hz: float) -> float:
    """Power of the phasor that turns with `turns` (n,), in revolutions, over the floor beside it."""
    values = signal.accel_m_s2.T * np.exp(-2j * np.pi * turns)
    size = min(values.shape[1], round(pattern.LEAST_BLOCK_S * signal.fs_hz))
    blocks = np.lib.stride_tricks.sliding_window_view(values, size, axis=1)[:, :: max(1, size // 2)]
    power = (np.abs(np.fft.fft(blocks * hann.periodic(size), axis=2)) ** 2).mean(axis=1).sum(axis=0)
    near = max(CLEAR_BINS, int(NEAR_ORDERS * speed_hz * size / signal.fs_hz))
    above, below = power[CLEAR_BINS:][:near], power[: 1 - CLEAR_BINS][-near:]
    around = np.concatenate((above, below))
    return float(power[[-1, 0, 1]].max() / np.median(around))

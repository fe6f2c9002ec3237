"""Blows: shake that comes in bursts, and that reaches high.

What the crank does to a car comes through the mounts, which hold back what is fast, and by lines that last.
Metal that strikes metal behind them is a row of short blows: it swells and dies within a few hundredths of a
second, and its spectrum is flat up to the ring of the sheet that is struck.
"""

from __future__ import annotations

import math

import numpy as np
from scipy import fft, ndimage

from vibecore.constants import WHOLE_SHARE
from vibecore.engine import Vehicle
from vibecore.evidence.ground import JUDDER_HZ, between_density, ground_db
from vibecore.evidence.likelihood import Finding, Spread
from vibecore.evidence.scene import Scene
from vibecore.model import Analysis, Floats, Signal
from vibecore.sound_cars import Held, sound_level_db
from vibecore.units import signed, times_against

# Above what an engine does on its rubber and the strong low orders of most idles, below what few phones show.
HIGH_HZ = (25.0, 90.0)
IDLE: tuple[Held, ...] = ("neutral", "drive")
LEAST_SPAN = 1.5  # highest over lowest frequency, for blows to be told from lines
BLOW_S = 0.03  # a sheet's ring dies within it
# Stretches and bandwidth, at least: two independent values an axis (the sampling theorem), so that noise of a
# narrow band does not pass for blows.
LEAST_VALUES = 2.0
ABOUT_S = 1.0  # what swells more slowly is a fan that starts, or a hand
STRONGEST = 0.95  # quantile of the stretches, against the middle one
LEAST_GOOD_S = 5.0  # of good signal, for a twentieth to be something
# dB. Even noise of three axes has 2.7 (chi-square with 12 degrees of freedom: 21.0 over 11.3), steady lines
# less. Of 550 simulated cars of seven models those that nothing strikes had 2.1, spread 0.8. A pipe that
# strikes at every firing alike does not burst: hence the share of the exhaust's that do.
BURSTS_DB = Spread(
    (2.1, 0.9),
    {
        "exhaust-contact": (4.6, 1.6, 0.65),
        "uneven-combustion": (3.9, 1.5, 0.85),
        "cylinder-misfire": (4.5, 1.5, 0.1),
        "engine-mount": (3.8, 1.2, 0.2),
        "driveline": (3.3, 1.2, 0.4),
    },
    astray=0.05,
)
OVER_SOUND_DB = 4.0  # so much more than in a sound car must lie between the orders to have a shape of its own
# dB of the density above 25 Hz over that below 16 Hz.
REACH_DB = Spread(
    (-6.0, 9.0),
    {
        "exhaust-contact": (0.0, 6.0, 0.9),
        "engine-mount": (0.0, 7.0, 0.9),
        "idle-resonance": (-2.0, 8.0, 0.9),
        "uneven-combustion": (-15.0, 9.0, 0.9),
        "cylinder-misfire": (-11.0, 9.0, 0.8),
        "driveline": (-13.0, 9.0, 0.8),
    },
)


def bursts(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """Whether what shakes above 25 Hz at idle comes in bursts, where it does so most. On the engine itself
    what strikes behind its mounts does not show."""
    if scene.place == "engine":
        return None
    read = [(bursts_db(a.signal, _top_hz(a)), a.name) for role in IDLE for a in scene.role(role)]
    found = [(value, name) for value, name in read if value is not None]
    if not found:
        return None
    value, name = max(found)
    text = (
        f"over {HIGH_HZ[0]:.0f} Hz the strongest moments in {name} are {times_against(value)} the usual ones"
    )
    logs = BURSTS_DB.log_likelihood(value)
    return Finding("bursts", f"{text} ({signed(value, 0)} dB)", logs, (name,), any_speed=True)


def reach(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """How far up the shake between the orders reaches, where it is most over a sound car's."""
    read = [_reach(a, held, scene, vehicle) for held in IDLE for a in scene.role(held)]
    found = [one for one in read if one is not None]
    if not found:
        return None
    _, value, name = max(found)
    text = (
        f"hertz for hertz the shake between the orders over {HIGH_HZ[0]:.0f} Hz in {name} is "
        f"{times_against(value)} under {JUDDER_HZ[1]:.0f} Hz ({signed(value, 0)} dB)"
    )
    return Finding("reach", text, REACH_DB.log_likelihood(value), (name,))


def bursts_db(signal: Signal, top_hz: float) -> float | None:
    """How far the strongest twentieth of the moments stands over the middle one, of the shake from 25 Hz to
    top_hz, dB; each against the second about it. None where there is too little of it."""
    n, fs = len(signal.accel_m_s2), signal.fs_hz
    if top_hz < LEAST_SPAN * HIGH_HZ[0]:
        return None
    hz = fft.rfftfreq(n, 1 / fs)
    inside = (hz >= HIGH_HZ[0]) & (hz <= top_hz)
    high = fft.irfft(fft.rfft(signal.accel_m_s2, axis=0) * inside[:, None], n, axis=0)
    power = np.sum(high**2, axis=1)
    moment_s = max(BLOW_S, LEAST_VALUES / (top_hz - HIGH_HZ[0]))
    about = _mean_over(power, ABOUT_S * fs)
    good = signal.good & (about > 0)
    if np.count_nonzero(good) < LEAST_GOOD_S * fs:
        return None
    share = _mean_over(power, moment_s * fs)[good] / about[good]
    strongest, middle = np.quantile(share, (STRONGEST, 0.5))
    return float(10 * np.log10(strongest / middle)) if middle > 0 else None


def _mean_over(power: Floats, samples: float) -> Floats:
    return np.asarray(ndimage.uniform_filter1d(power, max(2, round(samples)), mode="reflect"))


def _reach(a: Analysis, held: Held, scene: Scene, vehicle: Vehicle) -> tuple[float, float, str] | None:
    """How far the shake between the orders is over a sound car's, dB, and its density up high over that down
    low; None if it is not, or not to be seen."""
    top_hz = _top_hz(a)
    level = ground_db(a, vehicle.engine.orders[-1])
    low, high = between_density(a, JUDDER_HZ), between_density(a, (HIGH_HZ[0], top_hz))
    if level is None or not low or not high or top_hz < LEAST_SPAN * HIGH_HZ[0]:
        return None
    over = level - sound_level_db("ground", held, vehicle.engine, scene.place)
    return (over, 10 * math.log10(high / low), a.name) if over >= OVER_SOUND_DB else None


def _top_hz(analysis: Analysis) -> float:
    return min(HIGH_HZ[1], WHOLE_SHARE * analysis.recording.sample_rate_hz)

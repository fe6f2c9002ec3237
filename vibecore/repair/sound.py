"""What a sound car shows on a line, roughly, and the chance that a repaired car is back there.

A fault adds its own mean square to what the sound car has: before = s + f, after = s + r^2 f, with s the
sound car's mean square, f the fault's, and r the share of its amplitude that is left: 0 if it is wholly
mended, about a half if it is half mended. s is known only roughly, log-normal over sound cars; f is not
known at all, flat in decibels. With the Jacobian of (s, f) to (before, after), 1 / (s f (1 - r^2)), the
likelihood of what was measured is

    p(before, after | r) = q(s_r) / (before - after),    s_r = after - r^2 (before - after) / (1 - r^2)

with q the density of s over sound cars, and nothing where s_r is negative: a fall of 9 dB leaves less than
0.35 of a fault whatever sound cars show; a smaller fall is a cure if sound cars show as much as what is
left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp, ndtri

from vibecore.engine import Engine
from vibecore.model import Floats, Place
from vibecore.units import DB_PER_LOG_POWER

# Share of a fault's amplitude that half a repair leaves: about one half, and how likely each share is.
HALF_MENDED, HALF_MENDED_SD = 0.5, 0.12
_SHARES = np.linspace(HALF_MENDED - 2 * HALF_MENDED_SD, HALF_MENDED + 2 * HALF_MENDED_SD, 25)
_SHARE_LOG_WEIGHTS = -0.5 * ((_SHARES - HALF_MENDED) / HALF_MENDED_SD) ** 2
ONE_IN_TWENTY = 1.645  # standard deviations of a normal distribution
_CHANCE_POINTS = 41  # equally likely values of the change that the chance is averaged over


@dataclass(frozen=True)
class SoundLevel:
    """Level of sound cars on a line: median in dB over 1 m/s2 rms, and standard deviation in dB over cars."""

    median_db: float
    spread_db: float

    @property
    def band_m_s2(self) -> tuple[float, float]:
        """rms between which two thirds of sound cars lie."""
        low, high = self.median_db - self.spread_db, self.median_db + self.spread_db
        return float(10 ** (low / 20)), float(10 ** (high / 20))

    @property
    def most_m_s2(self) -> float:
        """rms that one sound car in twenty passes."""
        return float(10 ** ((self.median_db + ONE_IN_TWENTY * self.spread_db) / 20))


# Sound cars at idle at the steering wheel or the seat. Firing order: 'good cars' 0.1 m/s2, practice figure,
# order of magnitude only. The others: between the medians of two unlike sets of simulated cars, for no
# measured collection was found; wide enough to hold both.
_FIRING = SoundLevel(-20.0, 7.0)
_FIRING_HARMONIC = SoundLevel(-37.0, 11.0)
_INERTIA = SoundLevel(-31.0, 11.0)  # orders on which the layout itself shakes
_FIRST_ORDER = SoundLevel(-33.0, 9.0)  # what balancing leaves
_OTHER_HALF_ORDER = SoundLevel(-42.0, 12.0)
_NO_ORDER = SoundLevel(-50.0, 12.0)  # a line between the half orders
_BETWEEN_ORDERS = SoundLevel(
    -36.0, 8.0
)  # all that lies between the half orders: cycles are never quite alike
# The whole shake: idle levels of good cars 0.1 m/s2 at wheel or seat (order of magnitude, from memory).
_WHOLE = SoundLevel(-19.0, 6.0)
_ENGINE_NOT_KNOWN = SoundLevel(-30.0, 12.0)  # which order fires was not said
# Common practice, no source: the engine itself shakes as much more as its mounts hold back.
_PLACE_DB: dict[Place | None, float] = {"engine": 18.0}


def sound_level(order: float, engine: Engine | None, place: Place | None) -> SoundLevel:
    """Typical level of sound cars at idle on this order."""
    kind = _kind(order, engine)
    return SoundLevel(kind.median_db + _PLACE_DB.get(place, 0.0), kind.spread_db)


def sound_between(place: Place | None) -> SoundLevel:
    """Typical level of sound cars at idle between the half orders, below the firing order."""
    return SoundLevel(_BETWEEN_ORDERS.median_db + _PLACE_DB.get(place, 0.0), _BETWEEN_ORDERS.spread_db)


def sound_whole(place: Place | None) -> SoundLevel:
    """Typical level of the whole shake of sound cars at idle."""
    return SoundLevel(_WHOLE.median_db + _PLACE_DB.get(place, 0.0), _WHOLE.spread_db)


def _kind(order: float, engine: Engine | None) -> SoundLevel:
    if abs(order * 2 - round(order * 2)) > 1e-6:
        return _NO_ORDER
    if engine is None:
        return _ENGINE_NOT_KNOWN
    if order == engine.firing_order:
        return _FIRING
    if order % engine.firing_order == 0:
        return _FIRING_HARMONIC
    if order in engine.normal_orders():
        return _INERTIA
    return _FIRST_ORDER if order == 1.0 else _OTHER_HALF_ORDER


def joined(levels: list[SoundLevel]) -> SoundLevel:
    """Of several lines' sum of mean squares: the medians add, the spread is the strongest line's."""
    strongest = max(levels, key=lambda lv: lv.median_db)
    return SoundLevel(
        float(10 * np.log10(sum(10 ** (lv.median_db / 10) for lv in levels))), strongest.spread_db
    )


def chance_of_cure(before_db: float, change_db: float, sd_db: float, sound: SoundLevel) -> float:
    """Chance 0..1 that a fall is a cure and not half a repair, both held equally likely beforehand.

    before_db: level before in dB over 1 m/s2 rms; change_db, sd_db: change with its whole standard error.
    """
    fall = np.minimum(change_db + sd_db * ndtri((np.arange(_CHANCE_POINTS) + 0.5) / _CHANCE_POINTS), -0.01)
    before, after = 10 ** (before_db / 10), 10 ** ((before_db + fall) / 10)
    share = (_SHARES**2)[:, None]
    measure = np.log(after / (before - after))  # of equal steps in decibels
    left = _log_density(after - share * (before - after) / (1 - share), sound) + measure
    half = logsumexp(left + _SHARE_LOG_WEIGHTS[:, None]) - logsumexp(_SHARE_LOG_WEIGHTS)
    whole = logsumexp(_log_density(after, sound) + measure)
    return float(1 / (1 + np.exp(min(half - whole, 700.0))))


def _log_density(ms: Floats, sound: SoundLevel) -> Floats:
    """Logarithm of the density of mean square over sound cars, a constant apart; minus infinity below 0."""
    db = 10 * np.log10(np.maximum(ms, np.finfo(float).tiny))
    log = -0.5 * ((db - sound.median_db) / sound.spread_db) ** 2 - db / DB_PER_LOG_POWER
    return np.where(ms > 0, log, -np.inf)

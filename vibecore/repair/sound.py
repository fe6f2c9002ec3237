"""What a sound car shows on a fault's lines, and the chance that a repaired car is back there.

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

import numpy as np
from scipy.special import logsumexp, ndtri

from vibecore.model import Floats
from vibecore.sound_cars import SoundLevel
from vibecore.units import DB_PER_LOG_POWER

# Share of a fault's amplitude that half a repair leaves: about one half, and how likely each share is.
HALF_MENDED, HALF_MENDED_SD = 0.5, 0.12
_SHARES = np.linspace(HALF_MENDED - 2 * HALF_MENDED_SD, HALF_MENDED + 2 * HALF_MENDED_SD, 25)
_SHARE_LOG_WEIGHTS = -0.5 * ((_SHARES - HALF_MENDED) / HALF_MENDED_SD) ** 2
_LEAST_FALL_DB = 0.01  # a rise is taken as this: it is no cure in any case
_CHANCE_POINTS = 41  # equally likely values of the change that the chance is averaged over


def chance_of_cure(before_db: float, change_db: float, sd_db: float, sound: SoundLevel) -> float:
    """Chance 0..1 that a fall is a cure and not half a repair, both held equally likely beforehand.

    before_db: level before in dB over 1 m/s2 rms; change_db, sd_db: change with its whole standard error.
    """
    sigmas = ndtri((np.arange(_CHANCE_POINTS) + 0.5) / _CHANCE_POINTS)
    fall = np.minimum(change_db + sd_db * sigmas, -_LEAST_FALL_DB)
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

"""What a sound car shows on a line, roughly, and the chance that a repaired car is back there.

A fault adds its own mean square to what the sound car has: before = s^2 + f^2, after = s^2 + (r f)^2, with
s the sound car's level and r the share of the fault that is left. s is known only roughly (log-normal over
sound cars) but it cannot exceed what is left after the repair. The repair is whole if r is under one third:

    r < 1/3   <=>   s^2 > (after - before / 9) / (1 - 1/9)

so a fall of more than 9.5 dB is a cure whatever sound cars show, and a smaller one is if sound cars show as
much.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtri

from vibecore.engine import Engine
from vibecore.model import Place

LEFTOVER_SHARE = (
    1 / 3
)  # of the fault's amplitude: half is plainly not cured, nothing left cannot be asked for
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


# Sound cars at idle, at the steering wheel. Firing order: 'good cars' 0.1 m/s2, practice figure, order of
# magnitude only; the others are the project's own simulated cars rounded (no measured collection was
# found). Wide on purpose.
_FIRING = SoundLevel(-18.0, 6.0)
_FIRING_HARMONIC = SoundLevel(-34.0, 8.0)
_INERTIA = SoundLevel(-26.0, 8.0)  # orders on which the layout itself shakes
_FIRST_ORDER = SoundLevel(-30.0, 7.0)  # what balancing leaves
_OTHER_HALF_ORDER = SoundLevel(-36.0, 8.0)
_NO_ORDER = SoundLevel(-42.0, 8.0)  # a line between the half orders
_ENGINE_NOT_KNOWN = SoundLevel(-28.0, 10.0)  # which order fires was not said
# Common practice, no source: the engine itself shakes as much more as its mounts hold back.
_PLACE_DB: dict[Place | None, float] = {"engine": 18.0}


def sound_level(order: float, engine: Engine | None, place: Place | None) -> SoundLevel:
    """Typical level of sound cars at idle on this order."""
    kind = _kind(order, engine)
    return SoundLevel(kind.median_db + _PLACE_DB.get(place, 0.0), kind.spread_db)


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
    """Chance 0..1 that under a third of the fault is left.

    before_db: level before in dB over 1 m/s2 rms; change_db, sd_db: change with its whole standard error.
    """
    changes = change_db + sd_db * ndtri((np.arange(_CHANCE_POINTS) + 0.5) / _CHANCE_POINTS)
    after = before_db + np.minimum(changes, 0.0)
    share = LEFTOVER_SHARE**2
    needed = (10 ** (after / 10) - share * 10 ** (before_db / 10)) / (1 - share)
    with np.errstate(divide="ignore"):
        needed_db = 10 * np.log10(np.maximum(needed, 0.0))
    # Chance that s lies between needed and after, given that it lies under after.
    below_after = log_ndtr((after - sound.median_db) / sound.spread_db)
    below_needed = log_ndtr((needed_db - sound.median_db) / sound.spread_db)
    return float(np.mean(-np.expm1(np.minimum(below_needed - below_after, 0.0))))

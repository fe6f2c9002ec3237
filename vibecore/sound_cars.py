"""What sound cars show at idle: what is said of a level and proven by it, and where evidence weighs from.

Idle levels of good and poor cars at the steering wheel: 0.1 and 0.5 m/s2 in all (order of magnitude, from
memory). No measured collection of the rest was found, and two unlike sets of simulated cars differ: order 1
is 0.03 m/s2 in the median of one and 0.008 in that of the other. So there are two tables. A proof must hold
in either world: its levels lie between the two and are wide. Evidence weighs levels against what faults add:
a sound level is moved together with those (order 1 lies between the two there as well). Whatever
is said to a person, of a finding or of a proof, is held against the proof's table (`sound_level`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vibecore.engine import Engine
from vibecore.model import Place

Family = Literal["firing", "half", "one", "second", "ground"]
Held = Literal["neutral", "drive", "raised"]
ONE_IN_TWENTY = 1.645  # standard deviations of a normal distribution
# Common practice, no source: the engine itself shakes as much more as its mounts hold back.
_PROOF_PLACE_DB: dict[Place | None, float] = {"engine": 18.0}


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

    def at(self, place: Place | None) -> SoundLevel:
        """The same, told for wheel or seat, at another place."""
        return SoundLevel(self.median_db + _PROOF_PLACE_DB.get(place, 0.0), self.spread_db)


# ---------------------------------------------------------------- what is said, and what a proof asks

# At the steering wheel or the seat. Firing order and whole shake: 'good cars' 0.1 m/s2, order of magnitude
# only. The others: between the medians of the two unlike sets of simulated cars, wide enough to hold both.
_FIRING = SoundLevel(-20.0, 7.0)
_FIRING_HARMONIC = SoundLevel(-37.0, 11.0)
_INERTIA = SoundLevel(-31.0, 11.0)  # orders on which the layout itself shakes
_FIRST_ORDER = SoundLevel(-33.0, 9.0)  # what balancing leaves
_OTHER_HALF_ORDER = SoundLevel(-42.0, 12.0)
NO_ORDER = SoundLevel(-50.0, 12.0)  # a line between the half orders
# All that lies between the half orders below the firing order, the skirts of lines too: no cycles are alike.
BETWEEN_ORDERS = SoundLevel(-36.0, 8.0)
WHOLE = SoundLevel(-19.0, 6.0)  # of one recording
_ENGINE_NOT_KNOWN = SoundLevel(-30.0, 12.0)  # which order fires was not said


def sound_level(order: float, engine: Engine | None, place: Place | None) -> SoundLevel:
    """Typical level of sound cars at idle on this order."""
    return _kind(order, engine).at(place)


def _kind(order: float, engine: Engine | None) -> SoundLevel:
    if abs(order * 2 - round(order * 2)) > 1e-6:
        return NO_ORDER
    if engine is None:
        return _ENGINE_NOT_KNOWN
    if order == engine.firing_order:
        return _FIRING
    if order % engine.firing_order == 0:
        return _FIRING_HARMONIC
    if order in engine.normal_orders():
        return _INERTIA
    return _FIRST_ORDER if order == 1.0 else _OTHER_HALF_ORDER


def joined(levels: Sequence[SoundLevel]) -> SoundLevel:
    """Of several lines' sum of mean squares: the medians add, the spread is the strongest line's."""
    strongest = max(levels, key=lambda lv: lv.median_db)
    return SoundLevel(
        float(10 * np.log10(sum(10 ** (lv.median_db / 10) for lv in levels))), strongest.spread_db
    )


# ---------------------------------------------------------------- where evidence weighs from

# Levels of a sound four at the steering wheel, neutral idle, dB re 1 m/s2.
SOUND_DB: dict[Family, float] = {
    "firing": -21.0,  # 0.09 m/s2
    "half": -42.0,  # 0.008 m/s2: cylinders differ by a few percent and cycles by some percent
    "one": -36.0,  # 0.016 m/s2: balance left over; between the two sets
    "second": -37.0,  # 0.014 m/s2: torque's second multiple is weaker, and the mounts pass less of it
    "ground": -28.0,  # 0.04 m/s2: the middles of the gaps, up to the last order
}
# More cylinders, smoother torque, higher frequency through the mounts.
FIRING_BY_CYLINDERS_DB = {1: 5.0, 2: 2.5, 3: 0.0, 4: 0.0, 5: -2.0, 6: -4.0, 8: -5.0, 10: -6.5, 12: -8.0}
ORDER_ONE_OF_LAYOUT_DB = 4.0  # a layout with a free couple or force at order 1 shows more of it when sound
# Change from neutral idle in a sound car: load and a lower speed in gear; mounts isolate better when raised.
HELD_DB: dict[Family, dict[Held, float]] = {
    "firing": {"neutral": 0.0, "drive": 3.5, "raised": -4.0},
    "half": {"neutral": 0.0, "drive": 2.0, "raised": 1.0},
    "one": {"neutral": 0.0, "drive": 2.0, "raised": -1.5},
    "second": {"neutral": 0.0, "drive": 3.0, "raised": -3.0},
    "ground": {"neutral": 0.0, "drive": 1.5, "raised": 0.5},
}
# Other places against the steering wheel: seat and floor shake less.
PLACE_DB: dict[Place, float] = {"steering wheel": 0.0, "seat": -5.0, "floor": -6.0, "body": -6.0}
# The engine itself shakes by what its mounts hold back more, whatever its cylinders: little at the half
# orders, 20 dB or so at the firing order, 12 dB an octave above it. Common practice, no source.
ENGINE_DB: dict[Family, float] = {"firing": 20.0, "half": 15.0, "one": 20.0, "second": 31.0, "ground": 18.0}
GAIN_SPREAD_DB = 4.5  # of a car as a whole, from car to car: it lifts or lowers all its levels
FAMILY_SPREAD_DB: dict[Family, float] = {  # of each family in one car, however held
    "firing": 4.0,
    "half": 9.0,
    "one": 6.5,
    "second": 7.0,
    "ground": 4.5,
}
# Of one level from how the engine is held: modes are met or left.
HELD_SPREAD_DB: dict[Held, float] = {"neutral": 3.5, "drive": 5.0, "raised": 6.5}
# Share of a line in the whole shake from which on it is what the person feels, 20 log10, and how far it may
# be under that: a fault that doubles the shake makes three quarters of its power.
COMPLAINT_DB, COMPLAINT_SD_DB = -4.0, 3.5
# The whole shake of the worst recording of a job: over WHOLE, for it is the worst of several.
WORST_WHOLE = SoundLevel(-17.0, 5.0)


def chance_felt(share_db: float) -> float:
    """What a person complains of is most of the shake; lines that are little of it are nobody's complaint."""
    return float(np.exp(-0.5 * (min(share_db - COMPLAINT_DB, 0.0) / COMPLAINT_SD_DB) ** 2))


def sound_level_db(family: Family, held: Held, engine: Engine, place: Place | None) -> float:
    """Where evidence weighs a family from, dB re 1 m/s2; not for words, see above."""
    level = SOUND_DB[family] + HELD_DB[family][held]
    level += ENGINE_DB[family] if place == "engine" else PLACE_DB[place] if place else 0.0
    if family in ("firing", "second") and place != "engine":
        nearest = min(FIRING_BY_CYLINDERS_DB, key=lambda n: abs(n - engine.cylinders))
        level += FIRING_BY_CYLINDERS_DB[nearest]
    if family == "one" and 1.0 in engine.normal_orders():
        level += ORDER_ONE_OF_LAYOUT_DB
    return level

"""How much fuel system cleaner goes into the fuel that is in the tank.

Dose = label rate x fuel in the tank. A label gives either volume per volume (2 fl oz per US gallon, 10 ml per
litre) or one bottle for so much fuel, which is the same thing. Volumes are litres here; factors are exact
(NIST SP 811, 2008, appendix B: 1 US gallon = 3.785411784 L = 128 US fluid ounces).
"""

from __future__ import annotations

from dataclasses import dataclass

from vibecore.errors import VibecoreError
from vibecore.units import LITRES_PER_US_GALLON, US_FLUID_OUNCES_PER_US_GALLON

LITRES_PER_FLUID_OUNCE = LITRES_PER_US_GALLON / US_FLUID_OUNCES_PER_US_GALLON
STRONGEST_RATE = 0.05  # 5 % of the fuel; labels ask 0.8-1.6 % (common practice, no source): beyond is a slip
LARGEST_TANK_L = 1000.0  # no car or van carries as much (common practice, no source): more is a slip


@dataclass(frozen=True)
class Dose:
    """Cleaner to add, in both unit systems."""

    litres: float

    @property
    def millilitres(self) -> float:
        return self.litres * 1000.0

    @property
    def fluid_ounces(self) -> float:
        return self.litres / LITRES_PER_FLUID_OUNCE


def additive_dose(label_rate: float, fuel_litres: float) -> Dose:
    """Cleaner for `fuel_litres` of fuel at `label_rate` (volume of cleaner per volume of fuel).

    Raises VibecoreError for a rate or an amount of fuel that cannot be meant.
    """
    if not 0 < label_rate <= STRONGEST_RATE:
        raise VibecoreError(
            f"A dose of {label_rate:.1%} of the fuel is outside what labels ask for "
            f"(up to {STRONGEST_RATE:.0%}). Read the label again."
        )
    if not 0 < fuel_litres <= LARGEST_TANK_L:
        raise VibecoreError(
            f"{fuel_litres:g} litres of fuel in the tank cannot be right. Enter what is in it now."
        )
    return Dose(label_rate * fuel_litres)


def rate_from_fluid_ounces_per_gallon(fluid_ounces: float) -> float:
    """Label rate, volume per volume, from US fluid ounces per US gallon."""
    return fluid_ounces / US_FLUID_OUNCES_PER_US_GALLON


def rate_from_millilitres_per_litre(millilitres: float) -> float:
    """Label rate, volume per volume, from millilitres per litre."""
    return millilitres / 1000.0


def litres_from_gallons(us_gallons: float) -> float:
    """Litres in so many US gallons."""
    return us_gallons * LITRES_PER_US_GALLON

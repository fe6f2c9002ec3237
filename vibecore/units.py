"""The only conversions between SI and what people read: everything inside the package is SI.

Levels are in decibels, likelihoods in natural logarithms; ISO 80000-3 defines the neper.

Exact factors are from the SI Brochure (BIPM, 9th edition, 2019) and NIST SP 811 (2008), appendix B.
"""

import math

STANDARD_GRAVITY_M_S2 = 9.80665  # exact by definition, SI Brochure
MM_PER_INCH = 25.4  # exact
KM_PER_MILE = 1.609344  # exact
LITRES_PER_US_GALLON = 3.785411784  # exact, 231 cubic inches
US_FLUID_OUNCES_PER_US_GALLON = 128.0  # exact
DB_PER_NEPER = 20 / math.log(10)  # an amplitude's decibels a unit of its natural logarithm
DB_PER_LOG_POWER = 10 / math.log(10)  # a mean square's or a likelihood ratio's


def percent(probability: float) -> str:
    """A probability for the eye; never a flat 0 or 100 %, for nothing here is that sure."""
    if probability < 0.01:
        return "under 1 %"
    return "over 99 %" if probability >= 0.995 else f"{100 * probability:.0f} %"

"""The only conversions between SI and what people read: everything inside the package is SI.

Exact factors are from the SI Brochure (BIPM, 9th edition, 2019) and NIST SP 811 (2008), appendix B.
"""

STANDARD_GRAVITY_M_S2 = 9.80665  # exact by definition, SI Brochure
MM_PER_INCH = 25.4  # exact
KM_PER_MILE = 1.609344  # exact
LITRES_PER_US_GALLON = 3.785411784  # exact, 231 cubic inches
US_FLUID_OUNCES_PER_US_GALLON = 128.0  # exact


def percent(probability: float) -> str:
    """A probability for the eye; never a flat 0 or 100 %, for nothing here is that sure."""
    if probability < 0.01:
        return "under 1 %"
    return "over 99 %" if probability >= 0.995 else f"{100 * probability:.0f} %"

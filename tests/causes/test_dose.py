"""Dose of fuel system cleaner against the label example and exact unit factors."""

from __future__ import annotations

import pytest

from vibecore.causes.dose import (
    additive_dose,
    litres_from_gallons,
    rate_from_fluid_ounces_per_gallon,
    rate_from_millilitres_per_litre,
)
from vibecore.errors import VibecoreError


def test_label_example_two_ounces_a_gallon_on_eight_gallons() -> None:
    """2 fl oz per US gallon on 8 gallons is 16 fl oz (label practice: common practice, no source)."""
    dose = additive_dose(rate_from_fluid_ounces_per_gallon(2), litres_from_gallons(8))
    assert dose.fluid_ounces == pytest.approx(16, rel=1e-12)
    assert dose.millilitres == pytest.approx(
        473.176473, rel=1e-8
    )  # 16 x 29.5735295625 ml, NIST SP 811 app. B


def test_the_same_label_in_metric() -> None:
    """2 fl oz per US gallon is 1/64 of the volume: 15.625 ml a litre."""
    dose = additive_dose(rate_from_millilitres_per_litre(15.625), 30.283294272)  # 8 gallons
    assert dose.fluid_ounces == pytest.approx(16, rel=1e-9)
    assert additive_dose(rate_from_millilitres_per_litre(10), 40).millilitres == pytest.approx(400)


@pytest.mark.parametrize(
    ("rate", "fuel"), [(0, 40), (-1, 40), (0.3, 40), (0.01, 0), (0.01, -3), (0.01, 5000)]
)
def test_impossible_doses_are_refused(rate: float, fuel: float) -> None:
    with pytest.raises(VibecoreError):
        additive_dose(rate, fuel)

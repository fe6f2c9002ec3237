"""What the catalogue knows of a cause and its parts, for the person who has to decide: prices, who should do
it, how it usually shows; and the dose of a cleaner by its label."""

from __future__ import annotations

import streamlit as st
import widgets

from vibecore.causes import dose
from vibecore.causes.load import CauseRow, SuspectRow, catalogue
from vibecore.errors import VibecoreError
from vibecore.model import RankedCause
from vibecore.units import percent

ADDITIVE = "fuel-additive"  # check whose steps send to the dose calculator
MONEY = "euros or US dollars"


def show_parts(cause: RankedCause) -> None:
    """The parts inside a cause, with what each usually costs, and what is known of the cause itself."""
    row = catalogue().find_cause(cause.id)
    known = {s.id: s for s in row.suspect} if row else {}
    parts = [(s.name, percent(s.probability), _price(known.get(s.id), row)) for s in cause.suspects]
    if any(price for *_, price in parts):
        widgets.show_table(("part", "if it is this cause", f"parts, usual price in {MONEY}"), parts)
    if row is not None:
        st.markdown(widgets.plain(row.note))
        does = row.does
        st.caption(
            widgets.plain(" ".join((does.orders, does.gear, does.speed, does.temperature, does.units)))
        )


def _price(part: SuspectRow | None, cause: CauseRow | None) -> str:
    if part is None or not any(part.cost):
        return ""
    low, high = part.cost
    shop = "; for a licensed shop" if cause is not None and part in cause.for_shop() else ""
    return f"{part.parts}: {low:.0f} to {high:.0f}{shop}"


def cost_words(cost: float) -> str:
    """What a check uses up, in words."""
    return f"Uses up about {cost:.0f} {MONEY}." if cost else ""


def show_dose(units: str) -> None:
    """How much cleaner the label asks for the fuel in the tank. units: 'US' or 'metric'."""
    us = units == "US"
    rate_unit, fuel_unit = ("US fl oz a US gallon", "US gallons") if us else ("ml a litre", "litres")
    st.markdown("**How much to add**")
    row = st.container(horizontal=True)
    rate = row.number_input(f"The label says, {rate_unit}", 0.0, None, None, format="%g")
    fuel = row.number_input(f"Fuel in the tank, {fuel_unit}", 0.0, None, None, format="%g")
    if not rate or not fuel:
        return
    try:
        if us:
            found = dose.additive_dose(
                dose.rate_from_fluid_ounces_per_gallon(rate), dose.litres_from_gallons(fuel)
            )
        else:
            found = dose.additive_dose(dose.rate_from_millilitres_per_litre(rate), fuel)
    except VibecoreError as error:
        st.error(widgets.plain(str(error)))
        return
    ounces, millilitres = f"{found.fluid_ounces:.1f} US fl oz", f"{found.millilitres:.0f} ml"
    st.markdown(f"Add **{ounces if us else millilitres}** ({millilitres if us else ounces}).")

"""Intake: the car, its lamp and codes, and when it shakes. Only the cylinders are needed."""

from __future__ import annotations

import re
from dataclasses import replace

import state
import streamlit as st
import widgets

from vibecore.case import Case
from vibecore.engine import Engine, Vehicle
from vibecore.jobs import save_case
from vibecore.model import Symptoms
from vibecore.units import KM_PER_MILE

WHEN = ("in gear", "neutral", "air conditioning on", "cold", "warm", "moving")
LAMP = {"not said": None, "off": False, "on": True}
UNITS = ("metric", "US")
MAX_TEXT = 2000  # characters of a note: a page of a report


def page() -> None:
    work = widgets.need_work("Car")
    if work is None:
        return
    st.markdown("Only the cylinders are needed. What you do not know, leave.")
    units = st.segmented_control("Units", UNITS, default=work.job.notes.get("units", UNITS[0]), required=True)
    with st.form("car", border=False):
        case, notes = _fields(work.case, dict(work.job.notes), units or UNITS[0])
        if st.form_submit_button("Save", type="primary"):
            state.hold(save_case(state.store(), work.job, case, notes=notes), "Saved.")
            st.rerun()


def _fields(case: Case, notes: dict[str, str], units: str) -> tuple[Case, dict[str, str]]:
    """The form, filled with what is known, and what it holds now."""
    title = st.text_input("Car", case.title, 120)
    vehicle = _vehicle(case.vehicle, units)
    symptoms = _symptoms(case.symptoms)
    notes["units"] = units
    for key, label in (("complaint", "What the customer says"), ("services", "Last services and parts")):
        notes[key] = st.text_area(label, notes.get(key, ""), max_chars=MAX_TEXT)
    return replace(case, title=title, vehicle=vehicle, symptoms=symptoms), notes


def _vehicle(vehicle: Vehicle, units: str) -> Vehicle:
    engine = vehicle.engine
    row = st.container(horizontal=True)
    cylinders = row.number_input("Cylinders (needed)", 1, 16, engine.cylinders, width=widgets.BOX_PX)
    layout = widgets.choice(row, "Layout", ("inline", "vee", "flat"), engine.arrangement)
    gearbox = widgets.choice(row, "Gearbox", ("automatic", "manual"), vehicle.transmission)
    strokes = row.selectbox("Strokes", (4, 2), (4, 2).index(engine.strokes), width=widgets.BOX_PX)
    low, high = _idle_spec(vehicle.idle_spec_rpm)
    per, unit = (KM_PER_MILE, "miles") if units == "US" else (1.0, "km")
    shown = None if vehicle.mileage_km is None else round(vehicle.mileage_km / per)
    driven = st.number_input(f"Mileage, {unit}", 0, 2_000_000, shown, 1000, width=2 * widgets.BOX_PX)
    km = vehicle.mileage_km if driven == shown else None if driven is None else driven * per
    return replace(
        vehicle,
        engine=Engine(int(cylinders), int(strokes), layout),
        transmission=gearbox,
        idle_spec_rpm=(low, high) if low and high else None,
        mileage_km=km,
    )


def _idle_spec(now: tuple[float, float] | None) -> tuple[float | None, float | None]:
    low, high = now or (None, None)
    row = st.container(horizontal=True)
    low = row.number_input("Maker's idle from, rpm", 0.0, 5000.0, low, 10.0, "%.0f", width=widgets.BOX_PX)
    high = row.number_input("to, rpm", 0.0, 5000.0, high, 10.0, "%.0f", width=widgets.BOX_PX)
    return low, high


def _symptoms(symptoms: Symptoms) -> Symptoms:
    lamp_now = next(word for word, lit in LAMP.items() if lit is symptoms.check_engine_light)
    lamp = st.radio("Engine lamp", list(LAMP), list(LAMP).index(lamp_now), horizontal=True)
    codes = st.text_input("Trouble codes", " ".join(symptoms.codes), placeholder="P0301 P0171")
    own = [w for w in symptoms.shakes_when if w not in WHEN]
    when = st.pills("It shakes", [*WHEN, *own], selection_mode="multi", default=list(symptoms.shakes_when))
    return Symptoms(LAMP[lamp], tuple(re.findall(r"[A-Z0-9]+", codes.upper())), tuple(when))

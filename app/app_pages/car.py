"""Intake: the car, its lamp and codes, and when it shakes. Only the cylinders are needed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

import state
import streamlit as st
import widgets

from vibecore.case import Case
from vibecore.constants import FARTHEST_KM, HIGHEST_SPEED_RPM, LONGEST_MM
from vibecore.engine import Engine, Vehicle
from vibecore.errors import CaseError
from vibecore.model import Symptoms
from vibecore.units import KM_PER_MILE, MM_PER_INCH

WHEN = ("in gear", "neutral", "air conditioning on", "cold", "warm", "moving")
LAMP = {"not said": None, "off": False, "on": True}
UNITS = ("metric", "US")
PULLEYS = {"metric": "crank 160\nalternator 58", "US": "crank 6.3\nalternator 2.28"}


def page() -> None:
    work = widgets.need_work("Car")
    if work is None:
        return
    st.markdown("Only the cylinders are needed. What you do not know, leave.")
    units = st.segmented_control("Units", UNITS, default=_units(work.job.notes), required=True)
    case, notes = _fields(work.case, dict(work.job.notes), units or UNITS[0])
    widgets.keep_as_said(work, case, notes)
    st.page_link(state.page("record"), label="On to the recordings", icon=":material/mic:")


def _fields(case: Case, notes: dict[str, str], units: str) -> tuple[Case, dict[str, str]]:
    """The boxes, filled with what is known, and what they hold now."""
    title = st.text_input("Car", case.title, 120).strip() or case.title
    vehicle = _vehicle(case.vehicle, units)
    symptoms = _symptoms(case.symptoms)
    if units != _units(notes):
        notes["units"] = units
    for key, label in (("complaint", "What the customer says"), ("services", "Last services and parts")):
        notes[key] = widgets.long_text(label, notes.get(key, ""))
    return replace(case, title=title, vehicle=vehicle, symptoms=symptoms), notes


def _units(notes: Mapping[str, str]) -> str:
    said = notes.get("units")
    return said if said in UNITS else UNITS[0]


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
    driven = st.number_input(f"Mileage, {unit}", 0, round(FARTHEST_KM), shown, 1000, width=2 * widgets.BOX_PX)
    km = vehicle.mileage_km if driven == shown else None if driven is None else driven * per
    pulleys, belt = _belt(vehicle, units)
    return replace(
        vehicle,
        engine=Engine(int(cylinders), int(strokes), layout),
        transmission=gearbox,
        idle_spec_rpm=(low, high) if low and high else None,
        mileage_km=km,
        pulleys_mm=pulleys,
        belt_length_mm=belt,
    )


def _belt(vehicle: Vehicle, units: str) -> tuple[dict[str, float], float | None]:
    """Pulleys and belt: they tell which unit a line on no engine order belongs to."""
    per, unit = (MM_PER_INCH, "inches") if units == "US" else (1.0, "mm")
    with st.expander("Belt and pulleys: they tell which unit shakes"):
        st.markdown("Engine off and key out before you measure.")
        shown = "\n".join(f"{name} {_short(size / per)}" for name, size in vehicle.pulleys_mm.items())
        text = st.text_area(f"Outside diameters, {unit}: one a line", shown, placeholder=PULLEYS[units])
        length = vehicle.belt_length_mm and round(vehicle.belt_length_mm / per, 2)
        belt = st.number_input(f"Belt length, {unit}", 0.0, LONGEST_MM, length, 10.0, "%.1f")
    pulleys = vehicle.pulleys_mm if text == shown else _pulleys(text, per)
    return pulleys, vehicle.belt_length_mm if belt == length else (belt or 0.0) * per or None


def _pulleys(text: str, per: float) -> dict[str, float]:
    """Lines of a name and a size. Raises CaseError for a line that is not."""
    pulleys = {}
    for line in filter(str.strip, text.splitlines()):
        match = re.fullmatch(r"(.*?\S)[\s:=]+(\d+(?:[.,]\d+)?)\s*", line)
        size = float(match[2].replace(",", ".")) if match else 0.0
        if match is None or not size:
            raise CaseError(f"'{line.strip()}' is no pulley: write a name and a size, like 'crank 160'.")
        pulleys[match[1].strip(" :=")] = size * per
    return pulleys


def _short(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _idle_spec(now: tuple[float, float] | None) -> tuple[float | None, float | None]:
    low, high = now or (None, None)
    row = st.container(horizontal=True)
    low = row.number_input(
        "Maker's idle from, rpm", 0.0, HIGHEST_SPEED_RPM, low, 10.0, "%.0f", width=widgets.BOX_PX
    )
    high = row.number_input("to, rpm", 0.0, HIGHEST_SPEED_RPM, high, 10.0, "%.0f", width=widgets.BOX_PX)
    return low, high


def _symptoms(symptoms: Symptoms) -> Symptoms:
    lamp_now = next(word for word, lit in LAMP.items() if lit is symptoms.check_engine_light)
    lamp = st.radio("Engine lamp", list(LAMP), list(LAMP).index(lamp_now), horizontal=True)
    shown = " ".join(symptoms.codes)
    text = st.text_input("Trouble codes", shown, placeholder="P0301 P0171")
    codes = symptoms.codes if text == shown else tuple(re.findall(r"[A-Z0-9]+", text.upper()))
    said = list(dict.fromkeys(symptoms.shakes_when))
    options = list(dict.fromkeys((*WHEN, *said)))
    when = st.pills("It shakes", options, selection_mode="multi", default=said)
    same = {*when} == {*symptoms.shakes_when}
    return Symptoms(LAMP[lamp], codes, symptoms.shakes_when if same else tuple(when))

"""Intake: the car, its lamp and codes, and when it shakes. Only the cylinders are needed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import boxes
import doubts
import streamlit as st
import widgets

from vibecore.case import Case
from vibecore.causes.checking import SHAKES_WHEN
from vibecore.causes.load import catalogue
from vibecore.constants import FARTHEST_KM, HIGHEST_SPEED_RPM, LONGEST_MM
from vibecore.engine import MOST_CYLINDERS, Vehicle
from vibecore.errors import CaseError
from vibecore.jobs import MAX_TITLE
from vibecore.model import Symptoms
from vibecore.units import KM_PER_MILE, MM_PER_INCH
from vibecore.words import joined

LAMP = {"not said": None, "off": False, "on": True}
STROKES = (4, 2)
UNITS = ("metric", "US")
HALF_A_CODE = re.compile(r"[PBCU]([0-3][0-9A-F]{0,2})?")  # SAE J2012: a letter, a figure 0 to 3, three more
PER_UNIT = {"mm": 1.0, "cm": 10.0, **dict.fromkeys(("in", "inch", "inches", '"', "″"), MM_PER_INCH)}
PULLEYS = {"metric": "crank 160\nalternator 58", "US": "crank 6.3\nalternator 2.28"}


def page() -> None:
    work = widgets.need_work("Car")
    if work is None:
        return
    st.markdown("Only the cylinders are needed. What you do not know, leave.")
    case, notes = work.case, work.job.notes
    now = notes.get("units")
    units = boxes.box(
        st.segmented_control, "units", boxes.put_note("units"), "Units", UNITS,
        default=now if now in UNITS else UNITS[0], required=True,
    )  # fmt: skip
    boxes.line("title", _put_title, "Car", case.title, MAX_TITLE)
    _vehicle(case.vehicle, units)
    _symptoms(case.symptoms)
    boxes.note("complaint", "What the customer says", notes)
    boxes.note("services", "Last services and parts", notes)
    boxes.save_button()
    widgets.main_step("record", "On to the recordings", ":material/mic:")


def _put_title(case: Case, notes: boxes.Notes, said: str) -> tuple[Case, boxes.Notes]:
    return replace(case, title=said.strip() or case.title), notes


def _of_vehicle(change: Callable[[Vehicle, Any], Vehicle]) -> boxes.Put:
    return lambda case, notes, said: (replace(case, vehicle=change(case.vehicle, said)), notes)


def _of_symptoms(change: Callable[[Symptoms, Any], Symptoms]) -> boxes.Put:
    return lambda case, notes, said: (replace(case, symptoms=change(case.symptoms, said)), notes)


def _vehicle(vehicle: Vehicle, units: str) -> None:
    def put(part: str) -> boxes.Put:
        return _of_vehicle(lambda v, said: replace(v, engine=replace(v.engine, **{part: said})))

    engine, width = vehicle.engine, boxes.BOX_PX
    gearbox = _of_vehicle(lambda v, said: replace(v, transmission=said))
    row = st.container(horizontal=True)
    boxes.number(
        row.number_input, "cylinders", put("cylinders"), "Cylinders (needed)", engine.cylinders,
        MOST_CYLINDERS, 1, 1, width=width,
    )  # fmt: skip
    boxes.choice(row, "layout", put("arrangement"), "Layout", ("inline", "vee", "flat"), engine.arrangement)
    boxes.choice(row, "gearbox", gearbox, "Gearbox", ("automatic", "manual"), vehicle.transmission)
    boxes.box(
        row.selectbox, "strokes", put("strokes"), "Strokes", STROKES, STROKES.index(engine.strokes),
        width=width,
    )  # fmt: skip
    if asks := doubts.cylinders_words(engine.cylinders):
        st.warning(widgets.plain(asks))
    sequence = f"Firing sequence: {engine.usual_firing_sequence}."
    st.caption(widgets.plain(" ".join(filter(None, (engine.assumed, sequence)))))
    _idle_spec(vehicle.idle_spec_rpm)
    _mileage(vehicle.mileage_km, units)
    with st.expander("Belt and pulleys: they tell which unit shakes"):
        st.markdown("Engine off and key out before you measure.")
        _belt(vehicle, units)


def _idle_spec(now: tuple[float, float] | None) -> None:
    """Both ends are needed; one alone waits for the other."""
    low, high = now or (None, None)
    keys = boxes.key_of("idle from"), boxes.key_of("idle to")

    def ends() -> tuple[float | None, float | None]:
        held = boxes.held(keys[0], low), boxes.held(keys[1], high)
        lower, upper = (end if end and 0 < end <= HIGHEST_SPEED_RPM else None for end in held)
        return lower, upper

    def put(vehicle: Vehicle, _said: float | None) -> Vehicle:
        lower, upper = ends()
        both = (min(lower, upper), max(lower, upper)) if lower and upper else None  # whichever came first
        return replace(vehicle, idle_spec_rpm=both)

    row = st.container(horizontal=True)
    for name, label, end in (("idle from", "Maker's idle from, rpm", low), ("idle to", "to, rpm", high)):
        boxes.number(
            row.number_input, name, _of_vehicle(put), label, end, HIGHEST_SPEED_RPM, 10.0, format="%.0f",
            width=boxes.NUMBER_PX,
        )  # fmt: skip
    if sum(end is not None for end in ends()) == 1:
        st.caption("Give both ends: one alone is not kept.")
    if asks := doubts.figure_words(*ends()):
        st.warning(widgets.plain(asks))


def _mileage(km: float | None, units: str) -> None:
    per, unit = (KM_PER_MILE, "miles") if units == "US" else (1.0, "km")
    put = _of_vehicle(lambda v, said: replace(v, mileage_km=None if said is None else said * per))
    shown = None if km is None else round(km / per)
    boxes.number(
        st.number_input, f"mileage in {unit}", put, f"Mileage, {unit}", shown, FARTHEST_KM / per, 1000,
        width=2 * boxes.BOX_PX,
    )  # fmt: skip


def _belt(vehicle: Vehicle, units: str) -> None:
    """Pulleys and belt: they tell which unit a line on no engine order belongs to."""
    per, unit = (MM_PER_INCH, "inches") if units == "US" else (1.0, "mm")
    pulleys = _of_vehicle(lambda v, said: replace(v, pulleys_mm=_pulleys(said, per)))
    shown = "\n".join(f"{name} {_short(size / per)}" for name, size in vehicle.pulleys_mm.items())
    said = boxes.box(
        st.text_area, f"pulleys in {unit}", pulleys, f"Outside diameters, {unit}: one a line", shown,
        placeholder=PULLEYS[units],
    )  # fmt: skip
    if open_line := _without_a_size(said):
        st.caption(widgets.plain(f"{open_line} has no size yet, so it is not used."))
    belt = _of_vehicle(lambda v, said: replace(v, belt_length_mm=(said or 0.0) * per or None))
    length = vehicle.belt_length_mm and round(vehicle.belt_length_mm / per, 2)
    boxes.number(
        st.number_input, f"belt in {unit}", belt, f"Belt length, {unit}", length, LONGEST_MM / per, 10.0,
        format="%.1f",
    )  # fmt: skip


def _pulleys(text: str, per: float) -> dict[str, float]:
    """Lines of a name and a size, with its unit, or in `per` millimetres. Raises CaseError for a line that is
    not, but for the last while only its name is there: the box is kept at every pause in typing."""
    pulleys = {}
    lines = list(filter(str.strip, text.splitlines()))
    for line in lines[:-1] if _without_a_size(text) else lines:
        match = re.fullmatch(r"(.*?\S)[\s:=]+(\d+(?:[.,]\d+)?)\s*(\D*?)\.?\s*", line)
        own_per = PER_UNIT.get(match[3].lower(), 0.0) if match and match[3] else per
        size_mm = float(match[2].replace(",", ".")) * own_per if match else 0.0
        if match is None or not 0 < size_mm <= LONGEST_MM:
            raise CaseError(f"'{line.strip()}' is no pulley: write a name and a size, like 'crank 160'.")
        name = match[1].strip(" :=")
        if name in pulleys:
            raise CaseError(f"'{name}' stands there twice: give each pulley a name of its own.")
        pulleys[name] = size_mm
    return pulleys


def _without_a_size(text: str) -> str:
    """The name in the last line, where its size is still to come."""
    last = text.rstrip().rpartition("\n")[2].strip()
    return "" if re.search(r"\d", last) else last.rstrip(" :=")


def _short(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _symptoms(symptoms: Symptoms) -> None:
    lit = _of_symptoms(lambda s, said: replace(s, check_engine_light=LAMP[said]))
    now = next(word for word, lit in LAMP.items() if lit is symptoms.check_engine_light)
    boxes.box(st.radio, "lamp", lit, "Engine lamp", list(LAMP), list(LAMP).index(now), horizontal=True)
    codes = _of_symptoms(lambda s, said: replace(s, codes=tuple(re.findall(r"[A-Z0-9]+", said.upper()))))
    shown = " ".join(symptoms.codes)
    boxes.box(st.text_input, "codes", codes, "Trouble codes", shown, placeholder="P0301 P0171")
    half = [code for code in symptoms.codes if HALF_A_CODE.fullmatch(code)]
    if half:  # said softly: the box is kept at every pause in typing
        told = f"Not a whole code yet, so not used: {', '.join(half)}."
        st.caption(widgets.plain(f"{told} A code is a letter and four figures, like P0301."))
    strange = [code for code in symptoms.codes if code not in half and catalogue().code(code) is None]
    if strange:
        meant = [code for code in (f"P{code}" for code in strange) if catalogue().code(code)]
        hint = f" Did you mean {joined(meant)}? Write the letter too." if meant else ""
        st.warning(widgets.plain(f"Not in the list of codes, so not used: {', '.join(strange)}.{hint}"))
    when = list(dict.fromkeys(symptoms.shakes_when))
    put = _of_symptoms(lambda s, said: replace(s, shakes_when=tuple(said)))
    options = list(dict.fromkeys((*SHAKES_WHEN, *when)))
    boxes.box(st.pills, "when", put, "It shakes", options, selection_mode="multi", default=when)

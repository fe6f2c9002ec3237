"""How each recording was made, row by row: what is guessed is confirmed here, and its quality is told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from typing import cast, get_args

import cache
import guesses
import state
import streamlit as st
import widgets
from streamlit.delta_generator import DeltaGenerator

from vibecore import figures
from vibecore.case import CaseRecording
from vibecore.engine import Vehicle
from vibecore.guess import looks_raised
from vibecore.jobs import drop_recording, save_case
from vibecore.model import Condition, Gear, Place, SpeedHold, Stage

STAGES = {"before": "before repair", "after": "after repair"}
MAX_ACCESSORIES = 200  # characters


def show(work: state.Work) -> None:
    """All rows, what to take out, and the picture of the latest recording; what is chosen is kept at once."""
    if not work.case.recordings:
        return
    st.header("How each was made", anchor=False)
    reasons = guesses.reasons_of(work.job.notes)
    _ask_to_confirm(work, reasons)
    rows = [_show_row(work, place, reasons) for place in range(len(work.case.recordings))]
    recordings = tuple(item for item, _ in rows)
    if recordings != work.case.recordings:
        _keep(work, recordings, reasons)
    with st.expander("Take a recording out"):
        names = [r.file.as_posix() for r in recordings]
        name = st.selectbox("Which", names, None, placeholder="choose one", key=_which(work))
        if st.button("Take it out of the job", disabled=name is None) and name is not None:
            state.hold(drop_recording(state.store(), work.job, name), f"{name} is out of the job.")
            st.rerun()
    results = widgets.results(work)  # last, so that the boxes need not wait for it
    for item, room in rows:
        _show_quality(room, item, work.case.vehicle, results)
    latest = results.analysis(recordings[-1].file.as_posix())
    if latest is not None:
        st.header(f"The latest: {widgets.plain(latest.name)}", anchor=False)
        widgets.show_picture(figures.order_spectrum(latest, work.case.vehicle.engine), "latest")


def _ask_to_confirm(work: state.Work, reasons: Mapping[str, str]) -> None:
    if not reasons:
        return
    st.info(f"{guesses.words(len(reasons))} Put right what is wrong, add what is not said, then:")
    if st.button("All is right as it stands", type="primary"):
        state.hold(state.store().save(work.job, notes=guesses.notes_with(work.job, {})), "Confirmed.")
        st.rerun()


def _keep(work: state.Work, recordings: tuple[CaseRecording, ...], reasons: Mapping[str, str]) -> None:
    """What a person has chosen is no guess any more."""
    pairs = zip(recordings, work.case.recordings, strict=True)
    changed = {new.file.as_posix() for new, old in pairs if new != old}
    notes = guesses.notes_with(work.job, {name: why for name, why in reasons.items() if name not in changed})
    state.hold(save_case(state.store(), work.job, replace(work.case, recordings=recordings), notes=notes))
    st.rerun()


def _show_row(
    work: state.Work, place_in_job: int, reasons: Mapping[str, str]
) -> tuple[CaseRecording, DeltaGenerator]:
    """One recording: boxes for its condition, as they stand now, and room for its quality."""
    item, earlier = work.case.recordings[place_in_job], work.case.recordings[:place_in_job]
    name = item.file.as_posix()
    key = partial(_key, work, name)
    with st.container(border=True):
        st.markdown(f"**{widgets.plain(name)}**")
        if name in reasons:
            st.caption(widgets.plain(f"Guessed. {reasons[name] or 'Nothing tells how it was made.'}"))
        room = st.empty()
        room.markdown("Being read.")
        made = _more(_boxes(item.condition, key), key)
        again = made.taped_anew or any(made.made_as(e.condition) for e in earlier)
        if again:
            label = "The phone was taped on anew for this one, and nothing was mended in between"
            made = replace(made, taped_anew=st.checkbox(label, made.taped_anew, key=key("taped")))
    return replace(item, condition=made), room


def _boxes(condition: Condition, key: Callable[[str], str]) -> Condition:
    row = st.container(horizontal=True)
    place = widgets.choice(row, "Phone on the", get_args(Place), condition.place, key("place"))
    gear = widgets.choice(row, "Gear", get_args(Gear), condition.gear, key("gear"))
    hold = widgets.choice(row, "Speed", get_args(SpeedHold), condition.speed_hold, key("hold"))
    stage = row.selectbox(
        "When", list(STAGES), list(STAGES).index(condition.stage), STAGES.__getitem__,
        key=key("stage"), width=widgets.BOX_PX,
    )  # fmt: skip
    return replace(condition, place=place, gear=gear, speed_hold=hold, stage=cast(Stage, stage))


def _more(condition: Condition, key: Callable[[str], str]) -> Condition:
    shown = round(condition.tachometer_rpm or 0) or None  # the box shows whole turns
    with st.expander("Tachometer, and what was switched on"):
        rpm = st.number_input("Tachometer, rpm (if you looked)", 0, 20000, shown, 50, key=key("rpm"))
        listed = ", ".join(condition.accessories)
        on = widgets.line_of_text("Switched on (with commas)", listed, MAX_ACCESSORIES, key("on"))
    units = tuple(part.strip() for part in on.split(",") if part.strip())
    units = condition.accessories if on == listed else units
    tachometer = condition.tachometer_rpm if rpm == shown else float(rpm or 0) or None
    return replace(condition, tachometer_rpm=tachometer, accessories=units)


def _key(work: state.Work, recording: str, box: str) -> str:
    return state.fresh_key(work.job, f"{box} {recording}")


def _which(work: state.Work) -> str:
    """Another box once one is out, empty again: a second press must not take out the next."""
    return state.fresh_key(work.job, f"take out one of {len(work.case.recordings)}")


def _show_quality(
    room: DeltaGenerator, item: CaseRecording, vehicle: Vehicle, results: cache.Results
) -> None:
    name = item.file.as_posix()
    analysis = results.analysis(name)
    if analysis is None:
        room.error(widgets.plain(results.unread.get(name, "This recording cannot be read.")))
        return
    icon, line = widgets.quality(analysis, vehicle.engine)
    if item.condition.speed_hold is None and looks_raised(analysis.speed, vehicle.idle_spec_rpm):
        assert analysis.speed is not None
        line += f" It reads as {analysis.speed.mean_rpm:.0f} rpm: if the idle was raised, say so below."
    room.markdown(f"{icon} {widgets.plain(line)}")

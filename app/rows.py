"""How each recording was made, row by row: what is guessed is confirmed here, and its quality is told."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, get_args

import boxes
import cache
import guesses
import state
import streamlit as st
import widgets
from streamlit.delta_generator import DeltaGenerator

from vibecore import figures
from vibecore.case import Case, CaseRecording
from vibecore.constants import HIGHEST_SPEED_RPM
from vibecore.engine import Vehicle
from vibecore.guess import looks_raised
from vibecore.jobs import drop_recording
from vibecore.model import Condition, Gear, Place, SpeedHold

STAGES = {"before": "before repair", "after": "after repair"}
MAX_ACCESSORIES = 200  # characters


def show(work: state.Work) -> None:
    """All rows, what to take out, and the picture of the latest recording; what is chosen is kept at once."""
    if not work.case.recordings:
        return
    st.header("How each was made", anchor=False)
    reasons = guesses.reasons_of(work.job.notes)
    if reasons:
        st.info(
            f"{guesses.words(len(reasons))} Put right what is wrong, add what is not said, then say so below."
        )
    recordings = work.case.recordings
    rooms = [_show_row(work, place, reasons) for place in range(len(recordings))]
    if reasons:
        _ask_to_confirm(work)
    with st.expander("Take a recording out"):
        names = [r.file.as_posix() for r in recordings]
        name = st.selectbox("Which", names, None, placeholder="choose one", key=_which(work))
        if st.button("Take it out of the job", disabled=name is None) and name is not None:
            state.window().hold(drop_recording(state.store(), work.job, name), f"{name} is out of the job.")
            st.rerun()
    results = widgets.results(work)  # last, so that the boxes need not wait for it
    for item, room in zip(recordings, rooms, strict=True):
        _show_quality(room, item, work.case.vehicle, results)
    latest = results.analysis(recordings[-1].file.as_posix())
    if latest is not None:
        st.header(f"The latest: {widgets.plain(latest.name)}", anchor=False)
        widgets.show_picture(figures.order_spectrum(latest, work.case.vehicle.engine), "latest")


def _ask_to_confirm(work: state.Work) -> None:
    if st.button("All is right as it stands", type="primary"):
        job = state.store().save(work.job, notes=guesses.notes_with(work.job.notes, {}))
        state.window().hold(job, f"Confirmed. {_left_open(work.case.recordings)}".strip())
        st.rerun()


def _left_open(recordings: Sequence[CaseRecording]) -> str:
    """How many say nothing of gear or speed; with the engine off no gear is needed."""
    made = [r.condition for r in recordings]
    count = sum(c.speed_hold is None or (c.gear is None and c.speed_hold != "engine off") for c in made)
    return f"Gear or speed is not said of {count} of them: say it where you know it." if count else ""


def _show_row(work: state.Work, place_in_job: int, reasons: Mapping[str, str]) -> DeltaGenerator:
    """One recording: boxes for its condition, and room for its quality."""
    item, earlier = work.case.recordings[place_in_job], work.case.recordings[:place_in_job]
    name, made = item.file.as_posix(), item.condition
    with st.container(border=True):
        st.markdown(f"**{widgets.plain(name)}**")
        if name in reasons:
            st.caption(widgets.plain(f"Guessed. {reasons[name] or guesses.NO_REASON}"))
        room = st.empty()
        room.markdown("Being read.")
        _boxes(name, made)
        if made.taped_anew or any(made.made_as(e.condition) for e in earlier):
            label = "The phone was taped on anew for this one, and nothing was mended in between"
            boxes.box(st.checkbox, f"taped {name}", _put(name, "taped_anew"), label, made.taped_anew)
    return room


def _boxes(name: str, made: Condition) -> None:
    row = st.container(horizontal=True)
    for part, label, choices, now in (
        ("place", "Phone on the", get_args(Place), made.place),
        ("gear", "Gear", get_args(Gear), made.gear),
        ("speed_hold", "Speed", get_args(SpeedHold), made.speed_hold),
    ):
        boxes.choice(row, f"{part} {name}", _put(name, part), label, choices, now)
    boxes.box(
        row.selectbox, f"stage {name}", _put(name, "stage"), "When", list(STAGES),
        list(STAGES).index(made.stage), STAGES.__getitem__, width=boxes.BOX_PX,
    )  # fmt: skip
    shown = round(made.tachometer_rpm or 0) or None  # the box shows whole turns
    with st.expander("Tachometer, and what was switched on"):
        rpm = _put(name, "tachometer_rpm", lambda said: float(said or 0) or None)
        boxes.box(
            st.number_input, f"rpm {name}", rpm, "Tachometer, rpm (if you looked)",
            0, round(HIGHEST_SPEED_RPM), shown, 50,
        )  # fmt: skip
        on = _put(name, "accessories", _listed)
        listed = ", ".join(made.accessories)
        boxes.line(f"on {name}", on, "Switched on (with commas)", listed, MAX_ACCESSORIES)


def _listed(said: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in said.split(",") if part.strip())


def _put(name: str, part: str, of: Callable[[Any], Any] = lambda said: said) -> boxes.Put:
    """This part of one recording's condition; the rest of it stays a guess until the person says that all is
    right. of: the part from what the box holds."""

    def put(case: Case, notes: boxes.Notes, said: Any) -> tuple[Case, boxes.Notes]:
        recordings = tuple(
            replace(r, condition=replace(r.condition, **{part: of(said)})) if r.file.as_posix() == name else r
            for r in case.recordings
        )
        reasons = guesses.reasons_of(notes)
        if name in reasons:
            notes = guesses.notes_with(notes, reasons | {name: guesses.CHANGED})
        return replace(case, recordings=recordings), notes

    return put


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
    icon, lines = widgets.quality(analysis, vehicle.engine)
    if item.condition.speed_hold is None and looks_raised(analysis.speed, vehicle.idle_spec_rpm):
        assert analysis.speed is not None
        lines.append(f"It reads as {analysis.speed.mean_rpm:.0f} rpm: if the idle was raised, say so below.")
    room.markdown("  \n".join([f"{icon} {widgets.plain(lines[0])}", *map(widgets.plain, lines[1:])]))

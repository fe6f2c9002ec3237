"""How each recording was made, row by row: what is guessed is confirmed here, and its quality is told."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, get_args

import boxes
import cache
import doubts
import guesses
import judged
import pickers
import stages
import state
import streamlit as st
import widgets
from streamlit.delta_generator import DeltaGenerator

from vibecore import figures
from vibecore.case import Case, CaseRecording
from vibecore.constants import HIGHEST_SPEED_RPM, SAME_CONTENTS
from vibecore.contract import all_warnings
from vibecore.engine import Vehicle
from vibecore.jobs import drop_recording, with_condition, without_recording
from vibecore.model import Analysis, Condition, Gear, Place, SpeedHold
from vibecore.spoken import spoken_by_file

MOST_NAMED = 3  # recordings in a line
MAX_ACCESSORIES = 200  # characters


def show(work: state.Work, way_on: bool) -> None:
    """All rows, what to take out, and the picture of the latest recording; what is chosen is kept at once.
    way_on: once all is said, link to the next page below the rows."""
    recordings = work.case.recordings
    if not recordings:
        widgets.offer_undo(work, aside=False)
        return
    st.header("How each was made", anchor=False)
    doubt, progress = st.empty(), st.container()
    asked = stages.asked(work.job.notes, work.case)
    if asked:
        st.warning(stages.words(len(asked)))
    reasons = guesses.reasons_of(work.job.notes, work.case)
    if reasons:
        st.info(f"{guesses.words(reasons)} Put right what is wrong, add what is not said, then say so below.")
    rooms = [_show_row(work, place, reasons) for place in range(len(recordings))]
    if reasons:
        _ask_to_confirm(work)
    elif way_on:
        page, label, icon = the_way_on(work.case)
        st.page_link(state.page(page), label=label, icon=icon)
    _offer_to_take_out(work)
    widgets.offer_undo(work, aside=False)
    results = widgets.results(work, progress)  # last, so that the boxes need not wait for it
    for item, room in zip(recordings, rooms, strict=True):
        _show_quality(room, item, work.case.vehicle, results)
    analyses = results.diagnosis.analyses if results.diagnosis else ()
    if asks := doubts.engine_words(work.case, analyses):
        doubt.warning(widgets.plain(asks))
    if latest := _latest(analyses):
        name = spoken_by_file(analyses)[latest.name]
        st.header(f"The latest: {widgets.plain(name)}", anchor=False)
        widgets.show_picture(figures.order_spectrum(latest, work.case.vehicle.engine), "latest")


def the_way_on(case: Case) -> tuple[str, str, str]:
    """Page, label and icon of what comes after the recordings."""
    if any(r.condition.stage == "after" for r in case.recordings):
        return "proof", "To the proof", ":material/compare_arrows:"
    return "causes", "To the causes", ":material/build:"


def _latest(analyses: Sequence[Analysis]) -> Analysis | None:
    """The last that can be read and is no copy of another."""
    own = [a for a in analyses if all(w.code != SAME_CONTENTS for w in all_warnings(a))]
    return own[-1] if own else None


def _offer_to_take_out(work: state.Work) -> None:
    with st.expander("Take a recording out"):
        names = [r.name for r in work.case.recordings]
        titles = {r.name: pickers.file_title(r) for r in work.case.recordings}
        name = st.selectbox(
            "Which", names, None, titles.__getitem__, placeholder="choose one", key=_which(work)
        )
        if st.button("Take it out of the job", disabled=name is None) and name is not None:
            notes = _notes_without(work, name)
            job = drop_recording(state.store(), work.job, name, notes)
            state.window().hold_without(job)
            st.rerun()


def _notes_without(work: state.Work, name: str) -> dict[str, str]:
    """The job's notes with nothing left that told of this recording."""
    left = without_recording(work.case, name)
    notes = guesses.notes_with(work.job.notes, guesses.reasons_of(work.job.notes, left))
    return stages.notes_with(notes, stages.asked(notes, left))


def _ask_to_confirm(work: state.Work) -> None:
    """What stays unsaid stands beside the button: with that the ranking is weaker."""
    unsaid = doubts.unsaid(work.case.recordings)
    if unsaid:
        which = ", ".join(unsaid) if len(unsaid) <= MOST_NAMED else f"{len(unsaid)} recordings"
        st.caption(widgets.plain(f"Gear or speed is not said for {which}: say it where you know it."))
    if st.button("All is right as it stands", type="secondary" if unsaid else "primary"):
        job = state.store().save(work.job, notes=guesses.notes_with(work.job.notes, {}))
        left = f" Gear or speed is not said for {len(unsaid)} of them." if unsaid else ""
        state.window().hold(job, f"Confirmed.{left}")
        st.rerun()


def _show_row(work: state.Work, place_in_job: int, reasons: Mapping[str, str]) -> DeltaGenerator:
    """One recording: boxes for its condition, and room for its quality."""
    item, earlier = work.case.recordings[place_in_job], work.case.recordings[:place_in_job]
    name, made = item.name, item.condition
    with st.container(border=True):
        st.markdown(f"**{widgets.plain(name)}**")
        if name in reasons:
            st.caption(widgets.plain(guesses.row_words(reasons[name])))
        room = st.empty()
        room.markdown("Being read.")
        asked = name in stages.asked(work.job.notes, work.case)
        if asked:
            stages.ask(name)
        _boxes(name, made, asked)
        alike = not doubts.unsaid_of([item]) and any(made.made_as(e.condition) for e in earlier)
        if not asked and (made.taped_anew or alike):
            label = "The phone was taped on anew for this one, and nothing was mended in between"
            boxes.box(st.checkbox, f"taped {name}", _put(name, "taped_anew"), label, made.taped_anew)
    return room


def _boxes(name: str, made: Condition, asked: bool) -> None:
    """asked: the question in place of the box tells before or after."""
    row = st.container(horizontal=True)
    for part, label, choices, now in (
        ("place", "Phone on the", get_args(Place), made.place),
        ("gear", "Gear", get_args(Gear), made.gear),
        ("speed_hold", "Speed", get_args(SpeedHold), made.speed_hold),
    ):
        boxes.choice(row, f"{part} {name}", _put(name, part), label, choices, now)
    if not asked:
        known = stages.STAGES
        boxes.box(
            row.selectbox, f"stage {name}", _put(name, "stage"), "When", list(known),
            list(known).index(made.stage), known.__getitem__, width=boxes.BOX_PX,
        )  # fmt: skip
    shown = round(made.tachometer_rpm or 0) or None  # the box shows whole turns
    with st.expander("Tachometer, and what was switched on"):
        rpm = _put(name, "tachometer_rpm", lambda said: float(said or 0) or None)
        boxes.number(
            st.number_input, f"rpm {name}", rpm, "Tachometer, rpm (if you looked)", shown,
            HIGHEST_SPEED_RPM, 50,
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
        reasons = guesses.reasons_of(notes, case)
        if name in reasons:
            notes = guesses.notes_with(notes, reasons | {name: guesses.once_changed(reasons[name])})
        return with_condition(case, name, **{part: of(said)}), notes

    return put


def _which(work: state.Work) -> str:
    """Another box once one is out, empty again: a second press must not take out the next."""
    return state.fresh_key(work.job, f"take out one of {len(work.case.recordings)}")


def _show_quality(
    room: DeltaGenerator, item: CaseRecording, vehicle: Vehicle, results: cache.Results
) -> None:
    name = item.name
    analysis = results.analysis(name)
    if analysis is None:
        room.error(widgets.plain(results.unread.get(name, "This recording cannot be read.")))
        return
    icon, found = judged.quality(analysis, vehicle.engine)
    first, *more = map(widgets.plain, found)
    lines = [f"{icon} {first}", *(f":gray[{m}]" if icon == judged.GOOD else m for m in more)]
    analyses = results.diagnosis.analyses if results.diagnosis else ()
    if asks := doubts.hold_words(analysis, analyses, vehicle.idle_spec_rpm, "below"):
        lines.append(widgets.plain(asks))
    room.markdown("  \n".join(lines))

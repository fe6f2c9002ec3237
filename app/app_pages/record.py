"""Record: what is still missing and how to make it safely; put files in; say how each was made."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import cast, get_args

import cache
import state
import streamlit as st
import widgets
from streamlit.delta_generator import DeltaGenerator

from vibecore import figures
from vibecore.case import CaseRecording
from vibecore.engine import Vehicle
from vibecore.errors import ReadingError
from vibecore.guess import guess_condition, looks_raised
from vibecore.jobs import add_files, case_of, drop_recording, save_case
from vibecore.model import Condition, Gear, Place, SpeedHold, Stage
from vibecore.plan import PlanItem, caution, placing, plan_for
from vibecore.safe_names import clean_name, free_name
from vibecore.store import Job, NewFile

STAGES = {"before": "before repair", "after": "after repair"}
MAX_ACCESSORIES = 200  # characters


def page() -> None:
    work = widgets.need_work("Record")
    if work is None:
        return
    items = plan_for(work.case)
    missing = [item for item in items if item.needed and not item.done]
    if missing:
        st.markdown(f"Next: **{widgets.plain(missing[0].title)}**. {widgets.plain(missing[0].why)}")
        _show_item(missing[0])
    else:
        st.markdown("All that this job needs is recorded. Others can still help, see the end of the page.")
    _upload(work)
    _show_recordings(work)
    _show_aside(work)
    _show_plan(items)


# ---------------------------------------------------------------- the plan


def _show_item(item: PlanItem) -> None:
    widgets.show_cautions(item.cautions)
    widgets.show_steps(item.how)
    with st.expander("How to fix the phone"):
        caption = "Flat and tight on the rim, off the airbag cover."
        st.image(widgets.drawing("phone-on-wheel.svg"), caption=caption)
        widgets.show_steps(placing())
        widgets.show_cautions([caution("airbag")])


def _show_plan(items: Sequence[PlanItem]) -> None:
    st.header("All recordings that can help")
    for item in items:
        icon = ":material/check_circle:" if item.done else ":material/radio_button_unchecked:"
        word = "done" if item.done else "still missing" if item.needed else "if you can"
        with st.expander(f"{icon} {item.title}: {word}"):
            st.markdown(widgets.plain(item.why))
            widgets.show_steps(item.how)
            widgets.show_cautions(item.cautions)


# ---------------------------------------------------------------- files in


def _upload(work: state.Work) -> None:
    st.header("Put recordings in")
    box = st.session_state.setdefault(state.UPLOADS, 0)
    label = "Files from the phone: one or many, just as it wrote them"
    uploads = st.file_uploader(label, accept_multiple_files=True, key=f"upload {box}")
    if not uploads:
        return
    place = st.empty()
    with place.container():
        line = st.empty()
        st.button("Stop", key=f"stop upload {box}", on_click=_empty_box)
    files, taken = [], [f.name for f in work.job.files]
    for number, upload in enumerate(uploads, start=1):
        name = free_name(clean_name(upload.name), taken)
        taken.append(name)
        line.info(widgets.plain(f"Reading {number} of {len(uploads)}: {name}"))
        files.append(NewFile(name, upload.getvalue(), _unreadable(name, upload.getvalue())))
    listed = [CaseRecording(Path(f.name), guess_condition(f.name)) for f in files if f.aside is None]
    place.empty()
    job = add_files(state.store(), work.job, files, listed)
    _empty_box()
    state.hold(job, f"Kept: {', '.join(f.name for f in files)}. Check below how each was made.")
    st.rerun()


def _empty_box() -> None:
    st.session_state[state.UPLOADS] = st.session_state.get(state.UPLOADS, 0) + 1


def _unreadable(name: str, data: bytes) -> str | None:
    """Why this file is no recording, or None if it is one. Whatever goes wrong with one file, it is kept
    aside, and the others come in."""
    try:
        cache.recording(name, hashlib.sha256(data).hexdigest(), lambda: data)
    except ReadingError as error:
        return str(error)
    except Exception:
        logging.getLogger("vibecore").exception("a file could not be read")
        return "This file could not be read, by a fault in vibecore. Export it in another form."
    return None


# ---------------------------------------------------------------- how each was made


def _show_recordings(work: state.Work) -> None:
    if not work.case.recordings:
        return
    st.header("How each was made")
    rows = [_show_recording(work.job, item) for item in work.case.recordings]
    recordings = tuple(item for item, _ in rows)
    if recordings != work.case.recordings:
        state.hold(save_case(state.store(), work.job, replace(work.case, recordings=recordings)))
        st.rerun()
    with st.expander("Take a recording out"):
        name = st.selectbox("Which", [r.file.as_posix() for r in recordings])
        if st.button("Take it out of the job"):
            state.hold(drop_recording(state.store(), work.job, name), f"{name} is out of the job.")
            st.rerun()
    results = widgets.results(work)  # last, so that the boxes need not wait for it
    for item, place in rows:
        _show_quality(place, item, work.case.vehicle, results)
    latest = results.analysis(recordings[-1].file.as_posix())
    if latest is not None:
        st.header(f"The latest: {widgets.plain(latest.name)}")
        widgets.show_picture(figures.order_spectrum(latest, work.case.vehicle.engine), "latest")


def _show_recording(job: Job, item: CaseRecording) -> tuple[CaseRecording, DeltaGenerator]:
    """The row of one recording: boxes for its condition, as they stand now, and room for its quality."""
    name, condition = item.file.as_posix(), item.condition
    key = partial(_key, job, name)
    with st.container(border=True):
        st.markdown(f"**{widgets.plain(name)}**")
        quality = st.empty()
        quality.markdown("Being read.")
        row = st.container(horizontal=True)
        place = widgets.choice(row, "Phone on the", get_args(Place), condition.place, key("place"))
        gear = widgets.choice(row, "Gear", get_args(Gear), condition.gear, key("gear"))
        hold = widgets.choice(row, "Speed", get_args(SpeedHold), condition.speed_hold, key("hold"))
        stage = row.selectbox(
            "When", list(STAGES), list(STAGES).index(condition.stage), STAGES.__getitem__,
            key=key("stage"), width=widgets.BOX_PX,
        )  # fmt: skip
        with st.expander("More"):
            rpm = st.number_input(
                "Tachometer, rpm (if you looked)", 0, 20000, round(condition.tachometer_rpm or 0) or None, 50,
                key=key("rpm"),
            )  # fmt: skip
            listed = ", ".join(condition.accessories)
            on = st.text_input("Switched on (with commas)", listed, MAX_ACCESSORIES, key=key("on"))
    units = tuple(part.strip() for part in on.split(",") if part.strip())
    same = rpm == (round(condition.tachometer_rpm or 0) or None)  # the box shows whole turns
    tachometer = condition.tachometer_rpm if same else float(rpm or 0) or None
    stage = cast(Stage, stage)
    return replace(item, condition=Condition(place, gear, hold, stage, tachometer, units)), quality


def _key(job: Job, recording: str, box: str) -> str:
    return state.fresh_key(job, f"{box} {recording}")


def _show_quality(
    place: DeltaGenerator, item: CaseRecording, vehicle: Vehicle, results: cache.Results
) -> None:
    name = item.file.as_posix()
    analysis = results.analysis(name)
    if analysis is None:
        place.error(widgets.plain(results.unread.get(name, "This recording cannot be read.")))
        return
    icon, line = widgets.quality(analysis, vehicle.engine)
    if item.condition.speed_hold is None and looks_raised(analysis.speed, vehicle.idle_spec_rpm):
        assert analysis.speed is not None
        line += f" It reads as {analysis.speed.mean_rpm:.0f} rpm: if the idle was raised, say so below."
    place.markdown(f"{icon} {widgets.plain(line)}")


def _show_aside(work: state.Work) -> None:
    """Files that are no recordings: kept, named, and why."""
    aside = [f for f in work.job.files if f.aside is not None]
    if not aside:
        return
    st.header("Kept aside")
    for file in aside:
        st.error(f"**{widgets.plain(file.name)}**: {widgets.plain(file.aside or '')}")
    if st.button("Remove these files"):
        names = [f.name for f in aside]
        state.hold(save_case(state.store(), work.job, case_of(work.job), remove=names), "Removed.")
        st.rerun()

"""All jobs: open, start, search, copy, close, bin, bring in from a zip."""

from __future__ import annotations

import itertools
from collections.abc import Set
from dataclasses import replace
from typing import Any, cast

import doable
import doubts
import state
import streamlit as st
import widgets

from vibecore.engine import MOST_CYLINDERS, Engine, Vehicle
from vibecore.errors import VibecoreError
from vibecore.exchange import import_job
from vibecore.jobs import DEMO, INVENTED, MAX_TITLE, case_of, head_words, new_job, save_case
from vibecore.model import Symptoms
from vibecore.store import Job, JobHead, State, data_folder

COPY = " (copy)"
BINNED = "show the bin"  # session key
MOST_LISTED = 50  # more are found by searching


def page() -> None:
    st.title("All jobs", anchor=False)
    for notice in state.store().notices:
        st.warning(widgets.plain(notice))
    first = all(head.id.startswith(DEMO) for head in state.store().jobs())
    job = state.window().job
    from_demo = job is not None and bool(job.notes.get(INVENTED))  # whose page sends here to start one
    with st.expander("Start a new job", expanded=first or from_demo, icon=":material/add:"):
        _new_job()
    with st.expander("Bring in a job from a zip", icon=":material/archive:"):
        _bring_in()
    search = st.text_input("Search", placeholder="a word from the title, complaint or codes")
    binned = st.toggle("Show the bin", key=BINNED)
    heads = state.store().jobs(search, ["bin"] if binned else ["open", "closed"])
    if not heads:
        st.markdown("The bin is empty." if binned else "No job fits. Try fewer words.")
    for i, head in enumerate(heads[:MOST_LISTED]):
        _show_head(head, main=i == 0 and not first)  # else to start one is the thing to press
    if len(heads) > MOST_LISTED:
        st.caption(f"And {len(heads) - MOST_LISTED} more: search for them.")
    if binned and heads:
        _offer_emptying()


def _new_job() -> None:
    with st.form("new job", border=False):
        title = st.text_input("Car", placeholder="make, model, plate or customer", max_chars=MAX_TITLE)
        cylinders = st.number_input("Cylinders (needed)", 1, MOST_CYLINDERS, None, placeholder="how many")
        gearbox = st.segmented_control("Gearbox", ["automatic", "manual"])
        if st.form_submit_button("Start the job", type="primary"):
            if cylinders is None:
                st.error(f"Say how many cylinders the engine has, 1 to {MOST_CYLINDERS}: all hangs on that.")
                return
            vehicle = Vehicle(Engine(int(cylinders)), transmission=cast(Any, gearbox))
            notes = doable.handed_on(state.store())
            state.window().warned = doubts.cylinders_words(int(cylinders))
            state.window().hold(new_job(state.store(), title, vehicle, Symptoms(), notes), "Job started.")
            st.switch_page(state.page("record"))


def _bring_in() -> None:
    window = state.window()
    upload = st.file_uploader("A job saved from a report page", type="zip", key=f"job zip {window.uploads}")
    if upload is None:
        return
    window.empty_upload_box()
    titles = {head.title for head in state.store().jobs()}
    try:
        state.window().hold(_told_apart(import_job(state.store(), upload.getvalue()), titles), "Brought in.")
    except VibecoreError as error:  # told here, so that the list below stays in sight
        st.error(widgets.plain(str(error)))
        return
    st.switch_page(state.page("overview"))


def _told_apart(job: Job, titles: Set[str]) -> Job:
    """The job just brought in, with a title that no other job in the list has."""
    if job.head.title not in titles:
        return job
    marks = (f" (brought in{f' {n}' if n > 1 else ''})" for n in itertools.count(1))
    fits = (job.head.title[: MAX_TITLE - len(mark)] + mark for mark in marks)
    title = next(t for t in fits if t not in titles)
    return save_case(state.store(), job, replace(case_of(job), title=title))


@st.cache_data(show_spinner=False, max_entries=10 * MOST_LISTED)
def _how_far(folder: str, job_id: str, revision: int) -> str:  # noqa: ARG001 - the key
    """How far a job is, in a line; read once for each time that it was changed."""
    try:
        case = case_of(state.store().open(job_id))
    except VibecoreError:
        return ""  # what is wrong with it is told where it is opened
    count, checks = len(case.recordings), len(case.checks)
    after = any(r.condition.stage == "after" for r in case.recordings)
    return ", ".join(
        (
            f"{count or 'no'} recording{'' if count == 1 else 's'}",
            f"{checks or 'no'} check{'s' if checks > 1 else ''} made",
            "recorded after a repair" if after else "nothing after a repair yet",
        )
    )


def _show_head(head: JobHead, main: bool) -> None:
    kept = state.store()
    with st.container(border=True):
        st.markdown(f"**{widgets.plain(head_words(head))}**")
        how_far = _how_far(str(data_folder()), head.id, head.revision)
        st.caption("  \n".join(filter(None, (how_far, f"Last changed {widgets.day_words(head.changed_s)}"))))
        with st.container(horizontal=True):
            if head.state == "bin":
                st.button("Take out of the bin", key=f"restore {head.id}", on_click=_restore, args=[head])
                return
            if st.button("Open", key=f"open {head.id}", type="primary" if main else "secondary"):
                state.window().hold(kept.open(head.id))
                st.switch_page(state.page("overview"))
            with st.popover("More", key=f"more {head.id}"):
                _more(head)


def _restore(head: JobHead) -> None:
    """Out of the bin, and in sight among the other jobs."""
    window = state.window()
    try:
        state.store().set_state(head.id, "open")
    except VibecoreError as error:
        window.warned = str(error)
        return
    window.said = f"{head.title} is out of the bin."
    st.session_state[BINNED] = False


def _more(head: JobHead) -> None:
    kept = state.store()
    if st.button("Copy", key=f"copy {head.id}"):
        state.window().hold(
            kept.copy(kept.open(head.id), head.title[: MAX_TITLE - len(COPY)] + COPY),
            "Copied. This is the copy.",
        )
        st.switch_page(state.page("overview"))
    to: State = "closed" if head.state == "open" else "open"
    if st.button("Close: the job is done" if to == "closed" else "Open again", key=f"close {head.id}"):
        window = state.window()
        job = kept.set_state(head.id, to)
        if window.job is not None and window.job.head.id == head.id:
            window.job = job
        st.rerun()
    st.markdown("Delete? It goes into the bin and can be taken out again.")
    if st.button("Put into the bin", key=f"bin {head.id}"):
        kept.set_state(head.id, "bin")
        now = state.let_go_of(head.id)
        told = f"{head.title} is in the bin. 'Show the bin' brings it back."
        state.window().said = f"{told} Open now: {now}." if now else told
        st.rerun()


def _offer_emptying() -> None:
    sure = st.checkbox("I want everything in the bin gone for good")
    if st.button("Empty the bin", disabled=not sure):
        kept = state.store()
        gone = kept.empty_bin()
        still = " Their files stay on the disk: another list beside this one may still know them."
        state.window().said = f"{gone} jobs are gone.{still if kept.files_may_be_known_elsewhere() else ''}"
        st.rerun()

"""Hand over: what was done, the printable report, and the whole job as one zip."""

from __future__ import annotations

import time
from dataclasses import replace

import boxes
import cache
import guesses
import state
import streamlit as st
import tries
import widgets

from app_pages.causes import check_words
from vibecore.exchange import export_job
from vibecore.jobs import MAX_TITLE
from vibecore.report import report_html
from vibecore.safe_names import named_after
from vibecore.store import Job

KEPT_WITHIN_S = 0.4  # keeping a note takes a tenth of it
NOTES = (("complaint", "What was complained of"), ("done", "What was done"))


def page() -> None:
    work = widgets.need_work("Report")
    if work is None:
        return
    results = widgets.results(work)
    _edit_notes()
    st.header("The report", anchor=False)
    st.markdown("For the customer. Open it and print it, to paper or as a PDF.")
    _offer_report(work, results)
    st.header("The whole job", anchor=False)
    st.markdown("Case, original files and results in one zip, to keep or to bring in on another machine.")
    _offer_zip(work, results)


@st.fragment
def _edit_notes() -> None:
    """Drawn by itself: a box that is left by pressing a button below is kept without drawing that button
    anew, which would take its file away under the press."""
    widgets.guard(_note_boxes)


def _note_boxes() -> None:
    work = state.work()
    if work is None:
        return
    notes = work.job.notes
    boxes.line("customer", boxes.put_note("customer"), "Customer", notes.get("customer", ""), MAX_TITLE)
    for name, label in NOTES:
        boxes.note(name, label, notes)
    boxes.save_button()


def _typed_last(work: state.Work) -> Job:
    """The job with its notes as they are once a box left by this very press is kept too."""
    time.sleep(KEPT_WITHIN_S)
    return replace(work.job, notes=state.store().open(work.job.head.id).notes)


def _offer_report(work: state.Work, results: cache.Results) -> None:
    def make() -> str:
        checks = [check_words(done) for done in work.case.checks]
        notes, date = _typed_last(work).notes, widgets.today()
        tried = tries.lines(work.job, work.case)
        guessed = guesses.reasons_of(notes, work.case)
        return report_html(
            work.case, notes, results.diagnosis, checks=checks, tried=tried, guessed=guessed, date=date
        )

    name = named_after(work.case.title, ".html")
    icon = ":material/description:"
    st.download_button(
        "Save the report", make, name, "text/html", icon=icon, on_click="ignore", type="primary"
    )


def _offer_zip(work: state.Work, results: cache.Results) -> None:
    def make() -> bytes:
        return export_job(state.store(), _typed_last(work), results.diagnosis, results.unread)

    name = named_after(work.case.title, ".zip")
    icon = ":material/archive:"
    st.download_button("Save the whole job", make, name, "application/zip", icon=icon, on_click="ignore")

"""What tests of single pages share: a job filled quickly, and what a person reads and presses."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from streamlit.testing.v1 import AppTest

from tests.kept import add_files
from vibecore.case import CaseRecording
from vibecore.guess import guess_condition
from vibecore.jobs import case_of, save_case
from vibecore.model import CheckOutcome
from vibecore.safe_names import clean_name
from vibecore.store import NewFile

PAGES = ("", "car", "record", "reading", "causes", "try-it", "proof", "report", "all-jobs")
NASTY = "<b>van</b> [x](http://elsewhere.example) $a$ ![p](http://elsewhere.example/p)"


def keep(store, job, *names):
    names = [clean_name(name) for name in names]
    listed = [CaseRecording(Path(name), guess_condition(name)) for name in names]
    return add_files(store, job, [NewFile(name, name.encode()) for name in names], listed)


def placed(store, job):
    """The job with the phone said to have been on the steering wheel each time."""
    case = case_of(job)
    on_it = [replace(r, condition=replace(r.condition, place="steering wheel")) for r in case.recordings]
    return save_case(store, job, replace(case, recordings=tuple(on_it)))


def words(test: AppTest) -> str:
    """Everything to read on the page, from top to bottom."""
    kinds = ("title", "header", "subheader", "markdown", "caption", "warning", "error", "info", "success")
    shown = [e.value for e in test.main if e.type in (*kinds, "heading", "alert")]
    return "\n".join(map(str, shown)).replace("\\", "").replace("\u00a0", " ")


def press(test: AppTest, label: str) -> AppTest:
    return next(b for b in test.button if b.label.replace("\\", "") == label).click().run()


def turn_to(test: AppTest, page: str) -> AppTest:
    """The page of that address in the same window. (AppTest.switch_page knows pages that are files only.)"""
    from streamlit.util import calc_hash

    test._page_hash = calc_hash(page)
    return test.run()


def area(test: AppTest, label: str):
    return next(a for a in test.text_area if a.label == label)


def upload(test, *names):
    return test.file_uploader[0].set_value([(n, n.encode(), "text/csv") for n in names]).run()


def notes_of(store, job):
    return store.open(job.head.id).notes


def mended(store, job, how):
    """The job with something found ('check') or written down as done ('note')."""
    if how == "check":
        case = replace(case_of(job), checks=(CheckOutcome("mount-look", "cracked"),))
        return save_case(store, job, case)
    if how == "note":
        return store.save(job, notes={"done": "New mount."})
    return job

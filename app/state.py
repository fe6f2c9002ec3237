"""What one browser window has open: the store, the job as it was opened, and messages for the next page.

Session keys are typed here and nowhere else. The job is kept as it was when it was opened, so that a save
from an old window is told apart from one that saw the latest.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import streamlit as st

from vibecore.case import Case
from vibecore.errors import StoreError, VibecoreError
from vibecore.jobs import case_of, seed
from vibecore.places import demo_folder
from vibecore.store import Job, Store, data_folder

JOB = "job"  # Job: as opened
PAGES = "pages"  # dict[str, st.Page]: set by the router in each run
FETCHED = "fetched"  # int: counts how often a job was fetched from the disk, see `fresh_key`
STOPPED = "stopped"  # str: key of the results whose making was stopped
UPLOADS = "uploads"  # int: counts emptied upload boxes, each has a key of its own
SAID = "said"  # str: told once, on the next page drawn
UNKEPT = "unkept"  # dict[str, str]: key of a box -> why what it holds was not kept
WARNED = "warned"  # str: the same, where it is no good news
ADDRESS_KEY = "job"  # query parameter: a reload opens the same job
ANOTHER_JOB = (
    "The job in this address is not kept on this computer. This is the one that was changed last; "
    "look for others under All jobs."
)


@dataclass(frozen=True)
class Work:
    job: Job
    case: Case


def store() -> Store:
    """The store of the data folder, with the demo jobs in it if it was empty."""
    return _store(str(data_folder()))


@st.cache_resource(show_spinner=False)
def _store(folder: str) -> Store:
    kept = Store(folder)
    try:
        seed(kept, demo_folder())
    except VibecoreError as error:  # a demo that is missing or broken must keep nobody from their own jobs
        kept.notices += (str(error),)
    return kept


def page(name: str) -> st.Page:
    """One of the app's pages by the name the router gave it."""
    pages: dict[str, st.Page] = st.session_state[PAGES]
    return pages[name]


def work() -> Work | None:
    """The job open in this window: the one in the address, else the last changed one; None without any."""
    job: Job | None = st.session_state.get(JOB)
    asked = None
    if job is None:
        asked = st.query_params.get(ADDRESS_KEY)
        job = _first_job(asked)
    if job is None:
        return None
    st.session_state[JOB] = job
    st.query_params[ADDRESS_KEY] = job.head.id
    if asked and asked != job.head.id:
        warn(ANOTHER_JOB)
        st.rerun()
    return Work(job, case_of(job))


def _first_job(asked: str | None) -> Job | None:
    kept = store()
    heads = kept.jobs()
    for job_id in ([asked] if asked else []) + [head.id for head in heads[:1]]:
        try:
            return kept.open(job_id)
        except StoreError:
            continue
    return None


def hold(job: Job, said: str = "") -> None:
    """This window now has this job open, as it was just kept or fetched."""
    _hold_on(job)
    if said:
        say(said)


def _hold_on(job: Job) -> None:
    """Streamlit may break a run off at any touch of the session, to draw the page anew with what was typed
    meanwhile. What is on the disk by then must be held, or the next run takes it for another window's."""
    try:
        st.session_state[JOB] = job
    except BaseException:
        st.session_state[JOB] = job
        raise


def fresh_key(job: Job, name: str) -> str:
    """A widget's key that ends with this job as fetched: another job, or the same one fetched again because
    somebody else had changed it, must not inherit what a box showed before and save it."""
    return f"{name} {job.head.id} {st.session_state.get(FETCHED, 0)}"


def unkept() -> dict[str, str]:
    """Why what a box holds was not kept, by the box's key; to be changed in place."""
    waiting: dict[str, str] = st.session_state.setdefault(UNKEPT, {})
    return waiting


def say(text: str) -> None:
    """Told once, on the next page drawn."""
    st.session_state[SAID] = text


def warn(text: str) -> None:
    """The same, where it is no good news."""
    st.session_state[WARNED] = text


def let_go_of(job_id: str) -> None:
    """Do not keep this job open in this window."""
    held: Job | None = st.session_state.get(JOB)
    if held is not None and held.head.id == job_id:
        st.session_state.pop(JOB)
        st.query_params.pop(ADDRESS_KEY, None)


def refresh() -> None:
    """Fetch the open job again as it stands on the disk."""
    held: Job | None = st.session_state.get(JOB)
    if held is not None:
        st.session_state[JOB] = store().open(held.head.id)
        st.session_state[FETCHED] = st.session_state.get(FETCHED, 0) + 1


def hold_if_open(job_id: str, change: Callable[[], Job]) -> None:
    """Make the change, and hold the job as it then is if it is the one open in this window."""
    held: Job | None = st.session_state.get(JOB)
    job = change()
    if held is not None and held.head.id == job_id:
        _hold_on(job)


def changed_elsewhere(job: Job) -> bool:
    """Has another window or process saved this job since it was opened here?"""
    return store().open(job.head.id).head.revision != job.head.revision


def pop_said() -> tuple[str, str]:
    """What is to be told now: the good news, and what is none."""
    return str(st.session_state.pop(SAID, "")), str(st.session_state.pop(WARNED, ""))

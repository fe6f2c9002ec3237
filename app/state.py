"""What one browser window has open: the store, the job as it was opened, and messages for the next page.

All of it is one record in Streamlit's session: whoever has it in hand can change it, though Streamlit breaks
a run off at any touch of the session itself once the next run is asked for. What is on the disk by then must
be held, or the next run takes it for another window's. The job is kept as it was when it was opened, so that
a save from an old window is told apart from one that saw the latest.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

import streamlit as st

from vibecore.case import Case
from vibecore.errors import StoreError, VibecoreError
from vibecore.jobs import case_of, seed
from vibecore.places import demo_folder
from vibecore.store import Job, Store, data_folder

WINDOW = "window"  # session key
ADDRESS_KEY = "job"  # query parameter: a reload opens the same job
ANOTHER_JOB = (
    "The job in this address is not kept on this computer. This is the one that was changed last; "
    "look for others under All jobs."
)


@dataclass
class Window:
    """What this window holds, to be changed in place."""

    job: Job | None = None  # as opened
    pages: dict[str, st.Page] = field(default_factory=dict)  # set by the router in each run
    at_page: str = ""  # shown last
    turned: int = 0  # how often another page was turned to
    said: str = ""  # told once, on the next page drawn
    warned: str = ""  # the same, where it is no good news
    fetched: int = 0  # how often a job was fetched from the disk, see `fresh_key`
    uploads: int = 0  # counts emptied upload boxes, each has a key of its own
    stopped: str = ""  # key of the results whose making was stopped
    moved: dict[str, float] | None = None  # the ranking before the last outcome: name -> share
    removed: tuple[Job, Job] | None = None  # the job before something was taken out of it, and since
    unkept: dict[str, str] = field(default_factory=dict)  # key of a box -> why what it holds was not kept
    clashed: dict[str, str] = field(default_factory=dict)  # box -> what was typed in it and is not kept
    saving: threading.Lock = field(default_factory=threading.Lock)  # two runs of one window may overlap

    def hold(self, job: Job, said: str = "") -> None:
        """This window now has this job open, as it was just kept or fetched."""
        self.job = job
        self.said = said or self.said

    def hold_without(self, job: Job) -> None:
        """The same, once something was taken out of the job that was open: told where that can be undone."""
        self.removed = (self.job, job) if self.job is not None else None
        self.hold(job)

    def undoable(self) -> Job | None:
        """The open job as it was before something was taken out, until it is changed again."""
        if self.removed is None or self.job is None or self.removed[1].head != self.job.head:
            return None
        return self.removed[0]

    def turn_to(self, page: str) -> None:
        self.turned += self.at_page not in ("", page)
        self.at_page = page

    def stop(self, key: str) -> None:
        self.stopped = key

    def empty_upload_box(self) -> None:
        self.uploads += 1

    def refresh(self) -> None:
        """Fetch the open job again as it stands on the disk."""
        if self.job is not None:
            self.job = store().open(self.job.head.id)
            self.fetched += 1

    def tell(self) -> tuple[str, str]:
        """What is to be told now: the good news, and what is none."""
        told = self.said, self.warned
        self.said = self.warned = ""
        return told


@dataclass(frozen=True)
class Work:
    job: Job
    case: Case


def window() -> Window:
    held: Window = st.session_state.setdefault(WINDOW, Window())
    return held


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
    return window().pages[name]


def work() -> Work | None:
    """The job open in this window: the one in the address, else the last changed one; None without any."""
    here = window()
    asked = None
    if here.job is None:
        asked = st.query_params.get(ADDRESS_KEY)
        here.job = _first_job(asked)
    if here.job is None:
        return None
    job = here.job
    st.query_params[ADDRESS_KEY] = job.head.id
    if asked and asked != job.head.id:
        here.warned = ANOTHER_JOB
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


def fresh_key(job: Job, name: str) -> str:
    """A widget's key that ends with this job as fetched: another job, or the same one fetched again because
    somebody else had changed it, must not inherit what a box showed before and save it."""
    return f"{name} {job.head.id} {window().fetched}"


def let_go_of(job_id: str) -> str:
    """Do not keep this job open in this window. Title of the one that is open in its stead; empty if it was
    not open, or there is no other."""
    here = window()
    if here.job is None or here.job.head.id != job_id:
        return ""
    here.job = _first_job(None)
    st.query_params.pop(ADDRESS_KEY, None)
    return here.job.head.title if here.job is not None else ""


def changed_elsewhere(job: Job) -> bool:
    """Has another window or process saved this job since it was opened here?"""
    return store().open(job.head.id).head.revision != job.head.revision

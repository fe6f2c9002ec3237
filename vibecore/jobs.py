"""A kept job and its case: what stands between the store (bytes and text) and the records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from vibecore.case import Case, case_from_text, dump_case, load_case
from vibecore.engine import Vehicle
from vibecore.errors import CaseError, StoreError
from vibecore.model import Symptoms
from vibecore.safe_names import clean_name, free_name
from vibecore.store import Job, JobHead, NewFile, NewJob, State, Store
from vibecore.toml_text import parsed

CASE_NAME = Path("A car without a name", "case.toml")  # a case file without a title goes by its folder
DEMO = "demo-"  # the ids of demo jobs begin so
INVENTED = "invented"  # key of the notes of a demo job
INVENTED_WORDS = "A demo: these recordings are invented, no real car made them."
MAX_TITLE = 120  # characters: a line in a list or on a page

# A case file needs one recording, a job just begun has none yet: this one stands in for it in the text.
_NONE_YET = '\n[[recording]]\nfile = "none yet"\n'


def case_of(job: Job) -> Case:
    """The case of a kept job. Raises CaseError."""
    return case_from_any_text(job.case_text)


def case_from_any_text(text: str) -> Case:
    """A case with its recordings, or with none where the text has none yet. Raises CaseError."""
    if "recording" not in parsed(text, CASE_NAME.name, CaseError):
        return replace(case_from_text(text + _NONE_YET, CASE_NAME), recordings=())
    return case_from_text(text, CASE_NAME)


def short_title(title: str) -> str:
    """The title as far as a line holds it; empty if it is blank."""
    return title.strip()[:MAX_TITLE].strip()


def new_job(store: Store, title: str, vehicle: Vehicle, symptoms: Symptoms, notes: Mapping[str, str]) -> Job:
    """Keep a new job without recordings."""
    title = short_title(title) or "A car without a name"
    case = Case(title, CASE_NAME, vehicle, symptoms, ())
    return store.new(title, dump_case(case), notes)


def save_case(
    store: Store,
    job: Job,
    case: Case,
    *,
    notes: Mapping[str, str] | None = None,
    add: Sequence[NewFile] = (),
    remove: Sequence[str] = (),
) -> Job:
    """Keep a changed case, with its new files, in one piece. Raises StaleEdit, StoreError, and CaseError for
    one that could not be opened again."""
    title = short_title(case.title) or job.head.title
    text = dump_case(replace(case, title=title))
    case_from_any_text(text)
    return store.save(job, title=title, case_text=text, notes=notes, add=add, remove=remove)


def with_note(notes: Mapping[str, str], key: str, text: str) -> dict[str, str]:
    """A job's notes with this one as it is now; without it where nothing is left to note."""
    kept = {name: told for name, told in notes.items() if name != key}
    return {**kept, key: text} if text else kept


def with_condition(case: Case, name: str, **parts: Any) -> Case:
    """The case with these parts of one recording's condition changed."""
    return replace(
        case,
        recordings=tuple(
            replace(r, condition=replace(r.condition, **parts)) if r.name == name else r
            for r in case.recordings
        ),
    )


def without_recording(case: Case, name: str) -> Case:
    return replace(case, recordings=tuple(r for r in case.recordings if r.name != name))


def drop_recording(store: Store, job: Job, name: str, notes: Mapping[str, str] | None = None) -> Job:
    """Take one recording out of the job. notes: as they are without it, if they told of it."""
    return save_case(store, job, without_recording(case_of(job), name), notes=notes, remove=[name])


def put_back(store: Store, job: Job, before: Job) -> Job:
    """The job with its files, what was said of them and its notes as they were in `before`. Raises StaleEdit,
    and StoreError if a file that was taken out is not on the disk any more."""
    gone = [f for f in before.files if f not in job.files]
    files = [NewFile(f.name, store.read_kept(f), f.aside) for f in gone]
    title, text = before.head.title, before.case_text
    return store.save(job, title=title, case_text=text, notes=before.notes, add=files)


def seed(store: Store, folder: Path) -> None:
    """Keep the demo jobs of `folder`, all or none, in a store without a job."""
    every: tuple[State, ...] = ("open", "closed", "bin")
    if store.jobs(states=every):
        return
    paths = sorted(folder.glob("*/case.toml"), reverse=True)  # so that the first is the latest
    demos = [replace(_read_folder(p), id=f"{DEMO}{p.parent.name}", notes={INVENTED: "yes"}) for p in paths]
    store.begin_with(demos)  # which looks again: another window may have been faster


def _read_folder(case_path: Path) -> NewJob:
    case = load_case(case_path)
    names: list[str] = []
    for r in case.recordings:
        names.append(free_name(clean_name(r.file.name), names))
    files = [NewFile(n, _bytes(case.file_of(r))) for n, r in zip(names, case.recordings, strict=True)]
    flat = tuple(replace(r, file=Path(n)) for n, r in zip(names, case.recordings, strict=True))
    return NewJob(case.title, dump_case(replace(case, recordings=flat)), files=files)


def head_words(head: JobHead) -> str:
    """A job in the list: its title, and 'closed' or 'in the bin' where it is."""
    return head.title + {"open": "", "closed": " (closed)", "bin": " (in the bin)"}[head.state]


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise StoreError(f"The recording {path.name} cannot be opened: {error.strerror}.") from None

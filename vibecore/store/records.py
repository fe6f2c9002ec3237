"""What the store gives and takes: records, and nothing else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from vibecore.errors import StoreError

# Of all files of one job. It decides what is kept, and so what a zip that is brought in may hold and how
# large an upload may be. Four of the longest recordings that are read (reading/limits.py).
MAX_JOB_BYTES = 1024 * 1024 * 1024

State = Literal["open", "closed", "bin"]


class StaleEdit(StoreError):  # noqa: N818 - it is an event to be told, as much as an error
    """Somebody saved this job after the caller had opened it."""


@dataclass(frozen=True)
class StoredFile:
    """One original file of a job. aside: why it cannot be read as a recording, None if it can."""

    name: str
    digest: str
    aside: str | None = None


@dataclass(frozen=True)
class NewFile:
    name: str
    data: bytes
    aside: str | None = None


@dataclass(frozen=True)
class NewJob:
    """A job to be kept. id: None for a fresh one."""

    title: str
    case_text: str
    notes: Mapping[str, str] = field(default_factory=dict)
    files: Sequence[NewFile] = ()
    id: str | None = None


@dataclass(frozen=True)
class JobHead:
    """A line in the list of jobs. changed_s: seconds since 1970."""

    id: str
    title: str
    state: State
    revision: int
    changed_s: float


@dataclass(frozen=True)
class Job:
    head: JobHead
    case_text: str  # a case file as in the contract
    notes: Mapping[str, str]  # what the case file has no key for: the complaint, what was done ...
    files: tuple[StoredFile, ...]

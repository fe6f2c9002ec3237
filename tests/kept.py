"""A kept job given recordings in one piece, as a person does on the record page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from vibecore.case import CaseRecording
from vibecore.jobs import case_of, save_case
from vibecore.store import Job, NewFile, Store


def add_files(store: Store, job: Job, files: Sequence[NewFile], listed: Sequence[CaseRecording]) -> Job:
    """Keep these files with the job and list the recordings among them in its case. Names must be free."""
    case = case_of(job)
    return save_case(store, job, replace(case, recordings=(*case.recordings, *listed)), add=files)

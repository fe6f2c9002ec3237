"""Jobs on disk: one SQLite database and the original files, byte for byte, in one data folder.

    DATA/jobs.sqlite            what is known of each job (write-ahead log, fully synchronous)
    DATA/files/ab/abcdef...     each original file once, named by the SHA-256 of its bytes
    DATA/backups/               the database as it was before a newer version changed its tables
    DATA/jobs-unreadable.sqlite a damaged list of jobs; while it or a backup is there no file is removed

A call that has returned is on the disk: a file is written aside, forced out and renamed, and its row is
committed after it. Two people may edit one job: each save names the revision it started from, and the later
one is told (`StaleEdit`), never silently lost or silently winning.
"""

from __future__ import annotations

import os
from pathlib import Path

from vibecore.store.keep import Store
from vibecore.store.records import MAX_JOB_BYTES, Job, JobHead, NewFile, NewJob, StaleEdit, State, StoredFile

__all__ = [
    "DATA_VARIABLE",
    "MAX_JOB_BYTES",
    "Job",
    "JobHead",
    "NewFile",
    "NewJob",
    "StaleEdit",
    "State",
    "Store",
    "StoredFile",
    "data_folder",
]

DATA_VARIABLE = "VIBECORE_DATA"  # environment variable that names another data folder


def data_folder() -> Path:
    """The folder of the jobs: what VIBECORE_DATA names, else the user's data folder of this system."""
    named = os.environ.get(DATA_VARIABLE)
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_data_dir("vibecore", appauthor=False))

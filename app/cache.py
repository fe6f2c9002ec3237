"""Results kept in memory, named by what they were made from: the SHA-256 of the file and the settings.

Records hold read-only arrays, so one object serves every window; nothing is copied or hashed a second time.
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from vibecore.case import Case, dump_case
from vibecore.errors import ReadingError, StoreError
from vibecore.model import Analysis, Diagnosis, Recording
from vibecore.store import Job, Store
from vibecore.waterfall import Waterfall, make_waterfall

KEPT_RECORDINGS = 32  # an hour at 400 samples a second takes about 50 MB
KEPT_DIAGNOSES = 12  # each holds the analyses of its recordings

T = TypeVar("T")
Say = Callable[[str], object]


class Memo(Generic[T]):
    """The last `most` results by key, shared by all windows of this server."""

    def __init__(self, most: int) -> None:
        self._most, self._kept, self._lock = most, OrderedDict[str, T](), threading.Lock()

    def get(self, key: str, make: Callable[[], T]) -> T:
        """The result kept under this key, made first if it is not there."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        made = make()  # outside the lock: a long recording must not hold up another window
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return made


@dataclass(frozen=True, eq=False)
class Results:
    """What a job's recordings give. diagnosis is None if none of them can be read; unread: name -> why."""

    diagnosis: Diagnosis | None
    unread: Mapping[str, str]
    key: str

    def analysis(self, name: str) -> Analysis | None:
        analyses = self.diagnosis.analyses if self.diagnosis else ()
        return next((a for a in analyses if a.name == name), None)


_RECORDINGS: Memo[Recording] = Memo(KEPT_RECORDINGS)
_WATERFALLS: Memo[Waterfall] = Memo(KEPT_RECORDINGS)
_RESULTS: Memo[Results] = Memo(KEPT_DIAGNOSES)


def results(store: Store, job: Job, case: Case, say: Say = lambda _: None) -> Results:
    """Read and judge all recordings of the job; at once if nothing that matters has changed."""
    digests = {f.name: f.digest for f in job.files}
    made_from = [dump_case(replace(case, title="")), *(f"{name} {d}" for name, d in sorted(digests.items()))]
    key = hashlib.sha256("\n".join(made_from).encode()).hexdigest()
    return _RESULTS.get(key, lambda: _make(key, store, job, case, say))


def _make(key: str, store: Store, job: Job, case: Case, say: Say) -> Results:
    from vibecore import pipeline

    read, unread = [], {}
    for number, item in enumerate(case.recordings, start=1):
        name = item.file.as_posix()
        say(f"Reading {number} of {len(case.recordings)}: {name}")
        try:
            read.append((recording(store, job, name), item.condition))
        except (ReadingError, StoreError) as error:
            unread[name] = str(error)
    if not read:
        return Results(None, unread, key)
    say("Weighing the causes")
    return Results(pipeline.diagnose(case, read), unread, key)


def recording(store: Store, job: Job, name: str) -> Recording:
    """One recording of a job, read once for each content and name. Raises ReadingError, StoreError."""
    from vibecore.reading import read_recording

    digest = next((f.digest for f in job.files if f.name == name), "")
    return _RECORDINGS.get(
        f"{digest} {name}", lambda: read_recording(store.read_file(job.head.id, name), name=name)
    )


def waterfall(results: Results, analysis: Analysis) -> Waterfall:
    """The waterfall of one analysis of these results."""
    return _WATERFALLS.get(f"{results.key} {analysis.name}", lambda: make_waterfall(analysis.signal))

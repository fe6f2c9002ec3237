"""Results kept in memory, named by what they were made from: the SHA-256 of the file and the settings.

Records hold read-only arrays, so one object serves every window; nothing is copied or hashed a second time.
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Generic, TypeVar

from vibecore.beats import Beat, strongest_beat
from vibecore.case import Case, dump_case
from vibecore.cycles import CycleView, average_cycle
from vibecore.engine import Engine
from vibecore.errors import VibecoreError
from vibecore.model import Analysis, Condition, Diagnosis, Recording
from vibecore.store import Job, Store
from vibecore.trying.records import Tried
from vibecore.waterfall import Part, Waterfall, make_waterfall, parted

KEPT_RECORDINGS = 32  # an hour at 400 samples a second takes about 50 MB
KEPT_DIAGNOSES = 12  # each holds the analyses of its recordings

T = TypeVar("T")
Say = Callable[[str], object]


class Memo(Generic[T]):
    """The last `most` results by key, shared by all windows of this server."""

    def __init__(self, most: int) -> None:
        self._most, self._kept, self._lock = most, OrderedDict[str, T](), threading.Lock()

    def __contains__(self, key: str) -> bool:
        return key in self._kept

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
_ANALYSES: Memo[Analysis] = Memo(KEPT_RECORDINGS)
_WATERFALLS: Memo[Waterfall] = Memo(KEPT_RECORDINGS)
_CYCLES: Memo[CycleView | None] = Memo(KEPT_RECORDINGS)
_MET: Memo[str] = Memo(KEPT_RECORDINGS)
_BEATS: Memo[Beat | None] = Memo(KEPT_RECORDINGS)
_TRIED: Memo[Tried] = Memo(KEPT_RECORDINGS)
_RESULTS: Memo[Results] = Memo(KEPT_DIAGNOSES)


def key_of(job: Job, case: Case) -> str:
    """Names all that the results of this job are made from: its case but for the title, and its files."""
    made_from = [dump_case(replace(case, title="")), *sorted(f"{f.name} {f.digest}" for f in job.files)]
    return hashlib.sha256("\n".join(made_from).encode()).hexdigest()


def at_hand(job: Job, case: Case) -> bool:
    """Are the results of this job there already?"""
    return key_of(job, case) in _RESULTS


def results(store: Store, job: Job, case: Case, say: Say = lambda _: None) -> Results:
    """Read and judge all recordings of the job; at once if nothing that matters has changed. `say` is
    called before each piece of work, and may raise to stop it: what was read is not read again."""
    key = key_of(job, case)
    return _RESULTS.get(key, lambda: _make(key, store, job, case, say))


def _make(key: str, store: Store, job: Job, case: Case, say: Say) -> Results:
    from vibecore import pipeline

    analyses, unread = [], {}
    digests = {f.name: f.digest for f in job.files}
    for number, item in enumerate(case.recordings, start=1):
        name = item.name
        head = f"Reading {number} of {len(case.recordings)}: {name}"
        say(head)
        digest, tell = digests.get(name, ""), partial(_tell, say, head)
        try:
            read = recording(name, digest, partial(store.read_file, job.head.id, name))
            analyses.append(analysis(read, digest, case.vehicle.engine, item.condition, tell))
        except VibecoreError as error:
            unread[name] = str(error)
    if not analyses:
        return Results(None, unread, key)
    say("Weighing the causes")
    return Results(pipeline.diagnose_analysed(case, analyses), unread, key)


def _tell(say: Say, head: str, step: str) -> None:
    say(f"{head}: {step}")


def analysis(read: Recording, digest: str, engine: Engine, condition: Condition, say: Say) -> Analysis:
    """What is read from a recording of this content, made in this way; once for each."""
    from vibecore import pipeline

    key = f"{digest} {read.name} {engine} {condition}"
    return _ANALYSES.get(key, lambda: pipeline.analyze(read, engine, condition, say=say))


def recording(name: str, digest: str, fetch: Callable[[], bytes]) -> Recording:
    """The recording in a file of this name and content, read once. Raises ReadingError, StoreError."""
    from vibecore.reading import read_recording

    return _RECORDINGS.get(f"{digest} {name}", lambda: read_recording(fetch(), name=name))


def waterfall(results: Results, analysis: Analysis, part: Part) -> Waterfall:
    """The waterfall of one analysis of these results, or what of it lasts or knocks."""
    key = f"{results.key} {analysis.name}"
    whole = _WATERFALLS.get(key, lambda: make_waterfall(analysis.signal))
    return _WATERFALLS.get(f"{key} {part}", lambda: parted(whole, part))


def cycle(results: Results, analysis: Analysis, engine: Engine) -> CycleView | None:
    """The working cycle of one analysis of these results; None if it has no speed or too few cycles."""
    speed = analysis.speed
    if speed is None:
        return None
    key = f"{results.key} {analysis.name}"
    return _CYCLES.get(key, lambda: average_cycle(analysis.signal, speed, engine))


def natural_frequency(results: Results, analysis: Analysis, engine: Engine) -> str:
    """What the job's recordings tell of a natural frequency at the place of this one, in words."""
    from vibecore import met

    analyses = results.diagnosis.analyses if results.diagnosis else ()
    key = f"{results.key} {analysis.name}"
    return _MET.get(key, lambda: met.natural_frequency(analysis, analyses, engine))


def beat(results: Results, analysis: Analysis) -> Beat | None:
    """The lines that beat in one analysis of these results."""
    return _BEATS.get(f"{results.key} {analysis.name}", lambda: strongest_beat(analysis))


def tried(recording: Recording, engine: Engine, begun_s: float, undone_s: float | None) -> Tried:
    """Whether the engine noticed what was tried. Raises VibecoreError where too little was recorded."""
    from vibecore.trying.noticing import did_it_notice

    key = f"{recording.digest} {recording.name} {engine} {begun_s} {undone_s}"
    return _TRIED.get(key, lambda: did_it_notice(recording, engine, begun_s, undone_s))

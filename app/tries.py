"""What was tried while the engine ran: the recordings of it, kept beside the job's own, and the moments.

Kept in the job's notes, a line for each recording: its name, when it was begun and undone (seconds, nothing
if it was not), and what was tried, parted by tabs. The files are kept aside: an engine with a cylinder
switched off must not speak as evidence.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import partial

import cache
import state

from vibecore.case import Case
from vibecore.errors import VibecoreError
from vibecore.jobs import with_note
from vibecore.model import Recording
from vibecore.store import Job
from vibecore.trying.kinds import as_kind, kind_of
from vibecore.trying.records import LEAST_S, SETTLING_S, Tried
from vibecore.trying.taps import taps_s
from vibecore.trying.words import tried_words

NOTE = "tried"  # key of the notes
UNSAID = "No tap marks the moments in it. Say below when you began and when you undid it."
WHY_ASIDE = "Something was tried in it while the engine ran: see the page Try it."


@dataclass(frozen=True)
class Trial:
    """One recording in which something was tried."""

    name: str
    begun_s: float
    undone_s: float | None
    kind: str


def trials_of(notes: Mapping[str, str]) -> tuple[Trial, ...]:
    """What was tried so far; a line that cannot be read is passed over."""
    found = []
    for line in notes.get(NOTE, "").split("\n"):
        name, *rest = line.split("\t")
        try:
            begun, undone, kind = rest
            found.append(Trial(name, float(begun), float(undone) if undone else None, kind))
        except ValueError:
            continue
    return tuple(found)


def notes_with(notes: Mapping[str, str], trials: Iterable[Trial]) -> dict[str, str]:
    """A job's notes with these trials and no others."""
    lines = [
        f"{t.name}\t{t.begun_s:g}\t{'' if t.undone_s is None else f'{t.undone_s:g}'}\t{t.kind}"
        for t in trials
    ]
    return with_note(notes, NOTE, "\n".join(lines))


def moments(recording: Recording) -> tuple[float, float | None]:
    """When it was begun and undone, by the taps that mark it; without any, a third and two thirds on."""
    end_s, usable = recording.duration_s, _marks(recording)
    begun = usable[0] if usable else end_s / 3
    later = [t for t in usable if t >= begun + LEAST_S + 2 * SETTLING_S]
    undone = later[0] if later else None if usable else 2 * end_s / 3
    return round(begun, 1), None if undone is None else round(undone, 1)


def _marks(recording: Recording) -> list[float]:
    """The taps before and behind which enough was recorded, seconds."""
    last = recording.duration_s - LEAST_S
    return [t for t in taps_s(recording) if LEAST_S + SETTLING_S <= t <= last]


def are_said(recording: Recording, trial: Trial) -> bool:
    """Whether a tap marks the moments, or somebody said them: else they are where the boxes begin."""
    return bool(_marks(recording)) or (trial.begun_s, trial.undone_s) != moments(recording)


def recording_of(job: Job, name: str) -> Recording | None:
    """The recording of a trial; None if the job does not have it any more or it cannot be read."""
    file = next((f for f in job.files if f.name == name), None)
    if file is None:
        return None
    try:
        return cache.recording(name, file.digest, partial(state.store().read_file, job.head.id, name))
    except VibecoreError:
        return None


def outcome(job: Job, case: Case, trial: Trial) -> Tried | str:
    """Whether the engine noticed, or why that cannot be told."""
    recording = recording_of(job, trial.name)
    if recording is None:
        return f"{trial.name} is not there any more, or cannot be read. Put it in again."
    try:
        told = cache.tried(recording, case.vehicle.engine, trial.begun_s, trial.undone_s)
    except VibecoreError as error:
        return str(error)
    return as_kind(told, kind_of(trial.kind))


def lines(job: Job, case: Case) -> list[tuple[str, str]]:
    """What was tried and what came of it, for the report."""
    found = []
    for trial in trials_of(job.notes):
        told, recording = outcome(job, case, trial), recording_of(job, trial.name)
        if recording is not None and not are_said(recording, trial):
            told = "Nobody said when it was begun, so nothing can be told."
        found.append((kind_of(trial.kind).title, told if isinstance(told, str) else tried_words(told)))
    return found

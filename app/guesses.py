"""How a new recording was probably made, with the reasons, until a person has looked them over.

Kept in the job's notes: a line for each recording, its name, a tab and the reasons in words.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from functools import partial

import cache
import state

from vibecore.case import Case
from vibecore.errors import VibecoreError
from vibecore.guess import Guess, guess, guess_condition
from vibecore.jobs import with_note
from vibecore.model import Place, Recording
from vibecore.store import Job

NOTE = "guessed"  # key of the notes
NO_REASON = "Nothing tells how it was made: say it here."
CHANGED = "You have changed a part of it since."
SAID = "You have said a part of it."  # of one that nothing told of


def reasons_of(notes: Mapping[str, str], case: Case) -> dict[str, str]:
    """Recordings of the job that nobody has looked over yet, and why each was taken as it was."""
    here = {r.name for r in case.recordings}
    pairs = (line.partition("\t") for line in notes.get(NOTE, "").split("\n") if line)
    return {name: why for name, _, why in pairs if name in here}


def words(reasons: Mapping[str, str]) -> str:
    """That so many recordings are to be looked over: guessed, or to be said where nothing told of any."""
    count = len(reasons)
    which = f"{count} recordings were" if count > 1 else "1 recording was"
    told = any(why not in ("", SAID) for why in reasons.values())
    return f"How {which} made is {'a guess' if told else 'still to be said'}."


def row_words(why: str) -> str:
    """What stands over the boxes of a recording that is to be looked over."""
    if not why:
        return NO_REASON
    return why if why == SAID else f"Guessed. {why}"


def once_changed(why: str) -> str:
    """The reason, once a person has said a part."""
    return SAID if why in ("", SAID) else CHANGED


def notes_with(notes: Mapping[str, str], reasons: Mapping[str, str]) -> dict[str, str]:
    """A job's notes with these recordings to be looked over, and no others."""
    return with_note(notes, NOTE, "\n".join(f"{name}\t{why}" for name, why in reasons.items()))


def guess_all(job: Job, case: Case, reads: Sequence[Recording]) -> dict[str, Guess]:
    """Each of the new recordings from its name, its contents, and the others whose place is known: those of
    the job, and of the new ones those whose names tell it."""
    told = {r.name: guess_condition(r.name).place for r in reads}
    placed = _placed(job, case) + [(r, place) for r in reads if (place := told[r.name]) is not None]
    return {r.name: _guess(r, placed) for r in reads}


def _guess(read: Recording, placed: Sequence[tuple[Recording, Place]]) -> Guess:
    """A fault in guessing keeps no file out."""
    try:
        return guess(read, placed)
    except Exception:
        logging.getLogger("vibecore").exception("how a recording was made could not be guessed")
        return Guess(guess_condition(read.name))


def _placed(job: Job, case: Case) -> list[tuple[Recording, Place]]:
    """The job's recordings whose place is known and which can be read."""
    found = []
    digests = {f.name: f.digest for f in job.files}
    for item in case.recordings:
        name, place = item.name, item.condition.place
        if place is None or name not in digests:
            continue
        fetch = partial(state.store().read_file, job.head.id, name)
        try:
            found.append((cache.recording(name, digests[name], fetch), place))
        except VibecoreError:
            continue
    return found

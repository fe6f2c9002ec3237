"""Whether a recording was made before or after the mend, where something may have been mended and its name
does not tell. Taken for one from before, it would hide the repair.

Kept in the job's notes: the names of the recordings that nobody has said it of, a line each.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import boxes
import cache
import state
import streamlit as st

from vibecore.case import Case
from vibecore.guess import tells_stage
from vibecore.jobs import with_condition, with_note
from vibecore.model import Diagnosis
from vibecore.plan import may_be_mended
from vibecore.store import Job

NOTE = "stage asked"  # key of the notes
STAGES = {"before": "before repair", "after": "after repair"}
QUESTION = "Was something mended before this one?"
ANSWERS = {"after": "yes: it is after the repair", "before": "no: nothing was mended yet"}
OPEN = "Until you say so, it counts as before the repair."


def asked(notes: Mapping[str, str], case: Case) -> list[str]:
    """Names of the job's recordings of which it is not said."""
    here = {r.name for r in case.recordings}
    return [name for name in notes.get(NOTE, "").split("\n") if name in here]


def notes_with(notes: Mapping[str, str], names: Iterable[str]) -> dict[str, str]:
    """A job's notes with these recordings to be asked about, and no others."""
    return with_note(notes, NOTE, "\n".join(names))


def answered(notes: Mapping[str, str], case: Case, name: str) -> dict[str, str]:
    return notes_with(notes, (n for n in asked(notes, case) if n != name))


def to_ask(job: Job, case: Case, names: Iterable[str]) -> list[str]:
    """Those of the new recordings that have to be asked about."""
    if not case.recordings:
        return []
    if not may_be_mended(case, diagnosis_at_hand(job, case), job.notes.get("done", "")):
        return []
    return [name for name in names if not tells_stage(name)]


def diagnosis_at_hand(job: Job, case: Case) -> Diagnosis | None:
    """What the job's recordings have shown, if that is known without reading them again."""
    return cache.results(state.store(), job, case).diagnosis if cache.at_hand(job, case) else None


def words(count: int) -> str:
    """That of so many recordings it is not said."""
    which = "1 recording" if count == 1 else f"{count} recordings"
    return f"For {which} it is not said whether something was mended before. {OPEN}"


def put(name: str) -> boxes.Put:
    """This recording's stage, said by a person."""

    def put_stage(case: Case, notes: boxes.Notes, said: Any) -> tuple[Case, boxes.Notes]:
        if said is None:
            return case, notes
        return with_condition(case, name, stage=said), answered(notes, case, name)

    return put_stage


def ask(name: str) -> None:
    """The question, in sight until it is answered."""
    boxes.box(
        st.radio, f"mended {name}", put(name), f":orange-badge[Say] **{QUESTION}**", list(ANSWERS), None,
        ANSWERS.__getitem__,
    )  # fmt: skip
    st.caption(OPEN)

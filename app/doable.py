"""What the person at the car said they do not have, cannot do or must not do now, and the checks left by it.

Kept in the job's notes as words of checks.toml: a tool, a skill, a state of the car, or the id of one check.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import cache
import guesses
import state

from vibecore.causes.load import CheckRow, catalogue
from vibecore.jobs import with_note
from vibecore.mending import NextStep
from vibecore.model import Diagnosis, PlannedCheck
from vibecore.plan import next_step as planned_step
from vibecore.store import Job, Store
from vibecore.words import joined

NOTE = "cannot"  # key of the notes: one word a line
HELPER, NO_HELPER = "helper", "no helper"  # a skill and a state that mean the same
BACK = "Once that is mended, take it back at the end of the page Causes."
FIRST = ("fuel smell", "brake weak", "belt damaged", "overheating")  # seen to before anything else is done


def words_of(notes: Mapping[str, str]) -> frozenset[str]:
    """What was said so far."""
    return frozenset(filter(None, notes.get(NOTE, "").split("\n")))


def notes_with(job: Job, words: Collection[str]) -> dict[str, str]:
    """The job's notes with these words in place of those said so far."""
    return with_note(job.notes, NOTE, "\n".join(sorted(words)))


def reasons(row: CheckRow) -> tuple[str, ...]:
    """Every word that would keep this check from being made; its own id comes last."""
    states = (word for word in row.unsafe_when if word != NO_HELPER)
    return (*row.skills, *row.tools, *states, row.id)


def label(word: str) -> str:
    """The word as the person would say it."""
    known = catalogue()
    if word in known.states:
        text = known.states[word]
        return text[0].upper() + text[1:]
    if check := known.find_check(word):
        return f"Skip: {check.name}"
    skill = word != HELPER and any(word in row.skills for row in known.checks)
    return f"Not for me: {word}" if skill else f"No {word}"


def first_of_all(notes: Mapping[str, str]) -> list[str]:
    """What is to be seen to before anything else, as the person would say it."""
    return [label(word) for word in sorted(words_of(notes).intersection(FIRST))]


def not_now(notes: Mapping[str, str], unsafe_when: Collection[str]) -> str:
    """Why what is unsafe in these states is not done now; empty if nothing that was said forbids it."""
    said = words_of(notes)
    held = [label(word) for word in unsafe_when if word in said]
    return f"Not now: {joined(held)}. {BACK}" if held else ""


def next_step(work: state.Work, diagnosis: Diagnosis | None) -> NextStep:
    """What to do now, on whichever page, where something is to be seen to first too: with checks held back
    by it, what is left to do seems other than it is."""
    notes, case = work.job.notes, work.case
    step = planned_step(case, diagnosis, guessed=guesses.reasons_of(notes, case), done=notes.get("done", ""))
    runs = step.page == "record" and not step.asks
    if first_of_all(notes) and (step.mends or runs or not (step.asks or _checks(diagnosis))):
        return NextStep("See to that first", BACK, "causes")
    return step


def _checks(diagnosis: Diagnosis | None) -> tuple[PlannedCheck, ...]:
    return diagnosis.next_checks if diagnosis is not None else ()


def handed_on(store: Store) -> dict[str, str]:
    """Notes of a new job: tools and skills are lacking from one car to the next, as in the latest job."""
    latest = store.jobs()[:1]
    said = words_of(store.open(latest[0].id).notes) if latest else frozenset()
    rows = catalogue().checks
    lasting = said & {word for row in rows for word in (*row.tools, *row.skills)}
    return with_note({}, NOTE, "\n".join(sorted(lasting)))


def with_doable_checks(found: cache.Results, work: state.Work) -> cache.Results:
    """The results with checks that this person can make."""
    words = words_of(work.job.notes)
    if not words or found.diagnosis is None:
        return found
    from vibecore.causes.planning import plan  # a second of libraries, which a page without results can spare

    checks = plan(
        found.diagnosis.causes,
        work.case.checks,
        symptoms=work.case.symptoms,
        vehicle=work.case.vehicle,
        found=found.diagnosis.found,
        lacking=words,
        state=words | ({NO_HELPER} if HELPER in words else frozenset()),
    )
    return replace(found, diagnosis=replace(found.diagnosis, next_checks=checks))

"""What came of a check: said by a press, on whichever page the person stands, kept, and the ranking anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import state
import streamlit as st
import widgets
from ranked import FOLDED_UNDER

from vibecore.causes.load import CheckRow
from vibecore.jobs import save_case
from vibecore.model import CheckOutcome, Diagnosis, RankedCause

PART = "part of it: "


def ask(work: state.Work, row: CheckRow, diagnosis: Diagnosis | None) -> None:
    """A button for each outcome. What it changes is shown on the page of causes."""
    with st.container(horizontal=True, key=f"outcomes-{row.id}"):
        for outcome in row.outcome:
            if st.button(widgets.plain(outcome.name), key=f"{row.id} {outcome.id}"):
                _keep(work, row, CheckOutcome(row.id, outcome.id), outcome.name, diagnosis)


def _keep(
    work: state.Work, row: CheckRow, said: CheckOutcome, words: str, diagnosis: Diagnosis | None
) -> None:
    checks = (*(c for c in work.case.checks if c.id != row.id), said)
    window = state.window()
    job = save_case(state.store(), work.job, replace(work.case, checks=checks))
    window.moved = shares(diagnosis) if diagnosis is not None else None
    window.hold(job, f"Kept: {row.name}: {words}.")
    st.switch_page(state.page("causes"))


def shares(diagnosis: Diagnosis) -> dict[str, float]:
    """Name -> share of all, of every cause and of the parts inside each."""
    found = {c.name: c.probability for c in diagnosis.causes}
    for cause in diagnosis.causes:
        found |= part_shares(cause)
    return found


def part_shares(cause: RankedCause) -> dict[str, float]:
    """Name -> share of all, of the parts inside a cause; a cause of one part is that part."""
    parts = cause.suspects if len(cause.suspects) > 1 else ()
    return {s.name: cause.probability * s.probability for s in parts}


def moves(diagnosis: Diagnosis, before: Mapping[str, float]) -> list[tuple[str, float, float]]:
    """Name, share before and share now of the causes, and behind the first of the parts inside it, called
    so, that an outcome has moved; what was and is hardly likely is left out."""
    rows = []
    for cause in diagnosis.causes:
        rows.append((cause.name, before.get(cause.name, 0.0), cause.probability))
        if cause is diagnosis.causes[0]:
            parts = part_shares(cause).items()
            rows += [(f"{PART}{name}", before.get(name, 0.0), share) for name, share in parts]
    return [row for row in rows if max(row[1:]) >= FOLDED_UNDER]

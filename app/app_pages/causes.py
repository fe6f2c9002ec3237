"""Causes ranked, the next check with its steps and cautions, and what came of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import doable
import doubts
import judged
import knowledge
import outcomes
import ranked
import stages
import state
import streamlit as st
import widgets

from vibecore.causes.load import CheckRow, catalogue
from vibecore.jobs import save_case
from vibecore.mending import NextStep
from vibecore.model import CheckOutcome, Diagnosis, PlannedCheck
from vibecore.plan import likeliest
from vibecore.units import percent
from vibecore.words import sentence


def page() -> None:
    work = widgets.need_work("Causes")
    if work is None:
        return
    results = widgets.results(work)
    diagnosis = results.diagnosis
    if diagnosis is None:
        st.markdown("Causes can be ranked once there is a recording that can be read.")
        st.page_link(state.page("record"), label="Record", icon=":material/mic:")
        return
    _show_answer(diagnosis)
    _show_doubts(work, diagnosis)
    _show_moved(diagnosis)
    _show_next_checks(work, diagnosis)
    cured = diagnosis.repair is not None and diagnosis.repair.verdict == "cured"
    st.header("Before the repair: the likeliest first" if cured else "The likeliest first", anchor=False)
    ranked.show_causes(diagnosis, more=knowledge.show_parts)
    for text in judged.poor_words(diagnosis.analyses):
        st.warning(widgets.plain(f"Rests in part on a poor recording. {text}"))
    ranked.explain_words()
    for note in diagnosis.notes:
        st.caption(widgets.plain(note))
    _show_left_out(work)
    _show_done(work)


def _show_answer(diagnosis: Diagnosis) -> None:
    """The answer in one line, and from where the last outcome moved it."""
    before = state.window().moved or {}
    name = diagnosis.causes[0].name if diagnosis.causes else ""
    widgets.show_answer(likeliest(diagnosis, before.get(name)))


def _show_doubts(work: state.Work, diagnosis: Diagnosis) -> None:
    """What makes the ranking doubtful: to be put right, or said, on another page."""
    asks = doubts.engine_words(work.case, diagnosis.analyses)
    if asks:
        st.warning(widgets.plain(asks))
        st.page_link(state.page("car"), label="Car", icon=":material/directions_car:")
    open_stage = stages.asked(work.job.notes, work.case)
    if open_stage:
        st.warning(stages.words(len(open_stage)))
    held = doubts.held_words(diagnosis.analyses, work.case.vehicle.idle_spec_rpm)
    for asks in held:
        st.warning(widgets.plain(asks))
    unsaid = doubts.unsaid_words(work.case.recordings)
    for told in unsaid:
        st.caption(told)
    if unsaid or held or open_stage:
        st.page_link(state.page("record"), label="Say it", icon=":material/mic:")


def _show_next_checks(work: state.Work, diagnosis: Diagnosis) -> None:
    """What to do now, and the checks: the next one, or those that can be made besides."""
    step = doable.next_step(work, diagnosis)
    repair, checks = diagnosis.repair, list(diagnosis.next_checks)
    if repair is not None and repair.proven:
        if step.asks:
            _show_step(step)
        else:
            st.markdown("The repair is proven: nothing is left to check.")
            widgets.main_step("report", "Write the report", ":material/description:")
        return
    is_check = bool(checks) and (step.page, step.title) == ("causes", checks[0].name)
    if step.mends and checks:
        st.success(f"**{widgets.plain(step.title)}**  \n{widgets.plain(step.why)}")
        widgets.main_step(step.page, "How to prove it", ":material/compare_arrows:")
        st.markdown("If it was not that, check further:")
    elif is_check:
        st.header("Check next", anchor=False)
    else:
        _tell_if_none_is_left(work, checks)
        _show_step(step)
        if checks:
            st.header("Checks that can be made already", anchor=False)
    if checks and not step.mends:
        _show_check(work, checks.pop(0), diagnosis)
    for check in checks:
        with st.expander(f"Or: {widgets.plain(check.name)} ({check.minutes:.0f} min)"):
            _show_check(work, check, diagnosis)


def _show_step(step: NextStep) -> None:
    """The next step where it is no check, and the way there."""
    st.markdown(f"Next: **{widgets.plain(step.title)}**  \n{widgets.plain(step.why)}")
    if step.page != "causes":
        widgets.main_step(step.page, "Do it now", ":material/arrow_forward:")


def _tell_if_none_is_left(work: state.Work, checks: Sequence[PlannedCheck]) -> None:
    if not checks and not doable.first_of_all(work.job.notes):
        left = " of those you can make" if doable.words_of(work.job.notes) else ""
        st.markdown(f"No further check{left} would tell more.")


def _show_check(work: state.Work, check: PlannedCheck, diagnosis: Diagnosis) -> None:
    widgets.show_check(check)
    row = catalogue().find_check(check.id)
    if row is None:
        return
    cost = knowledge.cost_words(row.cost)
    if row.tools or cost:
        tools = f"Tools: {', '.join(row.tools)}." if row.tools else ""
        st.markdown(widgets.plain(f"{tools} {cost}"))
    widgets.show_steps(row.steps)
    if row.id == knowledge.ADDITIVE:
        knowledge.show_dose(work.job.notes.get("units", ""))
    st.markdown("**What came of it?**")
    outcomes.ask(work, row, diagnosis)
    with st.container(horizontal=True):
        _offer_another(work, row)
        if check.why:
            with st.popover("Why this check", key=f"why {row.id}"):
                st.markdown(widgets.plain(sentence(check.why)))


def _offer_another(work: state.Work, row: CheckRow) -> None:
    """What the person lacks for this check, or what forbids it: it and those like it are then left out."""
    said = doable.words_of(work.job.notes)
    with st.popover("I cannot do this check", key=f"cannot {row.id}"):
        for word in doable.reasons(row):
            if st.button(widgets.plain(doable.label(word)), key=f"cannot {row.id} {word}"):
                _keep_words(work, said | {word}, "Left out what needs that.")


def _show_left_out(work: state.Work) -> None:
    """What was said to be lacking, each to be taken back."""
    said = doable.words_of(work.job.notes)
    if not said:
        return
    st.header("Left out for now", anchor=False)
    for word in sorted(said):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(widgets.plain(doable.label(word)))
            if st.button("Take back", key=f"take back {word}"):
                _keep_words(work, said - {word}, "Taken back.")


def _keep_words(work: state.Work, words: frozenset[str], done: str) -> None:
    state.window().hold(state.store().save(work.job, notes=doable.notes_with(work.job, words)), done)
    st.rerun()


def _show_moved(diagnosis: Diagnosis) -> None:
    """How the last outcome moved the ranking."""
    window = state.window()
    before, window.moved = window.moved, None
    if before is None:
        return
    st.header("What that changed", anchor=False)
    found = outcomes.moves(diagnosis, before)
    rows = [(name, percent(was), percent(now)) for name, was, now in found]
    moved = [row for row in rows if row[1] != row[2]]
    if moved:
        widgets.show_table(("cause or part", "before", "now"), moved)
    else:
        st.markdown("Nothing: every cause stands where it stood.")


def _show_done(work: state.Work) -> None:
    if not work.case.checks:
        return
    st.header("Checks done", anchor=False)
    for done in work.case.checks:
        name, outcome = check_words(done)
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(f"{widgets.plain(name)}: **{widgets.plain(outcome)}**")
            if st.button("Undo", key=f"undo {done.id}"):
                checks = tuple(c for c in work.case.checks if c.id != done.id)
                state.window().hold(
                    save_case(state.store(), work.job, replace(work.case, checks=checks)), "Undone."
                )
                st.rerun()


def check_words(done: CheckOutcome) -> tuple[str, str]:
    """Name and outcome of a check that was done, in the catalogue's words where it has them."""
    row = catalogue().find_check(done.id)
    outcome = row.find_outcome(done.outcome) if row else None
    return (row.name if row else done.id), (outcome.name if outcome else done.outcome)

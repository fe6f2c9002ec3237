"""Proof of repair: the recordings before against those after, with a verdict; any two over each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import guesses
import pickers
import ranked
import stages
import state
import streamlit as st
import widgets

from app_pages.record import show_how
from vibecore import figures
from vibecore.engine import Vehicle
from vibecore.jobs import save_case
from vibecore.model import Analysis, Diagnosis, Repair
from vibecore.plan import after_repair, unsaid_of_proof
from vibecore.safe_names import named_after
from vibecore.words import pair_sentences

LEAST_COMPARED = 2  # recordings: one before, one after
MOST_OFFERED = 5  # older ones were hardly made after the mend
COMPARE = "Compare any two"
LOOK, LOOK_ICON = "Look it over", ":material/checklist:"


def page() -> None:
    work = widgets.need_work("Proof of repair")
    if work is None:
        return
    results = widgets.results(work)
    repair = results.diagnosis.repair if results.diagnosis else None
    if repair is None:
        _ask_for_one(work)
    else:
        _show_verdict(work, repair)
        if results.diagnosis is not None:
            _show_visits(repair, results.diagnosis, work.case.vehicle)
    if results.diagnosis is not None:
        _compare_two(work, results.diagnosis)


def _ask_for_one(work: state.Work) -> None:
    """No recording after a repair yet: how to make one."""
    item = after_repair(work.case)
    st.markdown("Mend one thing, then record again and mark that recording 'after repair'.")
    asked = stages.asked(work.job.notes, work.case)
    offer = st.container()  # on top where it is likely here already
    show_how(item, work.job.notes)
    widgets.main_step("record", "Record", ":material/mic:")
    with offer if asked else st.container():
        _offer_the_latest(work, asked)


def _offer_the_latest(work: state.Work, asked: Sequence[str]) -> None:
    """It may be here already, and nobody said so: the latest first, those never said of before the others."""
    names = [r.name for r in work.case.recordings]
    if len(names) < LEAST_COMPARED:
        return
    latest = [*asked[::-1], *(n for n in names[::-1] if n not in asked)][:MOST_OFFERED]
    with st.container(border=True):
        key = state.fresh_key(work.job, f"use one of {len(names)}")
        titles = {r.name: pickers.file_title(r) for r in work.case.recordings}
        name = st.selectbox("Recorded after the mend", latest, format_func=titles.__getitem__, key=key)
        if st.button(
            "Use this recording as the one after the repair", type="primary" if asked else "secondary"
        ):
            case, notes = stages.put(name)(work.case, work.job.notes, "after")
            job = save_case(state.store(), work.job, case, notes=notes)
            state.window().hold(job, f"{name} counts as the one after the repair.")
            st.rerun()


def _show_verdict(work: state.Work, repair: Repair) -> None:
    others = ranked.show_verdict(repair)
    unsure = _tell_if_guessed(work, repair)
    if unsure and repair.verdict in ("cured", "cannot-tell"):
        widgets.main_step("record", LOOK, LOOK_ICON)
        st.page_link(state.page("report"), label="Write the report", icon=":material/description:")
    elif repair.verdict == "cured" and not repair.proven:
        widgets.main_step("record", "Say what the tachometer showed", ":material/speed:")
        st.page_link(state.page("report"), label="Write the report", icon=":material/description:")
    elif repair.verdict in ("cured", "cannot-tell"):
        widgets.main_step("report", "Write the report", ":material/description:")
    else:
        widgets.main_step("causes", "What to check next", ":material/build:")
        st.page_link(state.page("report"), label="Write the report", icon=":material/description:")
    if repair.changes:
        widgets.show_picture(figures.before_after(repair, work.case.vehicle.engine), "change")
    if others:
        st.subheader("How this is known", anchor=False)
        st.markdown("\n".join(f"- {widgets.plain(sentence)}" for sentence in others))


def _tell_if_guessed(work: state.Work, repair: Repair) -> bool:
    """A proof from recordings that nobody has looked over, or whose gear, speed or places nobody named;
    whether it is one."""
    notes, case = work.job.notes, work.case
    guessed, placeless = unsaid_of_proof(case, repair, guesses.reasons_of(notes, case))
    if guessed:
        st.warning("How these were made is still a guess or not said: say it before you rely on this.")
    if placeless:
        st.warning(
            "Where the phone was is not said for all of these: this holds only if it was the same place."
        )
    unsure = guessed or placeless
    if unsure and repair.verdict not in ("cured", "cannot-tell"):
        st.page_link(state.page("record"), label=LOOK, icon=LOOK_ICON)
    return unsure


def _show_visits(repair: Repair, diagnosis: Diagnosis, vehicle: Vehicle) -> None:
    """The fault's own lines from visit to visit, once there was more than one repair."""
    from vibecore import repair as proving  # signal libraries: loaded once there is a signal
    from vibecore.pipeline import leaning

    analyses = leaning(vehicle, diagnosis.analyses)  # as the verdict took them
    before = next((a for a in analyses if a.name == repair.before), None)
    if before is None or repair.lines is None:
        return
    how = before.condition
    alike = [a for a in analyses if replace(a.condition, stage=how.stage).made_as(how)]
    placing_db = proving.placing_db_of(proving.measured_placing(diagnosis.analyses))
    found = proving.visits(alike, repair.lines, vehicle.engine, placing_db=placing_db)
    if sum(a.condition.stage == "after" for a in alike) > 1 and len(found) > 2:
        widgets.show_picture(figures.over_visits(found), "visits")


def _compare_two(work: state.Work, diagnosis: Diagnosis) -> None:
    """Any two recordings, as the person chooses: what it comes to in one line on top. Drawn once it is
    unfolded: the comparison takes its time."""
    analyses = diagnosis.analyses
    if len(analyses) < LEAST_COMPARED:
        return
    fold = st.expander(COMPARE, key=COMPARE, on_change="rerun")
    if fold.open:
        with fold:
            _choose_two(work, diagnosis, analyses)


def _choose_two(work: state.Work, diagnosis: Diagnosis, analyses: Sequence[Analysis]) -> None:
    titles = pickers.titles(analyses)
    one, other = _first_pair(analyses)
    names = list(titles)
    first = st.selectbox("First", names, one, titles.__getitem__, key="compare first")
    second = st.selectbox("Second", names, other, titles.__getitem__, key="compare second")
    if first == second:
        st.markdown("Choose two different recordings.")
        return
    by_name = {a.name: a for a in analyses}
    _show_pair(work, diagnosis, by_name[first], by_name[second])


def _show_pair(work: state.Work, diagnosis: Diagnosis, first: Analysis, second: Analysis) -> None:
    from vibecore.pair_report import comparison_html
    from vibecore.repair import side_by_side  # signal libraries: loaded once there is a signal

    engine = work.case.vehicle.engine
    pair = side_by_side(first, second, engine, job=diagnosis.analyses, ranked=diagnosis.suspected)
    verdict, *notes = pair_sentences(pair)
    st.info(widgets.plain(verdict))
    for note in notes:
        st.markdown(widgets.plain(note))
    widgets.show_picture(figures.overlay(first, second), "overlay")
    if pair.changes:
        widgets.show_picture(figures.levels(first, second, pair.changes, engine), "levels")

    def make() -> str:
        units, date = work.job.notes.get("units", ""), widgets.today()
        return comparison_html(work.case, pair, first, second, verdict=verdict, units=units, date=date)

    name = named_after(f"{first.name} and {second.name}", ".html")
    st.download_button(
        "Save to print", make, name, "text/html", icon=":material/print:", on_click="ignore", key="print pair"
    )


def _first_pair(analyses: Sequence[Analysis]) -> tuple[int, int]:
    """Places of the two to begin with: neutral and in drive, else made alike, else the two ends. Before and
    after a repair have their verdict above."""
    every = list(enumerate(analyses))
    for neutral, one in every:
        if one.condition.gear in ("neutral", "park"):
            how = replace(one.condition, gear="drive")
            in_drive = [i for i, a in every if a.condition.made_as(how)]
            if in_drive:
                return neutral, in_drive[0]
    return 0, len(analyses) - 1

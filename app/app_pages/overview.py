"""The job on one page: what to do next, the causes, the recordings, and the pictures of one of them."""

from __future__ import annotations

import cache
import doable
import guesses
import judged
import pickers
import ranked
import stages
import state
import streamlit as st
import widgets

from vibecore import figures
from vibecore.case import Case
from vibecore.jobs import INVENTED, INVENTED_WORDS
from vibecore.model import Analysis, Diagnosis
from vibecore.plan import likeliest
from vibecore.words import speed_in_short, vehicle_words

OFTEN = {1.0: "once", 2.0: "twice"}
WHAT_IT_IS = (
    "Your car shakes at idle? A phone taped to it records the shake; this finds what to check first and, "
    "after the mend, whether it is cured."
)


def page() -> None:
    work = state.work()
    if work is None:
        st.title("No job yet", anchor=False)
        st.page_link(state.page("jobs"), label="Start a job", icon=":material/add:")
        return
    st.title(widgets.plain(work.case.title), anchor=False)
    invented = f"  \n{INVENTED_WORDS}" if work.job.notes.get(INVENTED) else ""
    vehicle = work.case.vehicle
    order = vehicle.engine.firing_order
    fires = f"{vehicle_words(vehicle)}, fires {OFTEN.get(order, f'{order:g} times')} a turn"
    st.caption(widgets.plain(fires) + invented)
    widgets.tell_if_binned(work)
    widgets.tell_what_comes_first(work)
    if invented:
        st.markdown(WHAT_IT_IS)
        st.page_link(state.page("jobs"), label="Start with your own car", icon=":material/add:")
    results = widgets.results(work)
    if results.diagnosis is not None:
        if results.diagnosis.repair is not None:
            ranked.show_verdict(results.diagnosis.repair)
        widgets.show_answer(likeliest(results.diagnosis))
    _show_next(work, results.diagnosis)
    _tell_what_is_open(work)
    if results.diagnosis is not None:
        _show_diagnosis(results.diagnosis)
    _show_recordings(work.case, results)


def _tell_what_is_open(work: state.Work) -> None:
    """What is still a guess of how the recordings were made."""
    notes, case = work.job.notes, work.case
    unsure, asked = guesses.reasons_of(notes, case), stages.asked(notes, case)
    if asked:
        st.warning(stages.words(len(asked)))
    if unsure:
        st.info(guesses.words(unsure))
    if unsure or asked:
        st.page_link(state.page("record"), label="Look it over", icon=":material/checklist:")


def _show_next(work: state.Work, diagnosis: Diagnosis | None) -> None:
    step = doable.next_step(work, diagnosis)
    with st.container(border=True, key="next"):
        st.markdown(f"Next: **{widgets.plain(step.title)}**  \n{widgets.plain(step.why)}")
        if diagnosis is not None and step.page == "causes" and diagnosis.next_checks:
            widgets.name_cautions(diagnosis.next_checks[0].cautions)
        widgets.main_step(step.page, "Do it now", ":material/arrow_forward:")


def _show_diagnosis(diagnosis: Diagnosis) -> None:
    repair = diagnosis.repair
    before = "Before the repair: causes" if repair is not None and repair.verdict == "cured" else "Causes"
    st.header(f"{before}, the likeliest first", anchor=False)
    ranked.show_causes(diagnosis, most=4, evidence=3)
    ranked.explain_words()
    for note in diagnosis.notes:
        st.caption(widgets.plain(note))


def _show_recordings(case: Case, results: cache.Results) -> None:
    st.header("Recordings", anchor=False)
    if not case.recordings:
        st.markdown("None yet.")
        return
    analyses = results.diagnosis.analyses if results.diagnosis else ()
    for analysis in analyses:
        icon, (first, *others) = judged.quality(analysis, case.vehicle.engine)
        more = f" And {len(others)} more to mind, under Record." if others and icon == judged.TO_MIND else ""
        with st.container(border=True, gap="small"):
            st.markdown(f"**{widgets.plain(pickers.condition_title(analysis))}**")
            speed = [widgets.plain(speed_in_short(analysis.speed))] if analysis.speed else []
            st.markdown("  \n".join([*speed, f"{icon} {widgets.plain(first + more)}"]))
            st.caption(widgets.plain(analysis.name))
    for name, why in results.unread.items():
        st.error(f"{widgets.plain(name)}: {widgets.plain(why)}")
    if analyses:
        _show_pictures(case, analyses)


def _show_pictures(case: Case, analyses: tuple[Analysis, ...]) -> None:
    st.header("Pictures", anchor=False)
    analysis = pickers.choose_recording(analyses)
    widgets.show_picture(figures.order_spectrum(analysis, case.vehicle.engine), "orders")
    st.page_link(state.page("reading"), label="All pictures and numbers", icon=":material/monitoring:")

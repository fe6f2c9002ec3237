"""Reading: every picture of one recording, each with its sentence and its table."""

from __future__ import annotations

import cache
import doubts
import judged
import pickers
import ranked
import state
import streamlit as st
import widgets

from vibecore import figures
from vibecore.case import Case
from vibecore.contract import all_warnings
from vibecore.engine import Engine
from vibecore.model import Analysis
from vibecore.waterfall import PARTS
from vibecore.words import beat_words, overall_words, recording_words, speed_in_short, speed_words


def page() -> None:
    work = widgets.need_work("Reading")
    if work is None:
        return
    results = widgets.results(work)
    analyses = results.diagnosis.analyses if results.diagnosis else ()
    if not analyses:
        st.markdown("There is no recording to read yet.")
        st.page_link(state.page("record"), label="Record", icon=":material/mic:")
        return
    analysis = pickers.choose_recording(analyses)
    _show_words(work.case, analysis, results)
    _show_pictures(work.case, analysis, results)


def _show_words(case: Case, analysis: Analysis, results: cache.Results) -> None:
    """What matters of it in a few lines; the numbers behind them are folded away."""
    icon, found = judged.quality(analysis, case.vehicle.engine)
    lines = [speed_in_short(analysis.speed), beat_words(cache.beat(results, analysis))]
    st.markdown("  \n".join(widgets.plain(line) for line in lines if line))
    st.markdown("  \n".join([f"{icon} {widgets.plain(found[0])}", *map(widgets.plain, found[1:])]))
    analyses = results.diagnosis.analyses if results.diagnosis else ()
    if asks := doubts.hold_words(analysis, analyses, case.vehicle.idle_spec_rpm):
        st.warning(widgets.plain(asks))
        st.page_link(state.page("record"), label="Say it", icon=":material/mic:")
    with st.expander("The numbers"):
        for line in (
            speed_words(analysis.speed),
            overall_words(analysis.overall),
            analysis.overall.cut_off_note or "",
            recording_words(analysis),
            *(w.message for w in all_warnings(analysis) if w.message != analysis.overall.cut_off_note),
        ):
            if line and line not in found:
                st.markdown(widgets.plain(line))


def _show_pictures(case: Case, analysis: Analysis, results: cache.Results) -> None:
    engine = case.vehicle.engine
    widgets.show_picture(figures.order_spectrum(analysis, engine), "orders")
    if analysis.orders is not None:
        widgets.show_picture(figures.shake_budget(analysis.orders), "budget")
    met = cache.natural_frequency(results, analysis, engine)
    if met:
        st.subheader("Natural frequency", anchor=False)
        st.markdown(widgets.plain(met))
    view = cache.cycle(results, analysis, engine)
    if view is not None:
        widgets.show_picture(figures.cycle(view, engine), "cycle")
    widgets.show_picture(figures.speed_over_time(analysis, case.vehicle.idle_spec_rpm), "speed")
    _show_waterfall(results, analysis, engine)
    widgets.show_picture(figures.trace(analysis), "trace")
    ranked.explain_words()


def _show_waterfall(results: cache.Results, analysis: Analysis, engine: Engine) -> None:
    st.subheader("Shake by time and frequency", anchor=False)
    part = st.segmented_control("Show", PARTS, default=PARTS[0], required=True, key="part of waterfall")
    with st.spinner("Parting steady lines and knocks: the first time takes half a minute.", show_time=True):
        fall = cache.waterfall(results, analysis, part or PARTS[0])
    picture = figures.waterfall(fall, analysis, engine, part or PARTS[0])
    widgets.show_picture(picture, "waterfall", titled=False)

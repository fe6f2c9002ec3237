"""Proof of repair: the recordings before against those after, with a verdict; any two over each other."""

from __future__ import annotations

from collections.abc import Sequence

import state
import streamlit as st
import widgets

from vibecore import figures
from vibecore.engine import Engine
from vibecore.model import Analysis, Repair
from vibecore.plan import after_repair
from vibecore.report import repair_sentences
from vibecore.words import VERDICTS


def page() -> None:
    work = widgets.need_work("Proof of repair")
    if work is None:
        return
    results = widgets.results(work)
    analyses = results.diagnosis.analyses if results.diagnosis else ()
    repair = results.diagnosis.repair if results.diagnosis else None
    engine = work.case.vehicle.engine
    if repair is None:
        _ask_for_one(work)
    else:
        _show_verdict(repair, engine)
        st.page_link(state.page("report"), label="Write the report", icon=":material/description:")
    _compare_two([a for a in analyses if a.orders is not None], engine)


def _ask_for_one(work: state.Work) -> None:
    """No recording after a repair yet: how to make one."""
    item = after_repair(work.case)
    st.markdown("Mend one thing, then record again and mark that recording 'after repair'.")
    widgets.show_cautions(item.cautions)
    widgets.show_steps(item.how)
    st.page_link(state.page("record"), label="Record", icon=":material/mic:")


def _show_verdict(repair: Repair, engine: Engine) -> None:
    tell = {"cured": st.success, "unchanged": st.warning, "worse": st.error}.get(repair.verdict, st.info)
    tell(f"### {VERDICTS[repair.verdict]}")
    first, *others = repair_sentences(repair)
    st.markdown(widgets.plain(first))
    if repair.changes:
        widgets.show_picture(figures.before_after(repair, engine), "change")
    for sentence in others:
        st.markdown(widgets.plain(sentence))


def _compare_two(analyses: Sequence[Analysis], engine: Engine) -> None:
    """Any two recordings whose speed is known, as the person chooses; first and last to begin with."""
    if len(analyses) < 2:
        return
    st.header("Compare any two")
    names = [a.name for a in analyses]
    first = st.selectbox("First", names, 0, key="compare first")
    second = st.selectbox("Second", names, len(names) - 1, key="compare second")
    by_name = {a.name: a for a in analyses}
    if first != second:
        widgets.show_picture(figures.overlay(by_name[first], by_name[second], engine), "overlay")

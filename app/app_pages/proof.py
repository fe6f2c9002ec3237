"""Proof of repair: the recordings before against those after, with a verdict; any two over each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import state
import streamlit as st
import widgets

from vibecore import figures
from vibecore.engine import Engine
from vibecore.model import Analysis, Repair
from vibecore.plan import after_repair
from vibecore.words import VERDICTS, repair_sentences


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
    first, *others = repair_sentences(repair) or ("",)
    st.markdown(widgets.plain(first))
    if repair.changes:
        widgets.show_picture(figures.before_after(repair, engine), "change")
    for sentence in others:
        st.markdown(widgets.plain(sentence))


def _compare_two(analyses: Sequence[Analysis], engine: Engine) -> None:
    """Any two recordings whose speed is known, as the person chooses."""
    if len(analyses) < 2:
        return
    st.header("Compare any two")
    names = [a.name for a in analyses]
    one, other = _first_pair(analyses)
    first = st.selectbox("First", names, one, key="compare first")
    second = st.selectbox("Second", names, other, key="compare second")
    by_name = {a.name: a for a in analyses}
    if first != second:
        widgets.show_picture(figures.overlay(by_name[first], by_name[second], engine), "overlay")


def _first_pair(analyses: Sequence[Analysis]) -> tuple[int, int]:
    """Places of the two to begin with: one after a repair and one before it made alike, else the two ends."""
    afters = [i for i, a in enumerate(analyses) if a.condition.stage == "after"]
    for after in afters:
        how = replace(analyses[after].condition, stage="before", tachometer_rpm=None)
        alike = [i for i, a in enumerate(analyses) if replace(a.condition, tachometer_rpm=None) == how]
        if alike:
            return alike[0], after
    return 0, len(analyses) - 1

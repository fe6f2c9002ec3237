"""Proof of repair: the recordings before against those after, with a verdict."""

from __future__ import annotations

import state
import streamlit as st
import widgets

from vibecore import figures
from vibecore.model import Repair
from vibecore.words import VERDICTS, repair_lines


def page() -> None:
    work = widgets.need_work("Proof of repair")
    if work is None:
        return
    results = widgets.results(work)
    repair = results.diagnosis.repair if results.diagnosis else None
    if repair is None:
        st.markdown(
            "Mend one thing, then record again: the same place, the same gear, the phone the same way round. "
            "Mark that recording 'after the repair'."
        )
        st.page_link(state.page("record"), label="Record", icon=":material/mic:")
        return
    _show_verdict(repair)
    if repair.changes:
        widgets.show_picture(figures.before_after(repair, work.case.vehicle.engine), "change")
    st.page_link(state.page("report"), label="Write the report", icon=":material/description:")


def _show_verdict(repair: Repair) -> None:
    tell = {"cured": st.success, "unchanged": st.warning, "worse": st.error}.get(repair.verdict, st.info)
    tell(f"**{VERDICTS[repair.verdict]}**")
    lines = repair_lines(repair)
    for line in lines[: len(lines) - len(repair.changes)]:
        st.markdown(widgets.plain(line))

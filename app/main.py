"""The app's router: one page a screen, one guard over all of them, so that every failure is a sentence."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import look
import state
import streamlit as st
import widgets
from app_pages import car, causes, jobs, overview, proof, reading, record, report, trying

ICON = Path(__file__).parent / "drawings" / "icon.svg"  # a named icon would be fetched from outside

DRAW: dict[str, Callable[[], None]] = {
    "overview": overview.page,
    "car": car.page,
    "record": record.page,
    "reading": reading.page,
    "causes": causes.page,
    "trying": trying.page,
    "proof": proof.page,
    "report": report.page,
    "jobs": jobs.page,
}


def main() -> None:
    st.set_page_config(page_title="vibecore", page_icon=str(ICON), layout="centered")
    pages = {
        "overview": _page("This job", ":material/home:", default=True),
        "car": _page("Car", ":material/directions_car:"),
        "record": _page("Record", ":material/mic:"),
        "reading": _page("Reading", ":material/monitoring:"),
        "causes": _page("Causes", ":material/build:"),
        "trying": _page("Try it", ":material/touch_app:"),
        "proof": _page("Proof", ":material/compare_arrows:"),
        "report": _page("Report", ":material/description:"),
        "jobs": _page("All jobs", ":material/folder_open:"),
    }
    window = state.window()
    window.pages = pages
    chosen = st.navigation(list(pages.values()), position="top")
    st.html(look.STYLE)
    with st.container(key="scripts"):
        st.html(look.KEEP_WHILE_TYPING + look.TOLD_ONCE, unsafe_allow_javascript=True)
    said, warned = window.tell()
    if said:
        st.success(widgets.plain(said))
        st.toast(widgets.plain(said))  # in sight where the page stays scrolled down, see look.py
    if warned:
        st.warning(widgets.plain(warned))
    name = next(name for name, page in pages.items() if page == chosen)
    window.turn_to(name)
    if window.turned:
        with st.container(key="turning"):
            st.html(look.TO_THE_TOP.format(window.turned), unsafe_allow_javascript=True)
    _show(name)


def _show(name: str) -> None:
    """Draw this page, from here and not by Streamlit's own page run: that forgets what a page's boxes held
    when the next page is asked for, also what was typed an instant before. Each page has a place of its own,
    so that what another showed goes at once."""
    places = {other: st.container() if other == name else st.empty() for other in DRAW}
    with places[name]:
        widgets.guard(DRAW[name])


def _page(title: str, icon: str, *, default: bool = False) -> st.Page:
    url = title.lower().replace(" ", "-")
    return st.Page(_nothing, title=title, icon=icon, url_path=url, default=default)


def _nothing() -> None:
    """Streamlit asks for something to run."""


main()

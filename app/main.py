"""The app's router: one page a screen, one guard over all of them, so that every failure is a sentence."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import state
import streamlit as st
import widgets
from app_pages import car, causes, jobs, overview, proof, reading, record, report

ICON = Path(__file__).parent / "drawings" / "icon.svg"  # a named icon would be fetched from outside

STYLE = """<style>
.block-container {padding-top: 4.2rem; padding-bottom: 4rem; max-width: 60rem;}
[data-testid="stMainBlockContainer"] > [data-testid="stVerticalBlock"] {gap: .8rem;}
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] p {color: #505A64; opacity: 1;}
[data-testid="stExpandSidebarButton"] {min-height: 3rem; min-width: 6rem; border: 1px solid #0072B2;}
[data-testid="stExpandSidebarButton"]::after {content: "Menu"; font-size: 1rem; color: #1F2328;}
.stButton button, .stDownloadButton button, .stFormSubmitButton button {min-height: 3rem;}
[data-testid="stPopover"] button {min-height: 3rem;}
[data-testid="stSidebarNavLink"] {min-height: 3rem; font-size: 1.1rem;}
a:focus-visible, button:focus-visible, summary:focus-visible {outline: 3px solid #D55E00 !important;}
[data-testid="stMain"]:focus-visible {outline: 3px solid #D55E00 !important; outline-offset: -3px;}
[data-testid="stPageLink"] a {min-height: 3rem; padding: 0 1rem;}
[data-testid="stPageLink"] a {border: 1px solid #0072B2; border-radius: .5rem;}
.st-key-unseen {display: none;}
.st-key-next {background: #EAF4FB; border-color: #0072B2;}
.st-key-next [data-testid="stPageLink"] a {background: #0072B2; }
.st-key-next [data-testid="stPageLink"] a * {color: #FFFFFF; }
</style>"""


def main() -> None:
    st.set_page_config(page_title="vibecore", page_icon=str(ICON), layout="centered")
    pages = {
        "overview": _page(overview.page, "This job", ":material/home:", default=True),
        "car": _page(car.page, "Car", ":material/directions_car:"),
        "record": _page(record.page, "Record", ":material/mic:"),
        "reading": _page(reading.page, "Reading", ":material/monitoring:"),
        "causes": _page(causes.page, "Causes", ":material/build:"),
        "proof": _page(proof.page, "Proof", ":material/compare_arrows:"),
        "report": _page(report.page, "Report", ":material/description:"),
        "jobs": _page(jobs.page, "All jobs", ":material/folder_open:"),
    }
    st.session_state[state.PAGES] = pages
    chosen = st.navigation(list(pages.values()), position="top")
    st.html(STYLE)
    said, warned = state.pop_said()
    if said:
        st.success(widgets.plain(said))
        st.toast(widgets.plain(said))  # in sight too where the page stays scrolled down
    if warned:
        st.warning(widgets.plain(warned))
    chosen.run()


def _page(draw: Callable[[], None], title: str, icon: str, *, default: bool = False) -> st.Page:
    def guarded() -> None:
        widgets.guard(draw)

    return st.Page(guarded, title=title, icon=icon, url_path=title.lower().replace(" ", "-"), default=default)


main()

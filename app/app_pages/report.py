"""Hand over: the printable report, and the whole job as one zip."""

from __future__ import annotations

import streamlit as st
import widgets


def page() -> None:
    work = widgets.need_work()
    if work is None:
        return
    st.title("Report")

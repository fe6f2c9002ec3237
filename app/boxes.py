"""Boxes that keep what is said in them: each one changes its own part of the job as soon as it is left.

Streamlit calls a box's `on_change` before it draws any page, also when the person went on to another one in
the same breath: a page that kept what its boxes hold while it is drawn would lose that.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import state
import streamlit as st
import widgets
from streamlit.delta_generator import DeltaGenerator

from vibecore.case import Case
from vibecore.errors import CaseError, VibecoreError
from vibecore.jobs import case_of, save_case
from vibecore.merging import clash
from vibecore.store import StaleEdit

Notes = Mapping[str, str]
Put = Callable[[Case, Notes, Any], tuple[Case, Notes]]  # case and notes as they are once that is said

NOT_SAID = "not said"
MAX_TEXT = 2000  # characters of a note: a page of a report
BOX_PX = 150  # two boxes beside each other on a phone of 390, four on a laptop
NUMBER_PX = 220  # five figures, and the three buttons of a number that may be empty
BOTH_KEPT = "This job was changed in another window too: both changes are kept."
FAULT = "That could not be kept because of a fault in vibecore. The window it was started in says more."


def box(draw: Callable[..., Any], name: str, put: Put, *args: Any, **kwargs: Any) -> Any:
    """Draw a box of the open job, and below it why what it holds was not kept, if it was not. Returns what it
    holds. args, kwargs: of `draw`, a Streamlit box."""
    window, key = state.window(), key_of(name)
    if key not in st.session_state:
        window.unkept.pop(key, None)  # of a box that was left with its page
    said = draw(*args, key=key, on_change=_keep, args=(window, key, put), **kwargs)
    if key in window.unkept:
        _keep(window, key, put)  # there may be room on the disk by now, or the box beside it fits
    if key in window.unkept:
        st.error(widgets.plain(window.unkept[key]))
    elif box_of(key) in window.clashed:
        st.warning(widgets.plain(typed_words(window.clashed[box_of(key)])))
    return said


def key_of(name: str) -> str:
    """The key of a box of the open job."""
    job = state.window().job
    assert job is not None
    return state.fresh_key(job, name)


def _keep(window: state.Window, key: str, put: Put) -> None:
    """Keep what this box holds, or why that cannot be. It touches no session, so nothing breaks it off."""
    try:
        with window.saving:
            _save(window, key, put, held(key))
    except VibecoreError as error:
        window.unkept[key] = str(error)
    except Exception:
        logging.getLogger("vibecore").exception("what was said could not be kept")
        window.unkept[key] = FAULT
    else:
        window.unkept.pop(key, None)
        window.clashed.pop(box_of(key), None)


def _save(window: state.Window, key: str, put: Put, said: Any) -> None:
    """Keep it, also beside what another window has changed since, unless that is the same thing."""
    job = window.job
    if job is None:
        return
    was = case_of(job)
    case, notes = put(was, job.notes, said)
    if case == was and notes == job.notes:
        return
    try:
        window.hold(save_case(state.store(), job, case, notes=notes))
    except StaleEdit as error:
        now = state.store().open(job.head.id)
        if clash((was, job.notes), (case, notes), (case_of(now), now.notes)):
            window.clashed[box_of(key)] = str(said)
            raise StaleEdit(f"{error} {typed_words(said)}") from None
        case, notes = put(case_of(now), now.notes, said)
        window.hold(save_case(state.store(), now, case, notes=notes), BOTH_KEPT)
        window.fetched += 1  # every box shows what is there now


def box_of(key: str) -> str:
    """What stays of a box's key when the job is fetched again."""
    return key.rsplit(" ", 1)[0]


def typed_words(said: Any) -> str:
    return f"You had typed: {said}"


def held(key: str, otherwise: Any = None) -> Any:
    """What the box with this key holds now."""
    return st.session_state.to_dict().get(key, otherwise)


def save_button() -> None:
    """Every box is kept as it is left; the button is there for whoever looks for it."""
    lost = any(key in st.session_state for key in state.window().unkept)
    if st.button("Save") and not lost:
        st.success("Saved.")


def choice(
    column: DeltaGenerator, name: str, put: Put, label: str, choices: Sequence[str], now: str | None
) -> None:
    """One of the choices, or None for 'not said'."""
    options = [NOT_SAID, *choices]

    def said(case: Case, notes: Notes, chosen: str) -> tuple[Case, Notes]:
        return put(case, notes, None if chosen == NOT_SAID else chosen)

    box(column.selectbox, name, said, label, options, options.index(now or NOT_SAID), width=BOX_PX)


def number(
    draw: Callable[..., Any],
    name: str,
    put: Put,
    label: str,
    now: float | None,
    most: float,
    step: float,
    least: float = 0,
    **kwargs: Any,
) -> Any:
    """A number from least to most. What lies outside is told below in a sentence: a box with bounds of its
    own turns red, and says why only to a pointer that rests on it, which no finger can."""

    def within(case: Case, notes: Notes, said: float | None) -> tuple[Case, Notes]:
        if said is not None and not least <= said <= most:
            raise CaseError(f"{said:,.10g} cannot be right. It lies between {least:,.0f} and {most:,.0f}.")
        return put(case, notes, said)

    return box(draw, name, within, label, value=now, step=step, **kwargs)


def line(name: str, put: Put, label: str, text: str, most: int) -> None:
    """A line of so many characters; what is in it already stays whole, however long: a job from elsewhere may
    hold more."""
    box(st.text_input, name, put, label, text, max(most, len(text)))


def note(name: str, label: str, notes: Notes) -> None:
    """One of the job's notes, up to a page of a report."""
    text = notes.get(name, "")
    box(st.text_area, name, put_note(name), label, text, max_chars=max(MAX_TEXT, len(text)))


def put_note(name: str) -> Put:
    return lambda case, notes, said: (case, {**notes, name: said})

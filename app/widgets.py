"""Pieces that several pages share. Text from files and people goes through `plain` before it is shown."""

from __future__ import annotations

import datetime
import logging
import re
from collections.abc import Callable, Sequence
from pathlib import Path

import cache
import doable
import state
import streamlit as st
from plotly.graph_objects import Figure
from streamlit.delta_generator import DeltaGenerator

from vibecore.errors import VibecoreError
from vibecore.figures import Picture
from vibecore.jobs import put_back
from vibecore.model import PlannedCheck
from vibecore.store import StaleEdit
from vibecore.units import printed
from vibecore.words import joined

_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#+\-.!|<>$:~^&=@])")
IN_FULL = "Each stands in full with the steps."
ZOOM = ["zoomIn2d", "zoomOut2d", "resetScale2d"]  # buttons, for a finger on the picture scrolls the page
CHART = {"displayModeBar": True, "displaylogo": False, "modeBarButtons": [ZOOM], "scrollZoom": False}


def plain(text: str) -> str:
    """The text as it stands, whatever marks it holds: no link, picture or formula comes of it."""
    return _MARKDOWN.sub(r"\\\1", printed(" ".join(text.split())))


def guard(draw: Callable[[], None]) -> None:
    """Draw a page; what goes wrong is told in a sentence, never as a traceback."""
    try:
        draw()
    except StaleEdit as error:
        st.warning(plain(str(error)))
        if st.button("Show what is there now", type="primary"):
            state.window().refresh()
            st.rerun()
    except VibecoreError as error:
        st.error(plain(str(error)))
    except Exception:
        logging.getLogger("vibecore").exception("a page failed")
        st.error(
            "Something went wrong that should not have. What you saved is safe on the disk. Go to another "
            "page and come back; if it stays, start vibecore again. The window it was started in says more."
        )


def results(work: state.Work, room: DeltaGenerator | None = None) -> cache.Results:
    """The job's results, with checks that this person can make. room: where it is told that they take time,
    if not here."""
    with room if room is not None else st.container():
        found = _results(work)
    return doable.with_doable_checks(found, work)


def _results(work: state.Work) -> cache.Results:
    """While they take time, a line says what is being done, and a button stops it."""
    key = cache.key_of(work.job, work.case)
    if cache.at_hand(work.job, work.case):
        return cache.results(state.store(), work.job, work.case)
    window = state.window()
    if window.stopped == key:
        st.info("Stopped. What was read so far is not read again.")
        if not st.button("Go on", type="primary"):
            st.stop()
        window.stopped = ""
    place = st.empty()
    with place.container():
        line = st.empty()
        st.button("Stop", key=f"stop {key}", on_click=window.stop, args=[key])
    found = cache.results(state.store(), work.job, work.case, lambda text: line.info(plain(text)))
    place.empty()
    return found


def tell_if_binned(work: state.Work) -> None:
    if work.job.head.state == "bin":
        st.info("This job is in the bin. Take it out again under All jobs before you work on it.")


def tell_what_comes_first(work: state.Work) -> None:
    """What makes a running engine or an open flame a danger on this car, on each page that leads to one."""
    for first in doable.first_of_all(work.job.notes):
        text = f"{first}: have that seen to before anything else."
        st.warning(plain(text), icon=":material/warning:")


def need_work(title: str) -> state.Work | None:
    """The page's title and the open job under it; without one, the way to the list of jobs."""
    st.title(title, anchor=False)
    work = state.work()
    if work is None:
        st.markdown("No job is open.")
        st.page_link(state.page("jobs"), label="Open or start a job", icon=":material/folder_open:")
        return None
    st.caption(plain(work.case.title))
    tell_if_binned(work)
    tell_what_comes_first(work)
    if state.changed_elsewhere(work.job):
        st.info("This job was changed in another window.")
        if st.button("Show what is there now"):
            state.window().refresh()
            st.rerun()
    return work


def offer_undo(work: state.Work, *, aside: bool) -> None:
    """Right after files were taken out of the job: back in with them, and with what was said of them. aside:
    whether they were kept aside."""
    before = state.window().undoable()
    gone = [f for f in before.files if f not in work.job.files] if before is not None else []
    if before is None or not gone or (gone[0].aside is not None) != aside:
        return
    names = joined([f.name for f in gone])
    with st.container(border=True, horizontal=True, vertical_alignment="center"):
        st.markdown(plain(f"Taken out: {names}."))
        if st.button("Undo", icon=":material/undo:", key="undo taking out"):
            state.window().hold(put_back(state.store(), work.job, before), f"Back in the job: {names}.")
            st.rerun()


def show_answer(answer: str) -> None:
    """The likeliest cause, the first thing to read on its page."""
    if answer:
        with st.container(key="answer"):
            st.markdown(f"**{plain(answer)}**")


def main_step(page: str, label: str, icon: str) -> None:
    """The way on: the one thing to press on its page."""
    with st.container(key="main-step"):
        st.page_link(state.page(page), label=label, icon=icon)


def show_picture(picture: Picture, key: str, titled: bool = True) -> None:
    """The sentence, the picture, and the table for whoever cannot see it. titled: with its title on top."""
    if titled:
        st.subheader(picture.title, anchor=False)
    st.markdown(plain(picture.sentence))
    if picture.figure.data:
        st.plotly_chart(picture.figure, key=key, config=CHART, alt=picture.sentence, theme=None)
    with st.expander("The same as a table"):
        show_table(picture.columns, picture.rows)


def today() -> str:
    """As it stands on a printed page."""
    day = datetime.date.today()
    return f"{day.day} {day:%B %Y}"


def day_words(at_s: float) -> str:
    """Day and time of this computer's clock, to tell two jobs of one name apart. at_s: seconds since 1970."""
    at = datetime.datetime.fromtimestamp(at_s)
    return f"{at.day} {at:%B %Y, %H:%M}"


def load_drawing() -> None:
    """An empty picture that nobody sees: the browser loads what draws pictures, which takes it a second or
    two, while the person is still looking for files."""
    with st.container(key="unseen"):
        st.plotly_chart(Figure(), key="unseen picture", theme=None)


def show_table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A table that a screen reader can walk."""
    st.table([dict(zip(map(plain, columns), map(plain, row), strict=False)) for row in rows])


def show_cautions(cautions: Sequence[str]) -> None:
    """Where the work can hurt: always in sight, never folded away."""
    _warn([f"{mark}{f': {what}' if what else ''}" for mark, what in map(_marked, cautions)])


def name_cautions(cautions: Sequence[str]) -> None:
    """Each by its first words, where the work is only spoken of: with the steps they stand in full."""
    marked = list(map(_marked, cautions))
    _warn([mark for mark, _ in marked], IN_FULL if any(what for _, what in marked) else "")


def _marked(caution: str) -> tuple[str, str]:
    """What can hurt, made bold, and what to do about it, where the two are parted by a colon."""
    head, _, rest = caution.partition(": ")
    return f"**{plain(head)}**" if rest else plain(caution), plain(rest)


def _warn(lines: Sequence[str], end: str = "") -> None:
    listed = lines if len(lines) == 1 else [f"- {line}" for line in lines]
    if lines:
        st.warning("\n".join(listed) + (f"\n\n{end}" if end else ""), icon=":material/warning:")


def show_steps(steps: Sequence[str]) -> None:
    """What to do, numbered."""
    st.markdown("\n".join(f"{number}. {plain(step)}" for number, step in enumerate(steps, start=1)))


def show_check(check: PlannedCheck) -> None:
    """A check to do, with its cautions at once below its name."""
    st.markdown(f"**{plain(check.name)}** (about {check.minutes:.0f} minutes)")
    show_cautions(check.cautions)


def drawing(name: str) -> str:
    """One of the app's own line drawings, as SVG text."""
    return (Path(__file__).parent / "drawings" / name).read_text(encoding="utf-8")

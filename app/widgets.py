"""Pieces that several pages share. Text from files and people goes through `plain` before it is shown."""

from __future__ import annotations

import datetime
import logging
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import cache
import doable
import numpy as np
import state
import streamlit as st
from plotly.graph_objects import Figure
from streamlit.delta_generator import DeltaGenerator

from vibecore.contract import all_warnings
from vibecore.engine import Engine, what_can_be_seen
from vibecore.errors import VibecoreError
from vibecore.figures import Picture
from vibecore.model import Analysis, Diagnosis, Evidence, PlannedCheck, RankedCause, Recording
from vibecore.spoken import spoken_by_file
from vibecore.store import StaleEdit
from vibecore.words import SPEAKS, UNSHOWN_PROBABILITY, percent

_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#+\-.!|<>$:~^&=@])")
WEIGHTING_NOTE = "weighting-cut-off"  # true of every phone: told on the reading page, no fault of a recording
MISLEADING = (
    "clipped",
    "moved",
    "knocks",
)  # peaks cut off raise lines of their own; so does a loose phone
GOOD, TO_MIND = ":material/check_circle:", ":material/error:"
TOO_SLOW = "slow"  # the phone's rate
LOST = "lost-samples"
HARMLESS_SHARE, SHORT_GAP_S = 0.01, 0.1  # of the rows; they are bridged. Common practice, no source
MOST_USED = 0.8  # of a recording: starting and stopping it takes some seconds
IN_FULL = "Each stands in full with the steps."
RATES_HZ = (100, 200, 400, 500)  # that phones offer
More = Callable[[RankedCause], None]
ZOOM = ["zoomIn2d", "zoomOut2d", "resetScale2d"]  # buttons, for a finger on the picture scrolls the page
CHART = {"displayModeBar": True, "displaylogo": False, "modeBarButtons": [ZOOM], "scrollZoom": False}


def plain(text: str) -> str:
    """The text as it stands, whatever marks it holds: no link, picture or formula comes of it. The unit that
    sentences write for any terminal looks as in the pictures."""
    return _MARKDOWN.sub(r"\\\1", " ".join(text.split()).replace(" m/s2", " m/s²"))


def sentence(text: str) -> str:
    """The text with a capital and a full stop."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


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
    if state.changed_elsewhere(work.job):
        st.info("This job was changed in another window.")
        if st.button("Show what is there now"):
            state.window().refresh()
            st.rerun()
    return work


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


def show_cause(
    cause: RankedCause,
    place: int,
    called: Mapping[str, str],
    most: int | None = None,
    more: More | None = None,
) -> None:
    """One cause with its share, and its evidence in words, the weightiest first; the first cause is open.
    called: what a person calls each recording, by its file."""
    st.markdown(f"**{place}. {plain(cause.name)}**: {plain(percent(cause.probability))}")
    st.progress(min(max(cause.probability, 0.0), 1.0))
    if not cause.evidence and not cause.suspects:
        return
    with st.expander("Why", expanded=place == 1):
        evidence = sorted(cause.evidence, key=lambda e: -abs(e.weight_db))
        for item in evidence[:most]:
            st.markdown(f"- **{SPEAKS[item.says]}:** {plain(sentence(item.text) + seen_words(item, called))}")
        if most is not None and len(evidence) > most:
            st.markdown(f"- And {len(evidence) - most} more, on the page of causes.")
        if more is not None:
            more(cause)
        elif cause.suspects:
            names = ", ".join(f"{s.name} ({percent(s.probability)})" for s in cause.suspects)
            st.markdown(f"- **Inside that:** {plain(names)}")


def seen_words(item: Evidence, called: Mapping[str, str]) -> str:
    """The recordings it was seen in, as far as its text does not name them already."""
    names = [called.get(file, file) for file in item.seen_in]
    unnamed = [name for name in names if not re.search(rf"(?<![\w-]){re.escape(name)}", item.text)]
    if not unnamed:
        return ""
    return f" {'Seen' if len(unnamed) == len(names) else 'Also'} in {', '.join(unnamed)}."


def show_causes(
    diagnosis: Diagnosis,
    most: int | None = None,
    evidence: int | None = None,
    more: More | None = None,
) -> None:
    """The causes worth showing, the likeliest first, at most so many, with so much evidence each. more: draws
    what else is known of a cause."""
    called = spoken_by_file(diagnosis.analyses)
    listed = [c for c in diagnosis.causes if c.probability >= UNSHOWN_PROBABILITY][:most]
    for place, cause in enumerate(listed, start=1):
        show_cause(cause, place, called, evidence, more)
    rest = [c.name for c in diagnosis.causes if c not in listed]
    if not rest:
        return
    told = f"And {len(rest)} less likely {'ones' if len(rest) > 1 else 'one'}"
    if most is not None:
        st.caption(f"{told}.")
        return
    with st.expander(told):
        st.markdown("\n".join(f"- {plain(name)}" for name in rest))


def show_check(check: PlannedCheck) -> None:
    """A check to do, with its cautions at once below its name."""
    st.markdown(f"**{plain(check.name)}** (about {check.minutes:.0f} minutes)")
    show_cautions(check.cautions)


def poor_words(analyses: Sequence[Analysis]) -> list[str]:
    """Recordings that mislead more than they tell, with what is wrong with each."""
    called = spoken_by_file(analyses)
    return [
        f"In {called[a.name]}: {w.message}" for a in analyses for w in all_warnings(a) if w.code in MISLEADING
    ]


def quality(analysis: Analysis, engine: Engine) -> tuple[str, list[str]]:
    """A recording's quality: an icon and what to mind, each with its mend, the first thing first; of a good
    one, what does no harm stands behind."""
    unseen = _unseen_firing(analysis, engine)
    harmless = _few_lost(analysis.recording)
    told = {WEIGHTING_NOTE} | ({TOO_SLOW} if unseen else set()) | ({LOST} if harmless else set())
    lines = [w.message for w in all_warnings(analysis) if w.code not in told]
    if analysis.speed is None:
        lines.reverse()  # why there is no speed comes last
    if unseen:
        lines.insert(0, unseen)
    lines += [text for text in [_cut_off(analysis)] if text]
    if not lines:
        return GOOD, ["Good recording.", *harmless]
    return TO_MIND, lines


def _few_lost(recording: Recording) -> list[str]:
    """That the lost samples do no harm, where they are few and none of the gaps is long."""
    lost = recording.lost_samples
    few = 0 < lost < HARMLESS_SHARE * recording.rows and np.diff(recording.t_s).max() < SHORT_GAP_S
    if not few or all(w.code != LOST for w in recording.warnings):
        return []
    return [f"{lost} samples are missing, in short gaps: that does no harm."]


def _cut_off(analysis: Analysis) -> str:
    """What of it was used, where a good part was not: the phone was handled, or it moved."""
    start, end = analysis.signal.used_span_s
    whole_s = analysis.recording.duration_s
    if end - start > MOST_USED * whole_s:
        return ""
    return f"Used from {start:.0f} to {end:.0f} s of {whole_s:.0f}: the rest is handling, or the phone moved."


def _unseen_firing(analysis: Analysis, engine: Engine) -> str | None:
    """What to do if the firing order, the first thing to look at, lies above what the phone can see."""
    speed, rate = analysis.speed, analysis.recording.sample_rate_hz
    if speed is None:
        return None
    views = what_can_be_seen(engine, speed.mean_rpm / 60, rate)
    firing = next((view for view in views if view.order == engine.firing_order), None)
    if firing is None or firing.visible:
        return None
    firing_hz = firing.frequency_hz
    enough = next((r for r in RATES_HZ if r > 2.5 * firing_hz), RATES_HZ[-1])
    return (
        f"Record again at {enough} samples a second or more: at {rate:.0f} the firing order cannot be seen."
    )


def drawing(name: str) -> str:
    """One of the app's own line drawings, as SVG text."""
    return (Path(__file__).parent / "drawings" / name).read_text(encoding="utf-8")

"""The verdict and the ranked causes, each with what speaks for and against it, and the words they use."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

import streamlit as st
import widgets

from vibecore.model import Diagnosis, Evidence, RankedCause, Repair
from vibecore.spoken import spoken_by_file
from vibecore.units import percent
from vibecore.words import UNSHOWN_PROBABILITY, repair_sentences, sentence, speaks, verdict_words

FOLDED_UNDER = 0.05  # common practice, no source: nobody begins with a cause of one in twenty
More = Callable[[RankedCause], None]
WORDS = (
    "Engine order: how often a shake comes in one turn of the crank. Order 2 comes twice a turn, order 0.5 "
    "once in two turns.",
    "Firing order: the engine order on which the cylinders fire, half their number in a four-stroke. It is "
    "not the sequence 1-3-4-2.",
    "dB: 6 dB over is twice as strong, 20 dB ten times; 6 dB under is half.",
)


def show_verdict(repair: Repair) -> tuple[str, ...]:
    """The verdict and what it means, in one box. Returns the sentences behind it."""
    told = {"cured": st.success, "unchanged": st.warning, "worse": st.error}
    tell = st.info if repair.provided else told.get(repair.verdict, st.info)
    first, *others = repair_sentences(repair) or ("",)
    tell(f"### {verdict_words(repair)}.\n\n{widgets.plain(first)}")
    return tuple(others)


def show_causes(
    diagnosis: Diagnosis,
    most: int | None = None,
    evidence: int | None = None,
    more: More | None = None,
) -> None:
    """The causes worth showing, the likeliest first, at most so many, with so much evidence each; the others
    folded away. more: draws what else is known of a cause."""
    called = spoken_by_file(diagnosis.analyses)
    listed = [c for c in diagnosis.causes if c.probability >= FOLDED_UNDER][:most]
    for rank, cause in enumerate(listed, start=1):
        show_cause(cause, rank, called, evidence, more)
    rest = [c for c in diagnosis.causes if c not in listed]
    if not rest:
        return
    told = f"And {len(rest)} less likely {'ones' if len(rest) > 1 else 'one'}"
    if most is not None:
        st.caption(f"{told}.")
        return
    with st.expander(told):
        for cause in rest:
            st.markdown(f"**{widgets.plain(cause.name)}**: {widgets.plain(percent(cause.probability))}")
            if cause.probability >= UNSHOWN_PROBABILITY:
                _show_evidence(cause, called)


def show_cause(
    cause: RankedCause,
    rank: int,
    called: Mapping[str, str],
    most: int | None = None,
    more: More | None = None,
) -> None:
    """One cause with its share, and its evidence in words, the weightiest first; the first cause is open.
    called: what a person calls each recording, by its file."""
    st.markdown(f"**{rank}. {widgets.plain(cause.name)}**: {widgets.plain(percent(cause.probability))}")
    st.progress(min(max(cause.probability, 0.0), 1.0))
    if not cause.evidence and not cause.suspects:
        return
    with st.expander("Why", expanded=rank == 1):
        _show_evidence(cause, called, most)
        if most is not None and len(cause.evidence) > most:
            st.markdown(f"- And {len(cause.evidence) - most} more, on the page of causes.")
        if more is not None:
            more(cause)
        elif len(cause.suspects) > 1:
            names = ", ".join(f"{s.name} ({percent(s.probability)})" for s in cause.suspects)
            st.markdown(f"- **Inside that:** {widgets.plain(names)}")


def _show_evidence(cause: RankedCause, called: Mapping[str, str], most: int | None = None) -> None:
    """What speaks for and against it, the weightiest first."""
    for item in sorted(cause.evidence, key=lambda e: -abs(e.weight_db))[:most]:
        text = sentence(item.text) + seen_words(item, called)
        st.markdown(f"- **{speaks(item)}:** {widgets.plain(text)}")


def seen_words(item: Evidence, called: Mapping[str, str]) -> str:
    """The recordings it was seen in, as far as its text does not name them already."""
    names = [called.get(file, file) for file in item.seen_in]
    unnamed = [name for name in names if not re.search(rf"(?<![\w-]){re.escape(name)}", item.text)]
    if not unnamed:
        return ""
    return f" {'Seen' if len(unnamed) == len(names) else 'Also'} in {', '.join(unnamed)}."


def explain_words() -> None:
    """What a mechanic need not know beforehand."""
    with st.expander("The words used here"):
        st.markdown("\n".join(f"- {widgets.plain(line)}" for line in WORDS))

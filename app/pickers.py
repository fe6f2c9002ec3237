"""Recordings to choose from, each told by what sets it apart from the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from vibecore.model import Analysis, Condition
from vibecore.words import condition_words


def condition_title(analysis: Analysis) -> str:
    """How it was made, in words; the file's name if nobody said."""
    return _title(analysis.condition) or analysis.name


def told_apart(analyses: Sequence[Analysis]) -> list[tuple[Analysis, str]]:
    """Each with how it was made; a place that all share is left out: a phone shows the first words."""
    places = {a.condition.place for a in analyses}
    made = [replace(a.condition, place=None) if len(places) == 1 else a.condition for a in analyses]
    return [(a, _title(c) or condition_title(a)) for a, c in zip(analyses, made, strict=True)]


def choose_recording(analyses: Sequence[Analysis]) -> Analysis:
    """One of the recordings, as the person chooses."""
    titles = {a.name: title for a, title in told_apart(analyses)}
    name = st.selectbox("Recording", list(titles), format_func=lambda n: f"{titles[n]}: {n}")
    return next(a for a in analyses if a.name == name)


def _title(condition: Condition) -> str:
    words = condition_words(replace(condition, tachometer_rpm=None))
    return words[:1].upper() + words[1:]

"""Recordings to choose from, each by what a person calls it: a phone shows the first words of a choice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from vibecore.case import CaseRecording
from vibecore.model import Analysis
from vibecore.spoken import made, spoken_by_file
from vibecore.words import condition_words


def condition_title(analysis: Analysis) -> str:
    """All that is known of how it was made; the file's name if nobody said."""
    words = condition_words(replace(analysis.condition, tachometer_rpm=None))
    return words[:1].upper() + words[1:] or analysis.name


def file_title(item: CaseRecording) -> str:
    """How it was made, and the file; the file alone if nobody said."""
    words, name = made(item.condition), item.name
    return f"{words[:1].upper()}{words[1:]} ({name})" if words else name


def titles(analyses: Sequence[Analysis]) -> dict[str, str]:
    """File -> title, no two alike; a file's own name stays as it is written."""
    called = spoken_by_file(analyses)
    return {
        file: name if name.startswith(file) else name[:1].upper() + name[1:] for file, name in called.items()
    }


def choose_recording(analyses: Sequence[Analysis]) -> Analysis:
    """One of the recordings, as the person chooses."""
    named = titles(analyses)
    name = st.selectbox("Recording", list(named), format_func=named.__getitem__)
    return next(a for a in analyses if a.name == name)

"""Sentences about one recording."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.app import made
from vibecore.constants import STOOD_STILL
from vibecore.model import Warn
from vibecore.words import recording_words

WHOLE = made.analysis()


@pytest.mark.parametrize(
    ("used_s", "why"),
    [((1.0, 19.0), ""), ((0.5, 9.2), ": the rest is handling, or the phone moved")],
)
def test_why_half_of_a_recording_is_not_used_is_told(used_s, why):
    """Of the 20 s recorded. Starting and stopping take a few: common practice, no source."""
    some = replace(WHOLE, signal=replace(WHOLE.signal, used_span_s=used_s))
    assert recording_words(some).endswith(f"Used: {used_s[0]} s to {used_s[1]} s{why}.")


def test_where_the_engine_stood_still_another_sentence_says_so():
    stood = Warn(STOOD_STILL, "The engine stops.")
    some = replace(WHOLE, warnings=(stood,), signal=replace(WHOLE.signal, used_span_s=(0.5, 9.2)))
    assert recording_words(some).endswith("Used: 0.5 s to 9.2 s.")

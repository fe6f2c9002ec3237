"""What a person calls a recording."""

from __future__ import annotations

import pytest

from tests.app.made import analysis
from vibecore.model import Condition
from vibecore.spoken import spoken, spoken_by_file, spoken_names

WHEEL = "steering wheel"


@pytest.mark.parametrize(
    ("condition", "name"),
    [
        (Condition(WHEEL, "neutral", "idle"), "neutral at idle"),
        (Condition(WHEEL, "drive", "idle", "after"), "drive at idle after the repair"),
        (Condition(WHEEL, "park", "raised"), "park at raised idle"),
        (Condition(WHEEL, "neutral", "sweep"), "neutral with the speed swept"),
        (Condition(WHEEL, "neutral", "engine off"), "the recording with the engine off"),
        (Condition(WHEEL, None, "idle"), "the recording at idle"),
        (Condition(WHEEL, "drive"), "drive"),
        (
            Condition(WHEEL, "neutral", "idle", accessories=("air conditioning", "lights")),
            "neutral at idle with air conditioning and lights",
        ),
        (Condition(WHEEL), ""),
    ],
)
def test_a_recording_is_called_by_how_it_was_made(condition, name):
    assert spoken(condition) == name


def test_the_file_is_named_only_where_two_share_a_condition():
    idle, drive = Condition(WHEEL, "neutral", "idle"), Condition(WHEEL, "drive", "idle")
    three = [analysis("a.csv", idle), analysis("b.csv", drive), analysis("c.csv", idle)]
    assert spoken_names(three) == ("neutral at idle (a.csv)", "drive at idle", "neutral at idle (c.csv)")
    assert spoken_by_file(three[:2]) == {"a.csv": "neutral at idle", "b.csv": "drive at idle"}


def test_two_places_tell_two_recordings_apart():
    both = [analysis(f"{p}.csv", Condition(p, "neutral", "idle")) for p in ("seat", "engine")]
    assert spoken_names(both) == ("neutral at idle on the seat", "neutral at idle on the engine")


def test_nobody_said_how_it_was_made_or_two_files_have_one_name():
    assert spoken_names([analysis("a.csv", Condition())]) == ("a.csv",)
    twice = [analysis("a.csv", Condition(None, "neutral", "idle"))] * 2
    assert spoken_names(twice) == (
        "neutral at idle (a.csv, recording 1)",
        "neutral at idle (a.csv, recording 2)",
    )

"""What a person calls a recording."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.app.made import analysis
from vibecore.case import Case
from vibecore.engine import Engine, Vehicle
from vibecore.model import Condition, Symptoms
from vibecore.plan import plan_for
from vibecore.spoken import UNSAID_GEAR, spoken, spoken_by_file, spoken_names
from vibecore.words import condition_words

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


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        (Condition(WHEEL, "neutral", "idle"), "neutral at idle, phone on the steering wheel"),
        (Condition(None, "drive", "idle", "after"), "drive at idle after the repair"),
        (
            Condition("seat", None, "raised", tachometer_rpm=900.4),
            "at raised idle, phone on the seat, tachometer 900 rpm",
        ),
        (Condition(None, "neutral", "engine off"), "with the engine off"),
        (Condition(None, None, None, "after", accessories=("lights",)), "with lights after the repair"),
        (Condition(), ""),
    ],
)
def test_how_it_was_made_is_said_in_the_same_words_as_its_name(condition, words):
    assert condition_words(condition) == words
    if condition.gear and condition.speed_hold:
        assert words.startswith(spoken(condition).removeprefix(f"{UNSAID_GEAR} "))


def test_the_plan_calls_a_recording_as_everybody_does():
    titles = {item.id: item.title for item in plan_for(Case("", Path(), Vehicle(Engine(4)), Symptoms(), ()))}
    for gear, hold in (("neutral", "idle"), ("neutral", "raised")):
        name = spoken(Condition(None, gear, hold))
        assert any(title.lower().startswith(name) for title in titles.values()), name


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

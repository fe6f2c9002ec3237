"""What is said of a recording in one line."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from tests.app import made
from vibecore.engine import Engine
from vibecore.model import Condition, Warn

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "app"))
import judged
import pickers


def test_a_firing_order_too_near_half_the_rate_is_told():
    """An eight at 715 rpm fires at 47.7 Hz: under half of 100 samples a second, and yet not to be seen
    (`vibecore.engine` leaves it out, for a phone's own filter takes it)."""
    idle = made.analysis()
    faster = replace(idle, speed=replace(idle.speed, mean_rpm=715.0))
    icon, lines = judged.quality(faster, Engine(8))
    assert "error" in icon
    assert lines[0].startswith("Record again at 200 samples a second or more")
    assert judged.quality(idle, Engine(8))[1] == ["Only 20 s long: record a minute."]


def test_all_that_is_to_mind_of_a_recording_is_told_the_first_thing_first():
    whole = made.analysis()
    fell = replace(whole, signal=replace(whole.signal, used_span_s=(0.0, 9.0)))
    first, second = judged.quality(fell, Engine(4))[1]
    assert first.startswith("Only 20 s long")
    assert second.startswith("Used from 0 to 9 s")


def test_a_recording_of_which_little_was_used_says_so():
    whole = made.analysis()
    calm = replace(whole, warnings=(), recording=replace(whole.recording, warnings=()))
    assert judged.quality(calm, Engine(4))[1] == ["Good recording."]
    fell = replace(calm, signal=replace(calm.signal, used_span_s=(0.0, 9.0)))
    assert judged.quality(fell, Engine(4))[1][0].startswith("Used from 0 to 9 s of 20: the rest is handling")


def test_where_the_engine_stopped_half_way_nothing_else_is_said_to_have_cut_it_short():
    whole = made.analysis()
    why = "Only 0 s to 9 s was used: for a part of the recording the car hardly shook."
    rec = replace(whole.recording, warnings=())
    signal = replace(whole.signal, used_span_s=(0.0, 9.0), warnings=(Warn("stood-still", why),))
    stopped = replace(whole, recording=rec, signal=signal)
    assert judged.quality(stopped, Engine(4))[1] == [why]


def test_a_recording_with_the_engine_off_is_no_poor_one():
    """The plan asks for it: that it has no engine speed is as it should be."""
    off = made.analysis(condition=Condition(speed_hold="engine off"), speed=False)
    why = Warn("engine-off", "The engine was off: there is no engine speed to find.")
    off = replace(off, warnings=(why,), recording=replace(off.recording, warnings=()))
    icon, lines = judged.quality(off, Engine(4))
    assert "check" in icon
    assert lines == ["Good recording.", "The engine was off: there is no engine speed to find."]


def test_a_few_lost_samples_in_short_gaps_do_no_harm():
    """Under one in a hundred, none missing for longer than a few steps: common practice, no source."""
    whole = made.analysis()
    lost = (Warn("lost-samples", "12 samples are missing."),)
    few = replace(whole, warnings=(), recording=replace(whole.recording, warnings=lost, lost_samples=12))
    icon, lines = judged.quality(few, Engine(4))
    assert "check" in icon
    assert lines == ["Good recording.", "12 samples are missing, in short gaps: that does no harm."]
    many = replace(few, recording=replace(few.recording, lost_samples=30))  # of 2000
    assert "error" in judged.quality(many, Engine(4))[0]
    t_s = few.recording.t_s.copy()
    t_s[1000:] += 0.3
    long_gap = replace(few, recording=replace(few.recording, t_s=t_s))
    assert "error" in judged.quality(long_gap, Engine(4))[0]


def test_choices_begin_with_what_tells_them_apart():
    """Every file of this job is of the steering wheel: on a phone a choice shows its first words only."""
    made_how = (Condition("steering wheel", "neutral", "idle"), Condition("steering wheel", "drive", "idle"))
    analyses = [made.analysis(f"{n}.csv", how) for n, how in enumerate(made_how)]
    assert list(pickers.titles(analyses).values()) == ["Neutral at idle", "Drive at idle"]
    other = made.analysis("seat.csv", Condition("seat", "drive", "idle"))
    titles = list(pickers.titles([*analyses, other]).values())
    assert titles[1:] == ["Drive at idle on the steering wheel", "Drive at idle on the seat"]
    bare = made.analysis("bare.csv", Condition("steering wheel"))
    assert pickers.titles([bare]) == {"bare.csv": "bare.csv"}

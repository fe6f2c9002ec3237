"""Records -> JSON, against the written contract (DEVELOPERS.md) and RFC 8259, which knows no NaN."""

from __future__ import annotations

import dataclasses
import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.invented import some_analysis, some_diagnosis
from vibecore import contract, terminal, words
from vibecore.engine import Engine
from vibecore.model import (
    Condition,
    Line,
    OrderChange,
    OrderLevel,
    OrderTable,
    Overall,
    Place,
    Spectrum,
    SpeedTrack,
    VerdictName,
)

NAN, INF = float("nan"), float("inf")
FOUR = Engine(cylinders=4)


def test_the_analyze_object_has_the_contracts_keys_and_no_others() -> None:
    found = contract.analysis_object(some_analysis(), file="sub/idle.csv")
    assert list(found) == ["file", "ok", "recording", "engine_speed", "orders", "other_lines", "overall"]
    assert found["file"] == "sub/idle.csv"
    assert found["ok"] is True
    assert found["recording"] == {
        "sample_rate_hz": 100.0,
        "duration_s": 9.99,
        "rows": 1003,
        "lost_samples": 3,
        "gravity_included": True,
        "used_span_s": [1.6, 8.9],
        "warnings": [
            {"code": "short", "message": "Record for longer."},
            {"code": "knock", "message": "Cut out."},
            {"code": "weighting-cut-off", "message": "Above 50 Hz lost."},
        ],
    }
    track = found["engine_speed"].pop("track")
    assert found["engine_speed"] == {
        "mean_rpm": 652.4,
        "low_rpm": 651.9,
        "high_rpm": 652.9,
        "steadiness_rpm": 6.1,
        "confidence": 0.97,
        "found_by": "vibration",
    }
    assert len(track) < 40
    assert found["overall"] == {"rms_m_s2": 0.31, "weighted_rms_m_s2": 0.22, "weighting": "ISO 5349-1 Wh"}


def test_orders_and_other_lines_have_the_contracts_keys_and_no_others() -> None:
    found = contract.analysis_object(some_analysis())
    assert found["orders"][0] == {
        "order": 0.5,
        "frequency_hz": 5.4367,
        "rms_m_s2": 0.01235,
        "low_m_s2": 0.01,
        "high_m_s2": 0.014,
        "above_floor_db": 9.8,
        "coherence": 0.91,
        "visible": True,
        "why_not": None,
    }
    assert found["orders"][-1]["rms_m_s2"] is None
    assert found["orders"][-1]["visible"] is False
    assert found["orders"][-1]["why_not"] == "Too near half the sample rate."
    assert found["other_lines"] == [
        {"frequency_hz": 31.2, "order": 2.87, "rms_m_s2": 0.2, "above_floor_db": 25.0}
    ]


def test_without_a_speed_every_order_is_listed_as_not_seen() -> None:
    found = contract.analysis_object(some_analysis(speed=None, orders=None), engine=FOUR)
    assert found["engine_speed"] is None
    assert [o["order"] for o in found["orders"]] == [
        0.5,
        1,
        1.5,
        2,
        2.5,
        3,
        3.5,
        4,
    ]  # to twice the firing order
    assert all(o["visible"] is False and o["why_not"] and o["frequency_hz"] is None for o in found["orders"])
    assert found["other_lines"][0]["frequency_hz"] == 31.2
    assert contract.analysis_object(some_analysis(speed=None, orders=None))["orders"] == []


def test_the_diagnose_object() -> None:
    found = contract.diagnosis_object(some_diagnosis(), case="job/case.toml")
    assert list(found) == ["case", "ok", "causes", "next_checks", "repair", "recordings"]
    assert sum(c["probability"] for c in found["causes"]) == pytest.approx(1, abs=1e-5)
    assert found["causes"][0]["evidence"][0] == {
        "says": "for",
        "weight_db": 7.2,
        "text": "The firing order doubled in gear. [idle.csv]",  # contract: the recording it came from
    }
    assert list(found["causes"][0]) == ["id", "name", "probability", "evidence"]
    assert found["next_checks"] == [
        {
            "id": "mount-look",
            "name": "Look at the mounts",
            "minutes": 5.0,
            "gain_bits": 0.8123,
            "cautions": ["Keep clear of the fan."],
        }
    ]
    assert found["repair"] == {
        "verdict": "cured",
        "change_db": -14.2,
        "low_db": -15.6,
        "high_db": -12.8,
        "why": "The firing order fell.",
        "notes": [],
    }
    item = found["recordings"][0]
    assert (item["stage"], item["gear"], item["place"]) == ("before", "neutral", "steering wheel")
    no_after = dataclasses.replace(some_diagnosis(), repair=None)
    assert contract.diagnosis_object(no_after, case="c")["repair"] is None


def test_the_compare_object() -> None:
    repair = some_diagnosis().repair
    assert repair is not None
    found = contract.comparison_object(some_analysis(), some_analysis(), repair, files=("a.csv", "b.csv"))
    assert (found["before"], found["after"], found["ok"]) == ("a.csv", "b.csv", True)
    assert found["repair"]["verdict"] == "cured"
    assert [r["file"] for r in found["recordings"]] == ["a.csv", "b.csv"]


def test_an_error_object() -> None:
    assert contract.error_object("No.", file="a.csv") == {"file": "a.csv", "ok": False, "error": "No."}


numbers = st.floats(allow_nan=True, allow_infinity=True, width=64)


@given(st.lists(numbers, min_size=9, max_size=9))
def test_no_value_that_json_does_not_know_gets_through(v: list[float]) -> None:
    speed = SpeedTrack(
        np.array([0.0, 1, NAN, 3]),
        np.array([v[0], 700, 700, INF]),
        v[1],
        v[2],
        v[3],
        v[4],
        0.9,
        "vibration",
        np.zeros(1),
    )
    level = OrderLevel(1, v[5], v[6], v[7], v[8], v[0], v[1], True)
    line = Line(v[2], v[3], v[4], v[5])
    table = OrderTable((level,), (line,), Spectrum(np.ones(1), np.ones(1), "hertz"), *v[:4])
    analysis = some_analysis(speed=speed, orders=table, overall=Overall(v[6], v[7], None, None))
    text = json.dumps(contract.analysis_object(analysis), allow_nan=False)  # ValueError if one gets through
    assert json.loads(text)["ok"] is True


@given(
    st.floats(0, 100),
    st.floats(0.1, 60),
    st.integers(2, 3000),
    st.lists(st.floats(400, 1500), min_size=2, max_size=9),
)
def test_the_track_comes_at_least_twice_a_second_and_keeps_its_ends(
    start_s: float, length_s: float, points: int, rpm: list[float]
) -> None:
    t_s = np.linspace(start_s, start_s + length_s, points)
    values = np.interp(t_s, np.linspace(t_s[0], t_s[-1], len(rpm)), rpm)
    speed = SpeedTrack(t_s, values, 700, 690, 710, 5, 0.9, "vibration", np.zeros(1))
    found = contract.analysis_object(some_analysis(speed=speed))["engine_speed"]["track"]
    times = [t for t, _ in found]
    assert max(np.diff(times)) <= 0.5
    assert times[0] == pytest.approx(t_s[0], abs=1e-3)
    assert times[-1] == pytest.approx(t_s[-1], abs=1e-3)
    assert len(found) <= 3 * length_s + 2  # no more than it takes
    # thinning invents nothing: every value lies within what the track held
    assert min(rpm) - 0.01 <= min(r for _, r in found)
    assert max(r for _, r in found) <= max(rpm) + 0.01


@given(st.floats(-1e6, 1e6).filter(lambda x: abs(x) > 1e-6))
def test_levels_keep_four_significant_digits(value: float) -> None:
    level = OrderLevel(1, 10, value, None, None, None, None, True)
    table = OrderTable((level,), (), Spectrum(np.ones(1), np.ones(1), "hertz"), 0, 0, 0, 0)
    found = contract.analysis_object(some_analysis(orders=table))["orders"][0]["rms_m_s2"]
    assert math.isclose(found, value, rel_tol=0.5e-3)


# ---------------------------------------------------------------- the same records in words


def test_words_of_an_analysis_say_what_was_found_and_what_was_not() -> None:
    text = terminal.analysis_text(some_analysis(), "idle.csv")
    for part in (
        "652 rpm",
        "97 % sure",
        "double of it",
        "Record for longer.",
        "phone on the steering wheel",
        "not seen: Too near half the sample rate.",
        "31.20 Hz",
        "ISO 5349-1",
    ):
        assert part in text
    unknown = terminal.analysis_text(some_analysis(speed=None, orders=None), "idle.csv")
    assert "cannot be told" in unknown
    assert "nan" not in unknown.lower().split()


def test_words_of_a_diagnosis_rank_and_warn() -> None:
    text = terminal.diagnosis_text(some_diagnosis(), "A job", ["b.csv is empty."])
    assert text.index("Engine mount") < text.index("Nothing wrong")
    for part in (
        "67 %",
        "+ The firing order doubled in gear.",
        "- x",
        "Repair: Cured.",
        "Left out: b.csv is empty.",
    ):
        assert part in text
    assert max(len(line) for line in text.splitlines()) <= terminal.WIDTH


@pytest.mark.parametrize(
    ("place", "verdict", "doubted"),
    [(None, "cured", True), ("seat", "cured", False), (None, "cannot-tell", False)],
)
def test_a_verdict_on_places_that_nobody_named_says_that_it_rests_on_them(
    place: Place | None, verdict: VerdictName, doubted: bool
) -> None:
    both = some_analysis(condition=Condition(place)), some_analysis(condition=Condition("seat"))
    repair = replace(some_diagnosis().repair, verdict=verdict)
    text = " ".join(terminal.comparison_text(*both, repair, ("a.csv", "b.csv")).split())
    assert ("this holds only if it was the same place" in text) == doubted


def test_long_rows_and_changes_are_wrapped_and_an_order_is_told_to_its_fourth_digit() -> None:
    analysis = some_analysis()
    assert analysis.orders is not None
    row = replace(analysis.orders.levels[0], visible=False, why_not="too near half the rate; " * 6)
    unseen = replace(analysis, orders=replace(analysis.orders, levels=(row,)))
    change = OrderChange(2.10284, 0.0123, 0.00456, -8.62, -26.5, -6.7)
    repair = replace(some_diagnosis().repair, changes=(replace(change, order=102.10284), change))
    lines = [*terminal.analysis_text(unseen, "a.csv").splitlines(), *terminal.repair_lines(repair)]
    assert max(map(len, lines)) <= terminal.WIDTH
    assert any("engine order 2.103: 0.0123 m/s2 before" in line for line in lines)


def test_once_a_repair_is_proven_no_check_is_left_and_the_causes_are_those_before_it() -> None:
    proven = terminal.diagnosis_text(some_diagnosis(), "A job")
    assert "Look at next" not in proven
    assert "Caution" not in proven  # nothing is asked for that could hurt
    assert "Causes before the repair" in proven
    repair = replace(some_diagnosis().repair, verdict="unchanged")
    open_job = terminal.diagnosis_text(replace(some_diagnosis(), repair=repair), "A job")
    assert open_job.index("Look at next") < open_job.index("Caution: Keep clear of the fan.")
    assert "bits" not in open_job  # a mechanic's word is minutes
    assert "before the repair" not in open_job.split("Repair:")[0]


@pytest.mark.parametrize(("more", "told"), [(0, None), (1, "one other"), (2, "each of 2 others")])
def test_causes_that_are_not_listed_are_counted(more: int, told: str | None) -> None:
    """Two causes of 98 and 2 %; as many more as are too unlikely to list."""
    found = some_diagnosis()
    ranked = [replace(found.causes[0], probability=p) for p in (0.98, 0.02, *[1e-3] * more)]
    text = terminal.diagnosis_text(replace(found, causes=tuple(ranked)), "A job")
    assert (f"under 1 %  {told}" in text) if told else ("under 1 %" not in text)


def test_no_answer_is_called_wholly_sure() -> None:
    assert words.percent(1.0) == "over 99 %"
    assert words.percent(0.0) == "under 1 %"
    assert words.percent(0.714) == "71 %"

"""The command line against its written contract: JSON Lines, order, exit status, and no traceback ever.

What the pipeline finds is tested elsewhere: here invented records stand in for it, for the words around them
are the point.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import vibecore
from tests.cli_made import objects, stand_ins
from tests.invented import some_diagnosis
from vibecore import by_name, cli
from vibecore.model import Condition, Repair

Run = Callable[..., Result]


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Invented records all the way; the list fills with what the command line called for them with."""
    return stand_ins(monkeypatch)


@pytest.fixture
def run() -> Run:
    return lambda *arguments: CliRunner().invoke(cli.cli, arguments)


@pytest.mark.usefixtures("calls")
def test_one_object_an_input_in_input_order_and_a_bad_one_stops_no_other(run: Run) -> None:
    result = run("analyze", "a.csv", "empty.csv", "bug.csv", "huge.csv", "d/b.csv", "--json")
    found = objects(result)
    assert [o["file"] for o in found] == ["a.csv", "empty.csv", "bug.csv", "huge.csv", "d/b.csv"]
    assert [o["ok"] for o in found] == [True, False, False, False, True]
    assert found[1] == {"file": "empty.csv", "ok": False, "error": "The file is empty. Export it again."}
    assert "memory" in found[3]["error"]
    assert result.exit_code == 1
    assert "Traceback" not in result.output


@pytest.mark.usefixtures("calls")
def test_an_unforeseen_error_is_a_sentence_and_its_detail_only_on_demand(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    quiet = run("analyze", "bug.csv")
    assert quiet.exit_code == 1
    assert quiet.stdout == ""
    assert "bug.csv" in quiet.stderr
    assert "deep inside" not in quiet.stderr
    monkeypatch.setenv("VIBECORE_DEBUG", "1")
    loud = run("analyze", "bug.csv", "--json")
    assert "deep inside" in loud.stderr
    assert "Traceback" not in loud.stdout


def test_analyze_passes_the_engine_and_the_tachometer_on(run: Run, calls: list[Any]) -> None:
    assert run("analyze", "a.csv", "--cylinders", "3", "--strokes", "2", "--rpm", "700").exit_code == 0
    engine, condition = calls[0]
    assert (engine.cylinders, engine.strokes, condition.tachometer_rpm) == (3, 2, 700)
    assert run("analyze", "a.csv").exit_code == 0
    assert calls[1][0] is None


def test_what_the_name_says_of_the_idle_is_taken_and_told(run: Run, calls: list[Any]) -> None:
    found = objects(run("analyze", "drive-idle.csv", "drive.csv", "--json"))
    assert [(c.gear, c.speed_hold) for _, c in calls] == [("drive", "idle"), (None, None)]
    told = ["by-name" in {w["code"] for w in o["recording"]["warnings"]} for o in found]
    assert told == [True, False]


def test_a_case_that_does_not_say_how_the_engine_was_held_leaves_it_to_the_names(
    run: Run, calls: list[Any], tmp_path: Path
) -> None:
    case = tmp_path / "case.toml"
    case.write_text((CASE % "drive-idle").replace("a.csv", "raised-idle.csv"))
    assert run("diagnose", str(case), "--json").exit_code == 0
    rows = [(recording.warnings, how.gear, how.speed_hold, how.stage) for recording, how in calls[0]]
    assert [row[1:] for row in rows] == [(None, "raised", "before"), ("drive", "idle", "after")]
    assert ["by-name" in {w.code for w in row[0]} for row in rows] == [True, True]


@pytest.mark.parametrize(
    ("said", "file", "held"),
    [
        (Condition(speed_hold="idle"), "raised-idle.csv", "idle"),  # what was said holds
        (Condition(gear="neutral"), "neutral-idle.csv", "idle"),
        (Condition(gear="neutral"), "drive-idle.csv", None),  # a name that says another gear is not believed
        (Condition(gear="drive"), "drive.csv", None),  # may be a drive
    ],
)
def test_a_name_speaks_only_where_nobody_did(said: Condition, file: str, held: str | None) -> None:
    taken = by_name.taken(said, file)
    assert (taken.speed_hold, taken.gear) == (held, said.gear)
    codes = [w.code for w in by_name.told(said, taken)]
    assert codes == ["by-name"] * (held is not None and said.speed_hold is None)


@pytest.mark.usefixtures("calls")
def test_text_is_for_people(run: Run) -> None:
    result = run("analyze", "a.csv", "empty.csv", "b.csv", "--cylinders", "4")
    assert "652 rpm" in result.stdout
    assert "a library talks" not in result.stdout
    assert "empty.csv: The file is empty. Export it again." in result.stderr
    assert result.exit_code == 1


CASE = """
title = "Made-up job"
[vehicle]
cylinders = 4
[[recording]]
file = "a.csv"
[[recording]]
file = "%s.csv"
gear = "drive"
stage = "after"
"""


def test_diagnose_answers_each_case(run: Run, calls: list[Any], tmp_path: Path) -> None:
    good, bad = tmp_path / "good.toml", tmp_path / "bad.toml"
    good.write_text(CASE % "b")
    bad.write_text("[vehicle]\ncylinder = 4\n")
    result = run("diagnose", str(bad), str(good), "--json")
    first, second = objects(result)
    assert result.exit_code == 1
    assert first["ok"] is False
    assert first["case"] == str(bad)
    assert '"cylinders"' in first["error"]
    assert second["ok"] is True
    assert [r["file"] for r in second["recordings"]] == ["a.csv", "b.csv"]
    assert calls[0][1][1].gear == "drive"
    assert run("diagnose", str(good), "--json").exit_code == 0
    assert "Engine mount" in run("diagnose", str(good)).stdout


@pytest.mark.usefixtures("calls")
def test_what_of_the_case_was_not_used_is_told_beside_the_json(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = replace(some_diagnosis(), notes=("Check 'mount-lok' is not in the list of checks.",))
    monkeypatch.setattr("vibecore.pipeline.diagnose", lambda *_: told)
    case = tmp_path / "case.toml"
    case.write_text(CASE % "empty")
    result = run("diagnose", str(case), "--json")
    assert "mount-lok" in result.stderr
    assert len(objects(result)) == 1
    assert "mount-lok" not in run("diagnose", str(case)).stderr


@pytest.mark.usefixtures("calls")
def test_a_recording_that_cannot_be_read_is_left_out_and_told(run: Run, tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    case.write_text(CASE % "empty")
    result = run("diagnose", str(case), "--json")
    (found,) = objects(result)
    assert found["ok"] is True
    assert found["recordings"][1] == {
        "file": "empty.csv",
        "ok": False,
        "error": "The file is empty. Export it again.",
    }
    assert result.exit_code == 1
    assert "Left out: empty.csv: The file is empty." in run("diagnose", str(case)).stdout
    case.write_text((CASE % "empty").replace("a.csv", "empty-too.csv"))
    (found,) = objects(run("diagnose", str(case), "--json"))
    assert found["ok"] is False
    assert "None of the recordings" in found["error"]


@pytest.mark.usefixtures("calls")
def test_a_lost_recording_after_the_repair_leaves_the_repair_untold(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = some_diagnosis()
    monkeypatch.setattr(
        "vibecore.pipeline.diagnose", lambda *_: type(found)(found.causes, (), None, found.analyses)
    )
    case = tmp_path / "case.toml"
    case.write_text(CASE % "empty")
    repair = objects(run("diagnose", str(case), "--json"))[0]["repair"]
    assert repair["verdict"] == "cannot-tell"
    assert "empty" in repair["why"]
    case.write_text((CASE % "empty").replace("after", "before"))
    assert objects(run("diagnose", str(case), "--json"))[0]["repair"] is None


@pytest.mark.usefixtures("calls")
def test_a_lost_recording_from_before_the_repair_is_not_said_to_be_none(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = some_diagnosis()
    untold = Repair("cannot-tell", None, None, None, "There is no recording from before the repair.")
    monkeypatch.setattr("vibecore.pipeline.diagnose", lambda *_: replace(found, repair=untold))
    case = tmp_path / "case.toml"
    case.write_text((CASE % "b").replace("a.csv", "empty.csv"))
    repair = objects(run("diagnose", str(case), "--json"))[0]["repair"]
    assert repair["verdict"] == "cannot-tell"
    assert "from before the repair cannot be read. The file is empty" in repair["why"]


def test_compare(run: Run, calls: list[Any]) -> None:
    result = run("compare", "a.csv", "b.csv", "--rpm-before", "700", "--rpm-after", "710", "--json")
    (found,) = objects(result)
    assert result.exit_code == 0
    assert found["repair"]["verdict"] == "cured"
    before, after = calls[-1]
    assert (before.stage, before.tachometer_rpm, after.stage, after.tachometer_rpm) == (
        "before",
        700,
        "after",
        710,
    )
    assert "Repair: Cured." in run("compare", "a.csv", "b.csv").stdout
    failed = run("compare", "a.csv", "empty.csv", "--json")
    (found,) = objects(failed)
    assert failed.exit_code == 1
    assert (found["ok"], found["file"], found["before"]) == (False, "empty.csv", "a.csv")


@pytest.mark.parametrize(
    ("names", "places"),
    [
        (("engine-side.csv", "body-side.csv"), ("engine", "body")),
        (("before-seat.csv", "after-seat.csv"), ("seat", "seat")),
        (("before-seat.csv", "after.csv"), (None, None)),  # beside one that tells none it would say nothing
    ],
)
def test_places_that_both_names_tell_count_and_are_told(
    run: Run, calls: list[Any], names: tuple[str, str], places: tuple[str | None, str | None]
) -> None:
    (found,) = objects(run("compare", *names, "--json"))
    assert tuple(c.place for c in calls[-1]) == places
    told = [[w["message"] for w in r["recording"]["warnings"] if w["code"] == "by-name"]
            for r in found["recordings"]]  # fmt: skip
    for texts, place in zip(told, places, strict=True):
        assert [
            f"phone on the {place}. If that is wrong" in t and "engine speed" not in t for t in texts
        ] == [True] * (place is not None)


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("analyze",),
        ("diagnose",),
        ("compare", "a.csv"),
        ("compare", "a.csv", "b.csv", "c.csv"),
        ("analyse", "a.csv"),
        ("analyze", "a.csv", "--cylinders", "0"),
        ("analyze", "a.csv", "--cylinders", "four"),
        ("analyze", "a.csv", "--strokes", "3"),
        ("analyze", "a.csv", "--rpm", "nan"),
        ("analyze", "a.csv", "--rpm", "-700"),
        ("compare", "a.csv", "b.csv", "--rpm", "700"),
        ("app", "--port", "0"),
        ("app", "--port", "65536"),
    ],
)
def test_unusable_arguments_leave_with_status_2(run: Run, arguments: tuple[str, ...]) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Traceback" not in result.output


@pytest.mark.usefixtures("calls")
def test_a_file_name_that_is_no_text_is_still_answered_as_strict_json(run: Run) -> None:
    name = os.fsdecode(b"caf\xe9.csv")
    found = objects(run("analyze", name, "--json"))[0]
    assert found["file"].startswith("caf")
    found["file"].encode("utf-8")  # no lone surrogate left


@pytest.mark.usefixtures("calls")
def test_a_recording_that_is_still_wanted_is_asked_for_before_any_check(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An automatic that shakes in gear, recorded in neutral only: the app asks for the one in gear first."""
    case = tmp_path / "case.toml"
    case.write_text(
        '[vehicle]\ncylinders = 4\ntransmission = "automatic"\n'
        '[[recording]]\nfile = "a.csv"\ngear = "neutral"\nspeed_hold = "idle"\n'
    )
    found = replace(some_diagnosis(), repair=None)
    monkeypatch.setattr(vibecore.pipeline, "diagnose", lambda _case, _read: found)
    text = " ".join(run("diagnose", str(case)).stdout.split())
    asked = text.index("Next: Record: In gear at idle")
    assert asked < text.index("Caution: In gear the car can move") < text.index("Look at next:")

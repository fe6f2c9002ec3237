"""The command line against its written contract: JSON Lines, order, exit status, and no traceback ever.

What the pipeline finds is tested elsewhere; here invented records stand in for it where the words around them
are the point, and whole processes run where start, exit and streams are.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner, Result

import vibecore
import vibecore.guess  # needs the reading that the tests put another in the place of
from tests.invented import some_analysis, some_diagnosis
from vibecore import cli
from vibecore.errors import ReadingError
from vibecore.model import Repair
from vibecore.places import demo_folder

Run = Callable[..., Result]


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Invented readers and analyses; the list fills with what the command line called them with."""
    made: list[Any] = []

    def read(path: Path) -> Any:
        if "empty" in str(path):
            raise ReadingError("The file is empty. Export it again.")
        if "bug" in str(path):
            raise ZeroDivisionError("deep inside")
        if "huge" in str(path):
            raise MemoryError
        return some_analysis().recording

    def analyze(_recording: Any, engine: Any, condition: Any) -> Any:
        made.append((engine, condition))
        print("a library talks on standard output")
        return some_analysis(condition=condition)

    def diagnose(_case: Any, recordings: Any) -> Any:
        made.append(recordings)
        found = some_diagnosis()
        return type(found)(
            found.causes, found.next_checks, found.repair, (some_analysis(),) * len(recordings)
        )

    def compare(before: Any, after: Any, *, engine: Any) -> Any:
        assert engine is None
        made.append((before.condition, after.condition))
        return some_diagnosis().repair

    for name, module in {
        "pipeline": SimpleNamespace(analyze=analyze, diagnose=diagnose),
        "repair": SimpleNamespace(compare=compare),
        "reading": SimpleNamespace(read_recording=read),
    }.items():
        monkeypatch.setitem(sys.modules, f"vibecore.{name}", module)
        monkeypatch.setattr(vibecore, name, module, raising=False)
    return made


@pytest.fixture
def run() -> Run:
    return lambda *arguments: CliRunner().invoke(cli.cli, arguments)


def objects(result: Result) -> list[dict[str, Any]]:
    """Every line of standard output is one strict JSON object."""

    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is no JSON")

    return [json.loads(line, parse_constant=refuse) for line in result.stdout.splitlines()]


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


# ---------------------------------------------------------------- whole processes


def shell(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", "from vibecore.cli import main; main()", *arguments],
        capture_output=True,
        text=True,
        timeout=120,
        stdin=subprocess.DEVNULL,
        env={**os.environ, **environment},
    )


@pytest.fixture(scope="module")
def idle_csv(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve seconds of three sines at 100 samples a second: 700 rpm and its second order, and gravity."""
    import numpy as np

    t_s = np.arange(1200) / 100.0
    turn = 2 * np.pi * 700 / 60 * t_s
    noise = np.random.default_rng(1).normal(0, 0.02, (1200, 3))
    accel = np.outer(np.sin(turn) + 2 * np.sin(2 * turn), [0.1, 0.05, 0.2]) + noise + [0, 0, 9.80665]
    file = tmp_path_factory.mktemp("cli") / "idle.csv"
    rows = [",".join(f"{v:.5f}" for v in (t, *row)) for t, row in zip(t_s, accel, strict=True)]
    file.write_text("time (s),x (m/s2),y (m/s2),z (m/s2)\n" + "\n".join(rows) + "\n")
    return file


def test_a_first_answer_does_not_load_what_it_does_not_need(idle_csv: Path) -> None:
    code = (
        "import sys; from vibecore.cli import cli; cli(sys.argv[1:], standalone_mode=False);"
        "heavy = ('librosa', 'numba', 'streamlit', 'plotly', 'pydantic', 'matplotlib');"
        "print([m for m in heavy if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "analyze", str(idle_csv), "--cylinders", "4"],
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.stdout.splitlines()[-1] == "[]", done.stderr


def test_a_whole_process_answers_and_leaves_with_its_status(idle_csv: Path, tmp_path: Path) -> None:
    (tmp_path / "empty.csv").touch()
    (tmp_path / "picture.csv").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40)
    names = [
        str(idle_csv),
        str(tmp_path / "empty.csv"),
        str(tmp_path / "picture.csv"),
        str(tmp_path / "none.csv"),
    ]
    done = shell("analyze", *names, str(tmp_path), str(idle_csv), "--cylinders", "4", "--json")
    found = [json.loads(line) for line in done.stdout.splitlines()]
    assert [o["file"] for o in found] == [*names, str(tmp_path), str(idle_csv)]
    assert [o["ok"] for o in found] == [True, False, False, False, False, True]
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert shell("analyze").returncode == 2


def test_a_terminal_that_knows_only_ascii_gets_words_all_the_same(idle_csv: Path) -> None:
    done = shell("analyze", str(idle_csv), PYTHONIOENCODING="ascii", LC_ALL="C")
    assert done.returncode == 0, done.stderr


def test_the_last_guard_speaks_in_a_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(cli, "cli", lambda: 1 / 0)
    with pytest.raises(SystemExit) as left:
        cli.main()
    assert left.value.code == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert "ZeroDivisionError" in told.err
    assert "Traceback" not in told.err


def test_two_recordings_of_a_demo_are_compared_as_their_job_compares_them() -> None:
    """The names say 'drive' and 'idle', as the case file does; with a reading the lines are compared, without
    one the whole shake: never at a speed that one alone would not have given."""
    folder = demo_folder() / "mount-mended-and-proven"
    files = [str(folder / name) for name in ("drive-idle.csv", "after-drive-idle.csv")]
    pair = [*files, "--cylinders", "4", "--json"]
    (found,) = [json.loads(line) for line in shell("compare", *pair).stdout.splitlines()]
    assert found["repair"]["verdict"] == "cured"
    assert found["recordings"][0]["engine_speed"] is None
    read = shell("compare", *pair, "--rpm-before", "680", "--rpm-after", "690")
    (found,) = [json.loads(line) for line in read.stdout.splitlines()]
    assert found["repair"]["verdict"] == "cured"
    assert "own lines (order 2)" in found["repair"]["why"]

"""The command line as whole processes: start, exit status, streams, and no traceback ever."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from vibecore import cli


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

"""README.md keeps its promises: two commands of one line each, their settings, and no dead link."""

from __future__ import annotations

import re
import shlex

import pytest
from click.testing import CliRunner

from tests.readme_commands import README, command
from vibecore import cli

ROOT = README.parent


@pytest.mark.parametrize("name", ["app", "tests"])
def test_each_command_sets_itself_up_from_nothing(name: str) -> None:
    words = shlex.split(command(name))
    assert words[:4] == ["python3", "-m", "venv", ".venv"]
    assert "pip" in words
    assert {w for w in words if w.startswith(".venv/")} <= {".venv/bin/python", ".venv/bin/vibecore"}


def test_the_second_command_runs_the_tests_and_the_check_runs_that_command() -> None:
    assert command("tests").endswith("-m pytest -n 2 --dist worksteal")
    check = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "tests/readme_commands.py tests" in check
    with pytest.raises(LookupError):
        command("no such command")


def test_the_windows_lines_do_the_same() -> None:
    text = README.read_text(encoding="utf-8")
    for name in ("app", "tests"):
        line = (
            command(name).replace("python3", "py").replace(".venv/bin/", ".venv\\Scripts\\").replace("'", '"')
        )
        assert f"    {line}\n" in text


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_every_linked_file_is_there(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    links = [link for link in re.findall(r"\]\(([^)#]+)", text) if "://" not in link]
    missing = [link for link in links if not (ROOT / link).exists()]
    assert not missing


@pytest.mark.parametrize("name", ["analyze", "diagnose", "compare", "app"])
def test_the_commands_described_are_the_commands_there_are(name: str) -> None:
    text = README.read_text(encoding="utf-8")
    (line,) = re.findall(rf"^    vibecore {name} .*$", text, re.MULTILINE)
    described = set(re.findall(r"--[a-z-]+", line))
    told = set(re.findall(r"--[a-z-]+", CliRunner().invoke(cli.cli, [name, "--help"]).output))
    assert described == told - {"--help"}


def test_paths_are_of_this_folder_only() -> None:
    text = README.read_text(encoding="utf-8")
    assert not re.search(r"(?<![\w.])/(home|work|tmp|root)\b", text)

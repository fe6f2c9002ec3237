"""What the tests of the command line share: invented readers and analyses in the place of the real ones, and
its answer as records."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import Result

import vibecore
import vibecore.guess  # needs the reading that the tests put another in the place of
from tests.invented import some_analysis, some_diagnosis
from vibecore.errors import ReadingError


def stand_ins(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
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

    def analyze(recording: Any, engine: Any, condition: Any) -> Any:
        made.append((engine, condition))
        print("a library talks on standard output")
        return some_analysis(condition=condition, warnings=recording.warnings)

    def diagnose(_case: Any, recordings: Any) -> Any:
        made.append(recordings)
        found = some_diagnosis()
        return type(found)(
            found.causes, found.next_checks, found.repair, (some_analysis(),) * len(recordings)
        )

    def before_and_after(before: Any, after: Any, engine: Any) -> Any:
        assert engine is None
        made.append((before.condition, after.condition))
        return some_diagnosis().repair

    for name, module in {
        "pipeline": SimpleNamespace(analyze=analyze, diagnose=diagnose),
        "repair": SimpleNamespace(before_and_after=before_and_after),
        "reading": SimpleNamespace(read_recording=read),
    }.items():
        monkeypatch.setitem(sys.modules, f"vibecore.{name}", module)
        monkeypatch.setattr(vibecore, name, module, raising=False)
    return made


def objects(result: Result) -> list[dict[str, Any]]:
    """Every line of standard output is one strict JSON object."""

    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is no JSON")

    return [json.loads(line, parse_constant=refuse) for line in result.stdout.splitlines()]

"""Files under 300 lines, functions under 40, as DEVELOPERS.md says. A habit of this project, no source."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.test_layers import module_name, sources

MOST_LINES, MOST_LINES_OF_A_FUNCTION = 299, 39


@pytest.mark.parametrize("path", [*sources("vibecore"), *sources("app")], ids=module_name)
def test_files_and_functions_are_short(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= MOST_LINES
    functions = [n for n in ast.walk(ast.parse(text)) if isinstance(n, ast.FunctionDef)]
    long = {f.name for f in functions if (f.end_lineno or 0) - f.lineno + 1 > MOST_LINES_OF_A_FUNCTION}
    assert not long

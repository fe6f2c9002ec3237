"""The maker of analyses, for the tests of this folder."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("made_analyses", Path(__file__).parent / "made.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules["made_analyses"] = module
    spec.loader.exec_module(module)
    return module

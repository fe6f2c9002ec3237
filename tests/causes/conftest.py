"""The hand-sized catalogue, for the tests of this folder."""

import importlib.util
from pathlib import Path

import pytest

from vibecore.causes.load import Catalogue


@pytest.fixture(scope="session")
def small() -> Catalogue:
    spec = importlib.util.spec_from_file_location("small_catalogue", Path(__file__).parent / "small.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    made: Catalogue = module.small_catalogue()
    return made

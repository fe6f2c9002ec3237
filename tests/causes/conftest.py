"""The hand-sized catalogue, for the tests of this folder."""

import pytest

from tests.causes.small import small_catalogue
from vibecore.causes.load import Catalogue


@pytest.fixture(scope="session")
def small() -> Catalogue:
    return small_catalogue()

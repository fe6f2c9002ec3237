"""What two windows changed of one job. Common practice, no source: a three-way comparison, field by field."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.test_plan import case_with
from vibecore.jobs import with_condition, without_recording
from vibecore.merging import clash

CASE = case_with("a.csv", "b.csv")
IN_DRIVE = with_condition(CASE, "a.csv", gear="drive")


@pytest.mark.parametrize(
    ("now", "clashes"),
    [
        (CASE, False),
        (with_condition(CASE, "a.csv", place="seat"), False),
        (with_condition(CASE, "b.csv", gear="park"), False),
        (replace(CASE, title="Red van"), False),
        (without_recording(CASE, "b.csv"), False),
        (with_condition(CASE, "a.csv", gear="park"), True),
        (without_recording(CASE, "a.csv"), True),
    ],
)
def test_only_the_same_field_changed_twice_clashes(now, clashes):
    assert clash((CASE, {}), (IN_DRIVE, {}), (now, {})) is clashes


def test_notes_clash_one_by_one():
    wanted = (CASE, {"done": "New mount."})
    assert not clash((CASE, {}), wanted, (CASE, {"complaint": "Shakes"}))
    assert clash((CASE, {}), wanted, (CASE, {"done": "New plugs."}))
    assert not clash((CASE, {"done": "New"}), (CASE, {}), (CASE, {"done": "New", "complaint": "Shakes"}))

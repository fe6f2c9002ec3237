"""A job from elsewhere may hold more than this app's boxes take: every page shows it, and looking changes
nothing. Outside check: the zip is written with zipfile (standard library), not by the app."""

from __future__ import annotations

import io
import json
import zipfile

import pytest

from tests.app.pages import PAGES, words
from vibecore.exchange import import_job

CASE = f"""
title = "{"Van " * 100}"
[vehicle]
cylinders = 16
strokes = 2
idle_spec_rpm = [7000.5, 20000.0]
mileage_km = 5e6
belt_length_mm = 10000.0
pulleys_mm = {{ "" = 1e-9, "crank 1" = 1e4, "{"x" * 500}" = 3.0 }}
[symptoms]
codes = ["", "p0301 ", "{"P" * 3000}", "P0301", "P0301"]
shakes_when = ["in gear", "in gear", "", "uphill", "uphill", "{"y" * 500}"]
[[recording]]
file = "neutral-idle.csv"
engine_speed_rpm = 20000.0
accessories = ["{"fan " * 200}", "", "fan, with a comma", "fan"]
[[check]]
id = "no such check"
outcome = "no such outcome"
[[check]]
id = "mount-look"
outcome = "no such outcome"
"""
NOTES = {
    **dict.fromkeys(("complaint", "services", "done", "customer"), "word\n" * 20_000),
    "units": "furlongs",
    "cannot": "no such word\n\nhelper",
    "no such note": "x",
}


@pytest.fixture
def kept(data, store):  # noqa: ARG001 - sets the stage
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as pack:
        pack.writestr("case.toml", CASE)
        pack.writestr("neutral-idle.csv", "1")
        pack.writestr("notes.json", json.dumps(NOTES))
    return import_job(store, out.getvalue())


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.usefixtures("planned")
def test_more_than_the_boxes_take_breaks_no_page_and_is_not_cut(start, store, kept, page):
    test = start(page).run()
    assert not test.exception
    assert "Something went wrong" not in words(test)
    assert not test.error, [e.value for e in test.error]
    assert store.open(kept.head.id) == kept

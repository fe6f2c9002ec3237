"""Long work in a real browser: it says what it does, stops when told to, half-way in one long recording, and
goes on. Outside check: a recording of twenty minutes at 400 samples a second, in Chromium.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.app.browser import LAPTOP, UPLOAD, Window, app_server
from tests.app.test_browser import ABSENT
from tests.benchmarks.bench_time import write_recording
from tests.kept import add_files
from vibecore.case import CaseRecording
from vibecore.engine import Engine, Vehicle
from vibecore.guess import guess_condition
from vibecore.jobs import new_job
from vibecore.model import Symptoms
from vibecore.store import Job, NewFile, Store

pytestmark = pytest.mark.skipif(ABSENT, reason="there is no chromium here")
LONG_S = 1200.0
CAUSES = "Causes, the likeliest first"


@pytest.fixture(scope="module")
def recording(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("long") / "neutral-idle.csv"
    write_recording(path, LONG_S)
    return path


@pytest.fixture(scope="module")
def served(tmp_path_factory) -> Iterator[tuple[Store, str]]:
    """The jobs, and the address of the app that shows them."""
    folder = tmp_path_factory.mktemp("data")
    with app_server(folder) as address:
        yield Store(folder), address


def keep(store: Store, files: list[Path]) -> Job:
    job = new_job(store, "Van", Vehicle(Engine(4)), Symptoms(), {})
    listed = [CaseRecording(Path(f.name), guess_condition(f.name)) for f in files]
    return add_files(store, job, [NewFile(f.name, f.read_bytes()) for f in files], listed)


def test_the_reading_of_one_long_recording_stops_and_goes_on(served, recording, browser):
    store, address = served
    job = keep(store, [recording])
    page = browser.new_page()
    page.set_default_timeout(60_000)
    page.goto(f"{address}/?job={job.head.id}")
    main = page.get_by_test_id("stMain")
    main.get_by_text("Reading 1 of 1: neutral-idle.csv").wait_for()
    main.get_by_role("button", name="Stop").click()
    main.get_by_text("Stopped.").wait_for()
    assert CAUSES not in main.inner_text()
    main.get_by_role("button", name="Go on").click()
    main.get_by_text(CAUSES).wait_for()


def test_an_upload_that_was_stopped_keeps_nothing(tmp_path, served, recording, browser):
    store, address = served
    job = keep(store, [])
    names = [f"idle {number}.csv" for number in range(6)]
    files = [tmp_path / name for name in names]
    for number, file in enumerate(files):  # none the same as another, or it would not be read
        file.write_bytes(recording.read_bytes() + number * b"\n")
    window = Window(browser, f"{address}/record?job={job.head.id}", LAPTOP)
    window.page.locator(UPLOAD).set_input_files(files)
    reading = window.page.get_by_text(re.compile(r"Reading \d of 6"))
    reading.wait_for()
    window.page.get_by_test_id("stMain").get_by_role("button", name="Stop").click()
    reading.wait_for(state="detached")
    window.settle()
    assert names[0] not in window.text()
    assert store.open(job.head.id) == job


def test_what_draws_pictures_is_loaded_while_files_are_looked_for(served, browser):
    """It is the longest part of the wait for the first chart, and nobody sees it."""
    store, address = served
    job = keep(store, [])
    window = Window(browser, f"{address}/record?job={job.head.id}", LAPTOP)
    picture = window.page.locator(".js-plotly-plot")
    picture.wait_for(state="attached")
    assert not picture.is_visible()
    window.complaints.clear()  # the server's own probe of an address below a page
    window.go("Car")
    assert picture.count() == 0
    assert window.complaints == []

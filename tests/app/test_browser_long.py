"""Long work in a real browser: it says what it does, stops when told to, half-way in one long recording, and
goes on. Outside check: a recording of twenty minutes at 400 samples a second, in Chromium.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from tests.app.browser import LAPTOP, UPLOAD, Window, app_server, chromium
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
def browser():
    with chromium() as launched:
        yield launched


def keep(store: Store, files: list[Path]) -> Job:
    job = new_job(store, "Van", Vehicle(Engine(4)), Symptoms(), {})
    listed = [CaseRecording(Path(f.name), guess_condition(f.name)) for f in files]
    return add_files(store, job, [NewFile(f.name, f.read_bytes()) for f in files], listed)


def test_the_reading_of_one_long_recording_stops_and_goes_on(tmp_path, recording, browser):
    job = keep(Store(tmp_path), [recording])
    with app_server(tmp_path) as address:
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


def test_an_upload_that_was_stopped_keeps_nothing(tmp_path, recording, browser):
    store = Store(tmp_path)
    job = keep(store, [])
    names = [f"idle {number}.csv" for number in range(6)]
    files = [Path(shutil.copy(recording, tmp_path / name)) for name in names]
    with app_server(tmp_path) as address:
        window = Window(browser, f"{address}/record?job={job.head.id}", LAPTOP)
        window.page.locator(UPLOAD).set_input_files(files)
        window.page.get_by_test_id("stMain").get_by_role("button", name="Stop").click()
        window.page.get_by_text(re.compile(r"Reading \d of 6")).wait_for(state="detached")
        window.settle()
        assert names[0] not in window.text()
        assert store.open(job.head.id) == job


def test_what_draws_pictures_is_loaded_while_files_are_looked_for(tmp_path, browser):
    """It is the longest part of the wait for the first chart, and nobody sees it."""
    job = keep(Store(tmp_path), [])
    with app_server(tmp_path) as address:
        window = Window(browser, f"{address}/record?job={job.head.id}", LAPTOP)
        picture = window.page.locator(".js-plotly-plot")
        picture.wait_for(state="attached")
        assert not picture.is_visible()
        window.complaints.clear()  # the server's own probe of an address below a page
        window.go("Car")
        assert picture.count() == 0
        assert window.complaints == []

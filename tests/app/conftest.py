"""The app's pages against made-up results: quick, and the pages see only what the records hold."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest

from tests.app import made
from tests.app.browser import LAPTOP, Window, app_server, chromium
from tests.app.pages import keep
from vibecore.engine import Engine, Vehicle
from vibecore.jobs import new_job
from vibecore.model import Symptoms
from vibecore.store import Store

APP = Path(__file__).resolve().parents[2] / "app"
OWN = {path.stem for path in APP.iterdir()}  # the app's own modules, new in each window


@pytest.fixture
def data(tmp_path, monkeypatch):
    """An empty data folder, and no demo jobs."""
    monkeypatch.setenv("VIBECORE_DATA", str(tmp_path / "data"))
    monkeypatch.setattr(
        "vibecore.places._find", lambda name: APP if name.startswith("app") else tmp_path / "none"
    )
    return tmp_path / "data"


@pytest.fixture
def made_results(monkeypatch):
    """Reading and judging answer with made-up records; a file that begins with 'bad' cannot be read."""
    from vibecore.errors import ReadingError

    def read_recording(source, *, name=""):
        if bytes(source).startswith(b"bad"):
            raise ReadingError(f"{name} holds no numbers. Export it again.")
        return made.recording(name)

    def analyze(recording, _engine, condition, say):
        say("made up")
        return made.analysis(recording.name, condition)

    def diagnose(_case, analyses):
        return made.diagnosis(*analyses, repaired=any(a.condition.stage == "after" for a in analyses))

    monkeypatch.setattr("vibecore.reading.read_recording", read_recording)
    monkeypatch.setattr("vibecore.pipeline.analyze", analyze)
    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", diagnose)


@pytest.fixture
def start(data, made_results, monkeypatch):  # noqa: ARG001 - both set the stage
    """Opens the app in a new window, on the page of that address."""
    from streamlit.testing.v1 import AppTest
    from streamlit.util import calc_hash

    # Each new window would read the papers of every installed package, in search of components: none here.
    monkeypatch.setattr("streamlit.components.v2.manifest_scanner.scan_component_manifests", list)
    monkeypatch.syspath_prepend(str(APP))
    forget = [name for name in sys.modules if name.split(".")[0] in OWN]
    for name in forget:
        monkeypatch.delitem(sys.modules, name)

    def opened(page: str = "", job: str = "") -> AppTest:
        test = AppTest.from_file(str(APP / "main.py"), default_timeout=60)
        if job:
            test.query_params["job"] = job
        test.run()
        if page:
            test._page_hash = calc_hash(page)  # AppTest.switch_page knows pages that are files only
            test.run()
        return test

    return opened


@pytest.fixture
def store(data):
    return Store(data)


@pytest.fixture
def job(store):
    """A job with two recordings before the repair."""
    job = new_job(store, "Grey van", Vehicle(Engine(4), "automatic"), Symptoms(), {})
    return keep(store, job, "neutral-idle.csv", "drive-idle.csv")


@pytest.fixture
def planned(made_results, monkeypatch):  # noqa: ARG001 - takes the place of its diagnosis
    """Causes and checks as the catalogue has them before any evidence; gives the checks."""
    from vibecore.causes.planning import plan
    from vibecore.causes.ranking import rank

    checks = plan(rank(()))
    ranked = replace(made.diagnosis(), causes=rank(()), next_checks=checks)
    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", lambda _case, _analyses: ranked)
    return checks


@pytest.fixture(scope="module")
def browser():
    with chromium() as launched:
        yield launched


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    with app_server(tmp_path_factory.mktemp("data")) as url:
        yield url


@pytest.fixture(scope="module")
def context(browser):
    """What the windows of one person share: the files that the browser keeps of the app."""
    return browser.new_context()


@pytest.fixture
def window(context, address, request):
    opened = Window(context, address, request.param if hasattr(request, "param") else LAPTOP)
    yield opened
    opened.page.close()
    assert opened.outside == [], "the app asked another host"
    assert opened.complaints == [], "the browser's console complained"

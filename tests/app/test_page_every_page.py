"""What holds on every page: titles stay text, failures are sentences, looking changes nothing."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from tests.app import made
from tests.app.conftest import APP
from tests.app.pages import NASTY, PAGES, area, keep, press, words
from tests.kept import add_files
from vibecore.case import CaseRecording
from vibecore.engine import Engine, Vehicle
from vibecore.guess import guess_condition
from vibecore.jobs import case_of, new_job, save_case
from vibecore.model import Evidence, Symptoms
from vibecore.store import NewFile


@pytest.mark.parametrize("page", PAGES)
def test_without_a_job_the_way_to_one_is_shown(start, page):
    test = start(page)
    assert not test.error
    assert "job" in words(test).lower()


@pytest.mark.parametrize("page", PAGES)
def test_a_nasty_title_stays_text(start, store, page):
    job = new_job(store, NASTY, Vehicle(Engine(4)), Symptoms(), {"complaint": NASTY})
    keep(store, job, "[a](b) $x$ <img src=x>.csv")
    test = start(page)
    assert not test.error
    for element in [*test.title, *test.markdown, *test.caption]:
        value = str(element.value)
        assert "](http" not in value
        assert "<img" not in value
        assert "$a$" not in value


def test_what_was_said_is_kept_without_a_button(start, job, store):
    test = start("car")
    area(test, "Last services and parts").input("Plugs at 90,000").run()
    assert store.open(job.head.id).notes == {"services": "Plugs at 90,000"}
    test = start("report")
    area(test, "What was done").input("New rear mount").run()
    press(test, "Save")
    assert "Saved." in words(test)
    assert store.open(job.head.id).notes == {"services": "Plugs at 90,000", "done": "New rear mount"}


@pytest.mark.parametrize("page", PAGES)
def test_looking_changes_nothing(start, job, store, page):
    case = replace(
        case_of(job),
        title="Grey  van",
        vehicle=Vehicle(Engine(4), None, (650.5, 700.25), {"crank": 160.123456}, 1850.04, 142_000.4),
        symptoms=Symptoms(None, ("p0301-00", "U0100"), ("uphill", "in gear")),
    )
    kept = save_case(store, job, case, notes={"units": "US", "complaint": " shakes \n\n at the lights "})
    start(page).run()
    assert store.open(job.head.id) == kept


def test_a_picture_has_words_for_whoever_cannot_see_it():
    """An older Streamlit would swallow the argument without a word."""
    import inspect

    import streamlit

    assert "alt" in inspect.signature(streamlit.plotly_chart).parameters


def test_nothing_is_said_twice(start, job, store, monkeypatch):
    both = ("neutral-idle.csv", "drive-idle.csv")
    seen = Evidence("for", 9.0, "Order 2 is 9 dB up in drive at idle: a bad mount", both)
    cause = replace(made.diagnosis().causes[0], evidence=(seen,))
    why = "The fault's own lines (order 2) went from 0.4 to 0.08 m/s2: -14.2 dB (-15.6 to -12.8)."
    repair = replace(made.diagnosis(repaired=True).repair, why=why)
    monkeypatch.setattr(
        "vibecore.pipeline.diagnose_analysed",
        lambda _case, analyses: replace(made.diagnosis(*analyses), causes=(cause,), repair=repair),
    )
    keep(store, store.open(job.head.id), "after drive idle.csv")
    assert "Order 2 is 9 dB up in drive at idle: a bad mount. Also in neutral at idle." in words(
        start("causes")
    )
    proof = words(start("proof"))
    assert proof.count("-14.2 dB") == proof.count("-12.8") == 1
    assert "The fault's own shake is 5.1 times weaker." in proof
    assert words(start("reading")).count("The phone hears nothing above 50 Hz.") == 1


def test_the_later_of_two_windows_is_told(start, job, store):
    test = start("car")
    store.save(store.open(job.head.id), notes={"complaint": "theirs"})
    area(test, "What the customer says").input("mine")
    press(test, "Save")
    assert "changed in another window" in words(test)
    assert "You had typed: mine" in words(test)
    assert store.open(job.head.id).notes["complaint"] == "theirs"
    press(test, "Show what is there now")
    assert [w.value.replace("\\", "") for w in test.warning] == ["You had typed: mine"]


@pytest.mark.usefixtures("job")
def test_no_traceback_reaches_a_person(start, monkeypatch):
    def broken(*_args):
        raise ZeroDivisionError("secret inner words")

    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", broken)
    for page in ("", "record", "reading", "causes", "proof", "report"):
        test = start(page)
        assert not test.exception
        assert "Something went wrong" in words(test)
        assert "secret" not in words(test)


def test_a_file_that_cannot_be_read_is_told_beside_the_others(start, job, store):
    job = add_files(
        store, job, [NewFile("odd.csv", b"bad")], [CaseRecording(Path("odd.csv"), guess_condition(""))]
    )
    for page in ("", "record"):
        text = words(start(page))
        assert "odd.csv holds no numbers. Export it again." in text
    assert "Engine mount" in words(start())


@pytest.mark.parametrize("page", PAGES)
def test_a_data_folder_that_cannot_be_used_is_told_on_every_page(start, page, tmp_path, monkeypatch):
    (tmp_path / "in-the-way").write_text("a file")
    monkeypatch.setenv("VIBECORE_DATA", str(tmp_path / "in-the-way"))
    assert "choose another with --data" in words(start(page))


def test_the_pages_load_no_signal_library_before_there_is_a_signal():
    """It is a second of waiting for whoever opens the app. A fresh process, for this one has them."""
    script = (
        f"import sys; sys.path.insert(0, {str(APP)!r})\n"
        "from app_pages import car, causes, jobs, overview, proof, reading, record, report, trying\n"
        "print([m for m in ('scipy.signal', 'scipy.stats', 'librosa', 'numba') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

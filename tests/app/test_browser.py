"""The whole loop in a real browser, on a laptop and on a phone: intake, upload, ranked causes, an outcome,
the recording after, verdict, report, export and import.

Outside check: Chromium draws it; test_browser_look.py has how the pages look.
Skipped only without Chromium; where VIBECORE_REQUIRE_BROWSER is set, its absence is a failure.
"""

from __future__ import annotations

import os
import re
import zipfile
from pathlib import Path

import numpy as np
import pytest

from tests.app.browser import CHROMIUM, LAPTOP, PHONE, UPLOAD, Window
from tests.app.keyboard import Keyboard
from tests.speed.closed_form import GRAVITY, noise, shake

ABSENT = not Path(CHROMIUM).exists() and not os.environ.get("VIBECORE_REQUIRE_BROWSER")
pytestmark = pytest.mark.skipif(ABSENT, reason="there is no chromium here")
PAUSE_MS = 1500  # as app/look.py has it
PAGES = ("This job", "Car", "Record", "Reading", "Causes", "Try it", "Proof", "Report", "All jobs")


def both(test):
    return pytest.mark.parametrize("window", [LAPTOP, PHONE], ids=["laptop", "phone"], indirect=True)(test)


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> list[Path]:
    """Recordings of an invented car, before and after the repair, and a file that is none."""
    from vibecore.engine import Engine
    from vibecore.simulate import Wanted, simulate_job, write_job
    from vibecore.simulate.felt import Plan

    plan = (
        Plan("neutral-idle", "neutral", "idle"),
        Plan("drive-idle", "drive", "idle"),
        Plan("raised-idle", "neutral", "raised"),
        Plan("after-drive-idle", "drive", "idle", "after"),
    )
    wanted = Wanted(
        Engine(4),
        "automatic",
        repair="cured",
        rate_hz=100.0,
        place="steering wheel",
        duration_s=20.0,
        plan=plan,
    )
    job = simulate_job("engine-mount", wanted, seed=3)
    folder = write_job(job, tmp_path_factory.mktemp("car"), layout="plain").parent
    (folder / "holiday.csv").write_text("this is no recording\nat all\n")
    return sorted(p for p in folder.iterdir() if p.name != "case.toml")


@both
def test_the_demo_opens_with_ranked_causes(window):
    window.sees("Next:")
    window.sees("Causes, the likeliest first")
    shares = [float(s) for s in re.findall(r"(?m)^\d\. .*: (?:over |under )?(\d+) %$", window.text())]
    assert shares, window.text()
    assert shares == sorted(shares, reverse=True)
    assert "invented" in window.text()
    wide = window.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
    assert wide <= 0, "the page must not scroll sideways"


@pytest.mark.parametrize("window", [PHONE], ids=["phone"], indirect=True)
def test_a_job_begins_on_a_phone(window, files):
    """How it goes on there is tried on a demo job, in test_browser_demo.py."""
    begin(window, files)


def test_the_whole_loop(window, files, tmp_path):
    begin(window, files)
    window.go("Causes")
    window.sees("What came of it?")
    outcome = window.page.locator('[class*="st-key-outcomes"] button').first
    outcome.click()
    window.sees("What that changed")
    window.sees("Checks done")
    window.go("Record")
    upload(window, [f for f in files if f.name.startswith("after")])
    window.go("Proof")
    assert re.search("Cured|Better|No change|Worse|Cannot tell", window.text())
    hand_over(window, tmp_path)


def begin(window: Window, files: list[Path]) -> None:
    """From nothing to ranked causes: a new job, its recordings, and a file that is none."""
    start_job(window, "Grey van")
    before = [f for f in files if not f.name.startswith("after")]
    upload(window, before)
    window.sees("Kept aside")
    window.sees("holiday.csv")
    gears = window.page.get_by_role("combobox", name=re.compile("Gear"))
    assert [gears.nth(i).input_value() for i in range(gears.count())] == ["drive", "neutral", "not said"]
    window.go("This job")
    window.sees("Causes, the likeliest first")


@pytest.mark.parametrize("window", [PHONE], ids=["phone"], indirect=True)
def test_something_is_tried_and_the_engine_notices(window, tmp_path):
    """A cylinder of an invented engine is switched off from 16 to 32 s, each moment marked with a tap."""
    window.go("Try it")
    window.page.locator(UPLOAD).set_input_files(str(cylinder_off(tmp_path / "cylinder-off.csv")))
    window.sees("Check the moments below.")
    window.sees("The engine noticed: ")
    assert [
        window.page.get_by_label(re.compile(f"^{word} at")).input_value() for word in ("Begun", "Undone")
    ] == [
        "16.1",
        "32.1",
    ]
    window.page.get_by_label("Begun at, seconds").fill("5")
    window.page.keyboard.press("Tab")
    window.sees("Only 5 s were recorded before it was begun")
    window.go("Report")
    report = window.download("Save the report", tmp_path)
    assert "What was tried while it ran" in report.read_text(encoding="utf-8")


def cylinder_off(path: Path) -> Path:
    t_s = np.arange(4800) / 100
    off = (t_s >= 16) & (t_s < 32)
    angle = t_s * 700 / 60
    accel = (
        shake(angle, {2.0: 0.12, 1.0: 0.02}) + off[:, None] * shake(angle, {0.5: 0.15}) + noise(4800, 0.02)
    )
    accel[[1600, 3200]] += 4.0
    table = np.column_stack((t_s, accel + np.array([0.0, 0.0, GRAVITY])))
    np.savetxt(path, table, "%.4f", ",", header="time (s),x (m/s2),y (m/s2),z (m/s2)", comments="")
    return path


def test_what_was_typed_is_kept_when_going_on_without_saving(window):
    window.go("Car")
    said = window.page.get_by_label("What the customer says")
    said.fill("Shakes at the lights.")
    window.go("Record")  # straight out of the box: the text and the press reach the server together
    window.go("Car")
    assert said.input_value() == "Shakes at the lights."


@pytest.mark.parametrize(("page", "label"), [("Car", "What the customer says"), ("Report", "Customer")])
def test_what_was_typed_is_kept_though_the_page_is_loaded_anew(window, page, label):
    """Nobody left the box: a pause in typing is enough, and takes nothing from what is typed after it."""
    window.go(page)
    box = window.page.get_by_label(label, exact=True)
    box.fill("")
    box.press_sequentially("Shakes at", delay=20)
    window.page.wait_for_timeout(PAUSE_MS + 100)  # the page is drawn anew while the typing goes on
    box.press_sequentially(" the lights.", delay=60)
    window.page.wait_for_timeout(PAUSE_MS)
    window.settle()
    assert box.input_value() == "Shakes at the lights."
    window.page.reload()
    window.settle()
    window.complaints.clear()  # the server's own probe of an address below a page
    assert box.input_value() == "Shakes at the lights."


def start_job(window: Window, title: str) -> None:
    window.go("All jobs")
    window.unfold("Start a new job")
    window.page.get_by_label("Car", exact=True).fill(title)
    window.page.get_by_label("Cylinders (needed)").fill("4")
    window.press("Start the job")
    window.sees("Put recordings in")


def upload(window: Window, files: list[Path]) -> None:
    window.page.locator(UPLOAD).set_input_files([str(f) for f in files])
    window.sees("Kept:")
    window.settle()


def hand_over(window: Window, folder: Path) -> None:
    window.go("Report")
    window.page.get_by_label("What was done").fill("New rear mount.")
    window.press("Save")
    window.sees("Saved.")
    report = window.download("Save the report", folder).read_text(encoding="utf-8")
    assert "New rear mount." in report
    assert "<svg" in report
    pack = window.download("Save the whole job", folder)
    assert "case.toml" in zipfile.ZipFile(pack).namelist()
    window.go("This job")
    shown = ranked(window)
    window.bring_in(pack)
    assert ranked(window) == shown != []


def ranked(window: Window) -> list[str]:
    window.sees("Causes, the likeliest first")
    return re.findall(r"(?m)^\d\. .* %$", window.text())


def test_what_was_typed_last_is_in_the_report_though_nobody_pressed_save(window, tmp_path):
    """The press that saves the file is also what leaves the box: the file must not be made, nor its place
    taken away, before the box was kept."""
    window.go("Report")
    window.page.get_by_label("What was done").fill("New engine mount.")
    report = window.download("Save the report", tmp_path).read_text(encoding="utf-8")
    assert "New engine mount." in report


def test_the_keyboard_alone_reaches_the_next_step(window):
    window.sees("Do it now")
    window.settle()
    keys = Keyboard(window)
    keys.to("Do it now$")
    keys.key("Enter")
    window.page.wait_for_url(re.compile(r"/(record|causes|proof|report)"))
    window.settle()
    assert "Something went wrong" not in window.text()


@both
def test_another_page_begins_at_its_top(window):
    """From far down; and what is pressed further down on a page leaves it where it is."""
    place = "document.querySelector('[data-testid=\"stMain\"]').scrollTop"
    for name in ("Reading", "Causes", "Record"):
        window.page.evaluate("document.querySelector('[data-testid=\"stMain\"]').scrollTo(0, 900)")
        assert window.page.evaluate(place) > 500
        window.go(name)
        window.page.wait_for_function(f"{place} < 5")
    window.go("Reading")
    window.page.get_by_text("The same as a table").last.click()
    window.settle()
    assert window.page.evaluate(place) > 100


def test_pages_stay_whole_when_reloaded(window):
    window.go("Reading")
    window.page.reload()
    window.settle()
    window.complaints.clear()  # the server's own probe of an address below a page
    window.sees("Shake by engine order")

"""The whole loop on a demo job in a real browser, on a laptop and on a phone: ranked causes, an outcome of a
check, a recording after the repair, the verdict, the report, and the job brought in on another machine.

Outside checks: Chromium draws it, axe-core (Deque) judges it at every step; the answers that two machines
must share are compared as the files they wrote, field by field.
"""

from __future__ import annotations

import json
import re
import zipfile
from pathlib import Path
from typing import Any

import pytest

from tests.app.browser import PHONE, Window, app_server
from tests.app.test_browser import ABSENT, ranked, upload
from vibecore.places import demo_folder

pytestmark = pytest.mark.skipif(ABSENT, reason="there is no chromium here")
AFTERS = ("after-drive-idle.csv", "after-neutral-idle.csv")


def copy_demo(window: Window) -> None:
    """Work on a copy, so that the demo stays for the other tests."""
    window.go("All jobs")
    row = window.page.get_by_test_id("stVerticalBlock").filter(has_text="Engine mount mended and proven")
    row.filter(has=window.page.get_by_role("button", name="Open", exact=True)).last.get_by_role(
        "button", name="More"
    ).click()
    window.page.get_by_role("button", name="Copy").click()
    window.sees("Copied.")
    window.settle()


def take_out(window: Window, name: str, called: str) -> None:
    window.go("Record")
    window.unfold("Take a recording out")
    window.choose("Which", f"{called} ({name})")
    window.press("Take it out of the job")
    window.sees(f"Taken out: {name}.")


def answers(pack: Path) -> Any:
    """What the zip holds as results, without the job's title, which may be free to differ."""
    with zipfile.ZipFile(pack) as opened:
        found = json.loads(opened.read("results/results.json"))
    found.pop("case")
    return found


@pytest.mark.parametrize("window", [PHONE], ids=["phone"], indirect=True)
def test_a_demo_job_from_its_causes_to_another_machine(window, browser, tmp_path):
    copy_demo(window)
    for gear, name in zip(("Drive", "Neutral"), AFTERS, strict=True):
        take_out(window, name, f"{gear} at idle after the repair")
    window.go("Causes")
    window.sees("What came of it?")
    window.settle()
    assert not window.faults()
    shares = [float(s) for s in re.findall(r"(?m)^\d\. .*: (?:over |under )?(\d+) %$", window.text())]
    assert shares == sorted(shares, reverse=True) != [], window.text()
    window.page.locator('[class*="st-key-outcomes"] button').first.click()
    window.sees("What that changed")
    assert not window.faults()
    window.go("Record")
    upload(window, [demo_folder() / "mount-mended-and-proven" / name for name in AFTERS])
    window.sees("Guessed. By its name: drive at idle after the repair.")
    assert not window.faults()
    for number in (3, 4):  # the names do not tell where the phone was
        window.choose("Phone on the", "steering wheel", number)
    window.press("All is right as it stands")
    window.gone("is a guess")
    window.go("Proof")
    window.sees("Cured")
    assert not window.faults()
    window.go("Report")
    window.page.get_by_label("What was done").fill("New rear mount.")
    window.press("Save")
    assert not window.faults()
    report = window.download("Save the report", tmp_path).read_text(encoding="utf-8")
    assert "Cured" in report
    assert "New rear mount." in report
    pack = window.download("Save the whole job", tmp_path)
    window.go("This job")
    shown = ranked(window)
    elsewhere_gives_the_same(browser, pack, shown, tmp_path, window)


def elsewhere_gives_the_same(
    browser: Any, pack: Path, shown: list[str], folder: Path, window: Window
) -> None:
    """Another server with a data folder of its own."""
    size = (window.page.viewport_size["width"], window.page.viewport_size["height"])
    with app_server(folder / "elsewhere") as address:
        other = Window(browser, address, size)
        other.bring_in(pack)
        assert ranked(other) == shown != []
        other.sees("Cured.")
        assert not other.faults()
        other.go("Report")
        assert other.page.get_by_label("What was done").input_value() == "New rear mount."
        (folder / "second").mkdir()
        again = other.download("Save the whole job", folder / "second")
        assert answers(again) == answers(pack)
        assert other.complaints == []
        assert other.outside == []
        other.page.close()

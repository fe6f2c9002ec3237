"""A whole demo job without a pointer. (Every page is walked by Tab in test_browser_look.py.)

Outside checks: WCAG 2.1, success criteria 2.1.1 (keyboard), 2.1.2 (no trap) and 2.4.7 (focus visible), in
Chromium. The system's own window for choosing files is not the app's: the files are named to it.
"""

from __future__ import annotations

import re

import pytest

from tests.app.keyboard import Keyboard
from tests.app.test_browser import ABSENT, ranked
from vibecore.places import demo_folder

pytestmark = pytest.mark.skipif(ABSENT, reason="there is no chromium here")
DEMO = demo_folder() / "mount-mended-and-proven"


def test_a_demo_job_without_a_pointer(window, tmp_path):
    keys = Keyboard(window)
    open_the_copy(keys)
    for name in ("after-drive-idle.csv", "after-neutral-idle.csv"):
        keys.press("Record$")
        keys.press("Take a recording out")
        keys.choose("Which", name)
        keys.press("Take it out of the job")
        window.sees(f"Taken out: {name}.")
    keys.press("Causes$")
    window.sees("What came of it?")
    keys.press("jumps, lifts or knocks|cracked, torn", key="Space")  # of either check on mounts
    window.sees("What that changed")
    keys.press("Record$")
    window.sees("Put recordings in")
    keys.files("Upload", [DEMO / "after-drive-idle.csv"])
    window.sees("Kept:")
    keys.answered()
    keys.to("Phone on the")
    while keys.page.evaluate("document.activeElement.value") != "not said":
        keys.to("Phone on the")  # on to that of the new recording
    keys.pick("steering wheel")
    keys.press("Proof$")
    window.sees("Cured")
    keys.press("Write the report", key="Enter")
    keys.write("What was done", "New rear mount.")
    keys.press("^Save$")
    window.sees("Saved.")
    assert "New rear mount." in saved(keys, "Save the report", tmp_path).read_text(encoding="utf-8")
    pack = saved(keys, "Save the whole job", tmp_path)
    keys.press("This job")
    shown = ranked(window)
    keys.press("All jobs")
    keys.press("Bring in a job from a zip")
    keys.files("Upload", [pack])
    window.sees("Brought in.")
    keys.answered()
    assert ranked(window) == shown != []


def open_the_copy(keys: Keyboard) -> None:
    """The third job of the list, copied, so that the demo stays for the other tests."""
    keys.press("All jobs")
    for _ in range(3):
        keys.to("^More")
    keys.key("Enter")
    keys.press("^Copy$")
    keys.window.sees("Copied.")
    assert re.search("Engine mount", keys.window.text())


def saved(keys: Keyboard, label: str, folder):
    keys.to(label)
    with keys.page.expect_download() as waiting:
        keys.key("Enter")
    path = folder / waiting.value.suggested_filename
    waiting.value.save_as(path)
    return path

"""What was done is told in sight, wherever the page stands, and once.

Outside check: places as Chromium lays them out.
"""

from __future__ import annotations

import pytest

from tests.app.browser import LAPTOP, PHONE
from tests.app.test_browser import ABSENT

pytestmark = pytest.mark.skipif(ABSENT, reason="there is no chromium here")

IN_SIGHT = """words => [...document.querySelectorAll('[data-testid="stAlert"], [data-testid="stToast"]')]
  .filter(e => e.innerText.includes(words) && e.checkVisibility())
  .map(e => e.getBoundingClientRect()).filter(r => r.bottom > 64 && r.top < innerHeight).length"""
TO_THE_TOP = """() => document.querySelector('[data-testid="stMain"]').scrollTo(0, 0)"""


@pytest.mark.parametrize("window", [LAPTOP, PHONE], ids=["laptop", "phone"], indirect=True)
def test_what_was_done_is_told_once(window):
    window.go("Record")
    window.unfold("Take a recording out")
    box = window.page.get_by_role("combobox", name="Which")
    box.scroll_into_view_if_needed()
    window.page.wait_for_timeout(500)  # a box that is still scrolled into sight closes again
    box.click()
    window.page.get_by_role("option").first.click()
    window.settle()
    window.press("Take it out of the job")
    undo = window.page.get_by_role("button", name="Undo")
    undo.scroll_into_view_if_needed()
    undo.click()
    window.page.get_by_test_id("stToast").first.wait_for(state="attached")
    told = "Back in the job"
    assert window.page.evaluate(IN_SIGHT, told) == 1
    window.page.evaluate(TO_THE_TOP)
    window.page.wait_for_function(f"words => ({IN_SIGHT})(words) === 1", arg=told, timeout=2000)

"""How every page of a demo job looks, on a laptop and on a phone: nothing over something else, nothing cut
off, all to be pressed with a thumb, read aloud, and reached by Tab.

Outside checks: places as Chromium lays them out; axe-core (Deque) judges contrast, names and labels by WCAG
2.1 A and AA; the least size of what is pressed is that of WCAG 2.1, success criterion 2.5.5 (44 CSS pixels);
keys are those of 2.1.1 (keyboard), 2.1.2 (no trap) and 2.4.7 (focus visible).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest

from tests.app.browser import LAPTOP, PHONE, UPLOAD, Window
from tests.app.keyboard import Keyboard
from tests.app.test_browser import ABSENT, PAGES, both

pytestmark = pytest.mark.skipif(ABSENT, reason="there is no chromium here")
LEAST_PX = 44

CHARTS = """() => [...document.querySelectorAll('.js-plotly-plot')].filter(e => e.offsetParent).map(chart => {
  const box = e => e.getBoundingClientRect(), frame = box(chart);
  const buttons = [...chart.querySelectorAll('.modebar-btn')].map(box);
  const drawn = ['.legend', '.annotation', '.bglayer'].flatMap(n => [...chart.querySelectorAll(n)]).map(box);
  const meets = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
  return {
    buttons: buttons.length,
    small: buttons.filter(b => b.width < 43.5 || b.height < 43.5).length,
    covered: buttons.filter(b => drawn.some(d => d.width && meets(b, d))).length,
    cut: [...chart.querySelectorAll('svg text')].filter(t => t.textContent && box(t).width)
      .filter(t => box(t).left < frame.left - 1 || box(t).right > frame.right + 1
        || box(t).bottom > frame.bottom + 1).map(t => t.textContent) }; })"""

SMALL = """least => [...document.querySelectorAll(
    '[data-testid="stMain"] :is(button, a, summary):not([role="group"] > button, [class*="elementToolbar"])')]
  .filter(e => e.checkVisibility({visibilityProperty: true}) && e.getBoundingClientRect().width > 1)
  .filter(e => e.getBoundingClientRect().height < least - .5).map(e => e.innerText || e.ariaLabel)"""

# The window, and in it the part that scrolls by itself.
SIDEWAYS = """() => Math.max(...[document.documentElement, document.querySelector('[data-testid="stMain"]')]
  .map(e => e.scrollWidth - e.clientWidth))"""


@dataclass(frozen=True)
class Look:
    """What there is to see on one page of the demo job."""

    faults: dict[str, list[str]]  # that axe-core finds
    charts: list[dict[str, Any]]
    low: list[str]  # names of what is too low to be pressed
    sideways_px: int  # by which the page is wider than the window
    by_tab: dict[str, bool]  # name of what Tab passes -> is the focus seen there?


@pytest.fixture(scope="module", params=[LAPTOP, PHONE], ids=["laptop", "phone"])
def looks(context, address, request) -> dict[str, Look]:
    """Each page is gone to once, and all that there is to see on it is noted."""
    window, found = Window(context, address, request.param), {}
    page = window.page
    for name in PAGES:
        window.go(name)
        window.drawn()
        found[name] = Look(
            window.faults(),
            page.evaluate(CHARTS),
            page.evaluate(SMALL, LEAST_PX),
            page.evaluate(SIDEWAYS),
            Keyboard(window).walk(),
        )
    page.close()
    assert window.outside == window.complaints == []
    return found


def test_contrast_names_and_labels(looks):
    assert {name: look.faults for name, look in looks.items() if look.faults} == {}


def test_no_page_scrolls_sideways(looks):
    assert {name: look.sideways_px for name, look in looks.items() if look.sideways_px > 0} == {}


def test_all_that_is_pressed_is_as_high_as_a_thumb(looks):
    assert {name: look.low for name, look in looks.items() if look.low} == {}


def test_the_focus_is_seen_everywhere_and_comes_round(looks):
    for name, look in looks.items():
        assert len(look.by_tab) > 3, name
        assert [passed for passed, seen in look.by_tab.items() if not seen] == [], name


@pytest.mark.parametrize("looks", [PHONE], ids=["phone"], indirect=True)
def test_charts_are_whole_and_their_buttons_lie_beside_them(looks):
    for name in ("This job", "Record", "Reading"):
        assert looks[name].charts
        for chart in looks[name].charts:
            assert chart == {"buttons": 3, "small": 0, "covered": 0, "cut": []}, name


@pytest.mark.parametrize("window", [PHONE], ids=["phone"], indirect=True)
def test_a_notice_does_not_repeat_a_banner_in_sight(window):
    window.go("All jobs")
    window.press("More")
    window.page.get_by_role("button", name="Copy").last.click()
    window.sees("Copied. This is the copy.")
    window.drawn()
    assert window.page.get_by_test_id("stAlert").first.is_visible()
    assert not window.page.get_by_test_id("stToast").first.is_visible()


def least_side(button) -> float:
    button.wait_for()
    box = button.bounding_box()
    return min(box["width"], box["height"])


@pytest.mark.parametrize("window", [PHONE], ids=["phone"], indirect=True)
def test_what_shows_only_once_something_was_done_is_as_large_as_a_thumb(window, tmp_path):
    page, odd = window.page, tmp_path / "odd.csv"
    page.set_default_timeout(15000)
    odd.write_text("no recording")
    window.go("Record")
    window.unfold("Take a recording out")
    window.choose("Which", "Drive at idle (drive-idle.csv)")
    assert least_side(page.get_by_role("button", name="Clear value")) >= LEAST_PX
    window.go("Try it")
    page.locator(UPLOAD).first.set_input_files(str(odd))
    window.settle()
    for button in page.get_by_test_id("stFileUploader").locator("button:visible").all():
        assert least_side(button) >= LEAST_PX
    window.go("All jobs")
    window.press("More")
    in_sight = '[data-testid="stToastContainer"] {display: block !important;}'  # as with its banner out of it
    page.add_style_tag(content=in_sight)
    page.get_by_role("button", name="Copy").last.click()
    window.sees("Copied. This is the copy.")
    assert least_side(page.get_by_test_id("stToast").get_by_role("button", name="Close").first) >= LEAST_PX
    window.go("All jobs")
    window.unfold("Start a new job")
    page.get_by_label("Cylinders (needed)").first.fill("4")
    page.keyboard.press("Tab")
    window.press("Start the job")
    window.go("Record")
    window.unfold("How to tape the phone on")
    page.locator('[data-testid="stImage"] img').first.hover()
    assert least_side(page.get_by_test_id("stBaseButton-elementToolbar").first) >= LEAST_PX


WHOLE = """() => [...document.querySelectorAll('[data-testid="stNumberInputContainer"]')]
  .filter(e => e.checkVisibility() && e.querySelector('input').value).map(e => {
    const box = e.getBoundingClientRect(), input = e.querySelector('input');
    const room = input.getBoundingClientRect().width - 2 * parseFloat(getComputedStyle(input).paddingLeft);
    const canvas = document.createElement('canvas').getContext('2d');
    canvas.font = getComputedStyle(input).font;
    return room >= canvas.measureText(input.value).width
      && [...e.querySelectorAll('button')].every(b => b.getBoundingClientRect().right <= box.right + 1); })"""


@both
def test_a_number_can_be_read_in_its_box(window):
    window.go("Car")
    window.page.get_by_label("Maker's idle from, rpm").fill("20000")
    window.page.get_by_label("to, rpm").last.fill("20000")
    window.page.get_by_label("Mileage, km").fill("4999999")
    window.page.keyboard.press("Tab")
    window.settle()
    found = window.page.evaluate(WHOLE)
    assert len(found) == 4  # and the cylinders
    assert all(found)


@pytest.mark.parametrize("window", [LAPTOP], ids=["laptop"], indirect=True)
def test_the_last_line_of_an_answer_is_not_a_sign_alone(window):
    window.go("All jobs")
    window.open_job("mount")
    window.go("Causes")
    assert window.page.evaluate(
        """() => {
            const answer = document.querySelector('.st-key-answer p'), range = document.createRange();
            const text = document.createTreeWalker(answer, NodeFilter.SHOW_TEXT).nextNode();
            const top = at => { range.setStart(text, at); range.setEnd(text, at + 1);
                return range.getBoundingClientRect().top; };
            return /99\\s%$/.test(text.data) && top(text.length - 1) === top(text.length - 3); }"""
    )

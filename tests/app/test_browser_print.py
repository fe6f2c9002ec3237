"""The customer's report and the page of two recordings, printed: few pages, nothing cut off, text that can be
searched and copied, made in a moment.

Outside checks: Chromium lays it out and prints it to PDF; pypdf reads the PDF back. A4 and US letter.
"""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import pytest

from tests.app.browser import LAPTOP, PHONE
from tests.app.test_browser import ABSENT
from vibecore import pipeline
from vibecore.case import load_case
from vibecore.pair_report import comparison_html
from vibecore.places import demo_folder
from vibecore.reading import read_recording
from vibecore.repair import side_by_side
from vibecore.report import report_html

pytestmark = pytest.mark.skipif(ABSENT, reason="there is no chromium here")
PAPERS = ("A4", "Letter")
MADE_WITHIN_S = 1.0
LONG_NAME = "recording_of_the_steering_wheel_in_drive_with_the_brake_held_2031-05-01_12-30-11_" * 2 + ".csv"
LONG_TEXT = "It shakes at the lights, most of all in gear with the lights and the fan on. " * 25
NOTES = {"customer": "A. Driver", "complaint": LONG_TEXT, "done": "New rear mount.", "units": "US"}

CUT_OFF = """(() => {
  const wide = [...document.querySelectorAll('body *')]
    .filter(e => !e.closest('svg') && e.getBoundingClientRect().right > innerWidth + 1);
  const lost = [...document.querySelectorAll('svg text')].filter(t => {
    const frame = t.ownerSVGElement.getBoundingClientRect(), box = t.getBoundingClientRect();
    return box.left < frame.left - 1 || box.right > frame.right + 1 || box.top < frame.top - 1
        || box.bottom > frame.bottom + 1; });
  return [...wide, ...lost].map(e => e.tagName + ': ' + e.textContent.slice(0, 60));
})()"""

SMALLEST = (
    "Math.min(...[...document.querySelectorAll('svg text')].map(t => t.getBoundingClientRect().height)"
    ".filter(height => height > 0))"  # of two charts one is shown
)
LEAST_LETTER_PX = 11.0  # height of a line of letters; under 9 or so nobody reads it on a phone; no source


@pytest.fixture(scope="module")
def demo():
    case = load_case(demo_folder() / "mount-mended-and-proven" / "case.toml")
    case = replace(case, vehicle=replace(case.vehicle, mileage_km=160_934.4))
    read = [(read_recording(case.file_of(r), name=r.file.name), r.condition) for r in case.recordings]
    return case, pipeline.diagnose(case, read)


def renamed(diagnosis, name):
    analyses = tuple(
        replace(a, recording=replace(a.recording, name=f"{i}-{name}"))
        for i, a in enumerate(diagnosis.analyses)
    )
    return replace(diagnosis, analyses=analyses)


def printed(browser, html: str, folder: Path, paper: str) -> list[str]:
    """Text of each page, after a look at the layout as it is printed."""
    from pypdf import PdfReader

    (folder / "page.html").write_text(html, encoding="utf-8")
    page = browser.new_page(viewport={"width": 680, "height": 900})  # A4 less its margins, in CSS pixels
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("request", lambda request: complaints.append(request.url))
    page.goto((folder / "page.html").as_uri())
    page.emulate_media(media="print")
    assert page.evaluate(CUT_OFF) == []
    page.pdf(path=folder / "page.pdf", format=paper, prefer_css_page_size=True)
    page.close()
    assert complaints == [(folder / "page.html").as_uri()]  # nothing else was asked for, nothing complained
    return [p.extract_text() for p in PdfReader(folder / "page.pdf").pages]


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("paper", PAPERS)
def test_the_report_prints_whole(demo, browser, tmp_path, paper):
    case, diagnosis = demo
    start = time.perf_counter()
    html = report_html(case, NOTES, diagnosis, checks=[("Look at the mounts", "cracked")], date="1 May 2031")
    assert time.perf_counter() - start < MADE_WITHIN_S
    assert len(html.encode()) < 400_000
    pages = printed(browser, html, tmp_path, paper)
    assert 2 <= len(pages) <= 4
    text = flat(" ".join(pages))
    for words in (
        "Engine mount mended and proven", "A. Driver", "1 May 2031", "100,000 miles", flat(LONG_TEXT)[-60:],
        "Engine or gearbox mount gone hard", "Look at the mounts: cracked", "New rear mount.", "Cured",
        "engine order (times per crank turn)", "before", "after", "Limits", "licensed practice",
    ):  # fmt: skip
        assert words in text, words
    for page in pages:  # a chart is not torn: its scale and its foot are on one page
        assert page.count("shake, m/s²") == page.count("engine order\n") + page.count("per crank turn)\n")


@pytest.mark.parametrize("paper", PAPERS)
def test_two_recordings_print_whole(demo, browser, tmp_path, paper):
    case, diagnosis = demo
    first, second = diagnosis.analyses[1], diagnosis.analyses[3]
    job, suspected = diagnosis.analyses, diagnosis.suspected
    pair = side_by_side(first, second, case.vehicle.engine, job=job, ranked=suspected)
    html = comparison_html(case, pair, first, second, verdict=f"Cured. {pair.headline}", units="US")
    pages = printed(browser, html, tmp_path, paper)
    assert len(pages) <= 2
    text = flat(" ".join(pages))
    assert "Cured. The fault's own lines (orders 2, 4) went from" in text
    assert "firing (order 2)" in text
    assert "100,000 miles" in text
    assert flat(pages[0]).index("Cured.") < flat(pages[0]).index("Over each other")


def test_long_names_are_wrapped_and_not_cut_off(demo, browser, tmp_path):
    case, diagnosis = demo
    long = renamed(diagnosis, LONG_NAME)
    case = replace(case, title=LONG_NAME[:120])
    pages = printed(browser, report_html(case, NOTES, long), tmp_path, "A4")
    assert len(pages) <= 6
    first, second = long.analyses[0], long.analyses[1]
    pair = side_by_side(first, second, case.vehicle.engine)
    printed(browser, comparison_html(case, pair, first, second, verdict=pair.headline), tmp_path, "A4")


def test_a_job_without_a_recording_prints_too(demo, browser, tmp_path):
    case, _ = demo
    assert len(printed(browser, report_html(replace(case, recordings=()), {}, None), tmp_path, "A4")) == 1


@pytest.mark.parametrize("size", [PHONE, LAPTOP])
@pytest.mark.parametrize("name", ["", LONG_NAME])
def test_on_a_screen_only_tables_and_charts_scroll_sideways(demo, browser, tmp_path, size, name):
    """Outside check: the page's width as the browser lays it out."""
    case, diagnosis = demo
    diagnosis = renamed(diagnosis, name) if name else diagnosis
    first, second = diagnosis.analyses[1], diagnosis.analyses[3]
    pair = side_by_side(first, second, case.vehicle.engine)
    pages = (
        report_html(case, NOTES, diagnosis),
        comparison_html(case, pair, first, second, verdict="Cured."),
    )
    for html in pages:
        (tmp_path / "page.html").write_text(html, encoding="utf-8")
        page = browser.new_page(viewport={"width": size[0], "height": size[1]}, is_mobile=size == PHONE)
        page.goto((tmp_path / "page.html").as_uri())
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        small = page.evaluate(SMALLEST)
        page.close()
        assert wide <= 0
        assert small >= LEAST_LETTER_PX


HINTS = """[...document.querySelectorAll('figure, .wide')].map(e =>
    [getComputedStyle(e, '::before').content.includes('sideways'), e.scrollWidth > e.clientWidth,
     e.classList.contains('fits')])"""


@pytest.mark.parametrize("width", [320, 390, 600, 601, 794])
def test_what_is_wider_than_the_screen_says_so_and_nothing_else(demo, browser, tmp_path, width):
    """Outside check: what scrolls, as the browser lays it out. On paper nothing does."""
    case, diagnosis = demo
    (tmp_path / "page.html").write_text(report_html(case, NOTES, diagnosis), encoding="utf-8")
    page = browser.new_page(viewport={"width": width, "height": 800}, is_mobile=True)
    page.goto((tmp_path / "page.html").as_uri())
    hints = page.evaluate(HINTS)
    page.emulate_media(media="print")
    printed_hints = [told for told, *_ in page.evaluate(HINTS)]
    page.close()
    assert len(hints) >= 3
    assert any(fits for *_, fits in hints)
    assert {told == scrolls == (width <= 600 and not fits) for told, scrolls, fits in hints} == {True}
    assert not any(printed_hints)

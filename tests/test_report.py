"""The report stands alone, prints what the records say, and nothing from a person or a file runs in it.

Outside checks: the page is parsed by html.parser and the charts by xml.etree (standard library), not searched
as text; time and size are the project's own promise (a few hundred kB, under a second).
"""

from __future__ import annotations

import time
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tests.app import made
from vibecore.case import Case
from vibecore.engine import Engine, Vehicle
from vibecore.model import Condition, Symptoms
from vibecore.report import report_html

NASTY = "<script>alert(1)</script><img src='http://elsewhere.example/x'> & $\\frac{1}{0}$"


class Page(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.values: list[str] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.values += [value or "" for key, value in attrs if key in ("src", "href", "xlink:href", "style")]

    def handle_data(self, data):
        self.text += data


@pytest.fixture
def case():
    return Case("Grey van", Path("case.toml"), Vehicle(Engine(4)), Symptoms(), ())


def test_it_says_what_was_found_done_and_proven(case):
    diagnosis = made.diagnosis(repaired=True)
    notes = {
        "complaint": "Shakes at the lights.",
        "done": "New rear mount.\nBelt kept.",
        "customer": "A. Driver",
    }
    page = Page(
        report_html(case, notes, diagnosis, checks=[("Look at the mounts", "cracked")], date="1 May 2030")
    )
    for words in (
        "Grey van", "A. Driver · 1 May 2030", "Shakes at the lights.", "New rear mount.",
        "Engine mount collapsed", "71 %", "Firing order is 9 dB up in gear.", "Look at the mounts: cracked",
        "Cured", "5.1 times weaker",
        "700 rpm", "Only 20 s long", "licensed shop",
    ):  # fmt: skip
        assert words in page.text, words
    assert page.tags.count("svg") == 2


def test_nothing_in_it_runs_or_calls_out(case):
    from dataclasses import replace

    analysis = made.analysis(NASTY, Condition(accessories=(NASTY,)))
    nasty = replace(case, title=NASTY)
    text = report_html(
        nasty, {"complaint": NASTY, "done": NASTY}, made.diagnosis(analysis), checks=[(NASTY, NASTY)]
    )
    page = Page(text)
    assert not {"script", "img", "link", "iframe"} & {*page.tags}
    assert not [value for value in page.values if "//" in value and "www.w3.org" not in value]
    assert "A <b>note</b> & more." in page.text
    assert page.text.count(NASTY) >= 5
    assert "default-src 'none'" in text


def test_charts_are_well_formed_and_their_ids_differ(case):
    text = report_html(case, {}, made.diagnosis(repaired=True))
    charts = [part.split("</svg>")[0] for part in text.split("<svg")[1:]]
    ids = []
    for chart in charts:
        root = ET.fromstring(f"<svg{chart}</svg>")
        ids += [e.get("id") for e in root.iter() if e.tag.endswith("clipPath")]
    assert len(ids) == len({*ids})


def test_it_is_small_and_quick(case):
    report_html(case, {}, made.diagnosis(repaired=True))  # the first loads the drawing library
    start = time.process_time()
    text = report_html(case, {}, made.diagnosis(repaired=True))
    assert time.process_time() - start < 1.0
    assert len(text.encode()) < 400_000


def test_the_next_check_stands_with_its_cautions_until_the_repair_is_proven(case):
    assert "Engine off, parking brake on." in Page(report_html(case, {}, made.diagnosis())).text
    assert "What to check next" not in Page(report_html(case, {}, made.diagnosis(repaired=True))).text


def test_what_is_true_of_all_recordings_is_said_once(case):
    two = made.diagnosis(made.analysis("a.csv"), made.analysis("b.csv"))
    assert Page(report_html(case, {}, two)).text.count("The phone hears nothing above 50 Hz.") == 1


def test_without_any_readable_recording(case):
    assert "No recording could be read." in Page(report_html(case, {}, None)).text


def test_unknown_speed_is_told(case):
    page = Page(report_html(case, {}, made.diagnosis(made.analysis(speed=False))))
    assert "cannot be told" in page.text
    assert "svg" not in page.tags

"""The report stands alone, prints what the records say, and nothing from a person or a file runs in it.

Outside checks: the page is parsed by html.parser and the charts by xml.etree (standard library), not searched
as text; time and size are the project's own promise (a few hundred kB, under a second).
"""

from __future__ import annotations

import time
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest

from tests.app import made
from tests.report_made import GREY_VAN, Page
from vibecore.case import CaseRecording
from vibecore.comfort import overall
from vibecore.constants import EQUAL_STAMPS
from vibecore.harmless import harmless
from vibecore.model import Condition, Evidence, Symptoms, Warn
from vibecore.pair_report import comparison_html
from vibecore.reading import read_recording
from vibecore.repair import side_by_side
from vibecore.report import report_html
from vibecore.words import speaks

NASTY = "<script>alert(1)</script><img src='http://elsewhere.example/x'> & $\\frac{1}{0}$"


@pytest.fixture
def case():
    return GREY_VAN


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
    assert page.tags.count("svg") == 3  # one of them twice: for paper, and for a phone


def test_nothing_in_it_runs_or_calls_out(case):
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
    nothing = Page(report_html(case, {}, None)).text
    assert "Nothing was recorded yet, so nothing can be said of what is wrong." in nothing
    assert "could be read" not in nothing
    unread = replace(case, recordings=(CaseRecording(Path("idle.csv"), Condition()),))
    text = Page(report_html(unread, {}, None)).text
    assert "No recording could be read, so nothing can be said of what is wrong." in text


def test_unknown_speed_is_told(case):
    page = Page(report_html(case, {}, made.diagnosis(made.analysis(speed=False))))
    assert "cannot be told" in page.text
    assert "svg" not in page.tags


def test_the_car_and_its_symptoms_are_told_in_the_workshops_units(case):
    vehicle = replace(case.vehicle, transmission="automatic", mileage_km=160_934.4)
    told = replace(case, vehicle=vehicle, symptoms=Symptoms(True, ("P0301",), ("in gear", "cold")))
    text = Page(report_html(told, {}, made.diagnosis())).text
    assert "4 cylinders, automatic gearbox, 160,934 km" in text
    assert "Engine lamp on. Trouble codes: P0301. It shakes: in gear, cold." in text
    assert "100,000 miles" in Page(report_html(told, {"units": "US"}, made.diagnosis())).text  # NIST SP 811
    assert "Engine lamp" not in Page(report_html(case, {}, made.diagnosis())).text  # not known is not 'off'


def test_what_is_no_trouble_code_is_not_printed_as_one(case):
    """SAE J2012, from memory: a letter, 0 to 3, three digits. So is P0700, which is not listed here."""
    told = replace(case, symptoms=Symptoms(True, ("P0301", "P0700", "P9999", "P03", "XYZ")))
    text = Page(report_html(told, {}, made.diagnosis())).text
    assert "Trouble codes: P0301, P0700." in text
    assert "P9999" not in text
    none = replace(case, symptoms=Symptoms(True, ("P9999",)))
    assert "Trouble codes" not in Page(report_html(none, {}, made.diagnosis())).text


def test_what_does_no_harm_is_nothing_to_keep_in_mind(case):
    """As the app judges it: one in a hundred samples lost in short gaps, stamps equal now and then."""
    plain = made.analysis().recording
    warnings = (Warn("lost-samples", "Close other apps."), Warn(EQUAL_STAMPS, "37 stamps equal."))
    few = replace(made.analysis(), recording=replace(plain, warnings=warnings, lost_samples=12))
    many = replace(few, recording=replace(few.recording, lost_samples=100))
    assert list(harmless(few)) == [EQUAL_STAMPS, "lost-samples"]
    text = Page(report_html(case, {}, made.diagnosis(few))).text
    assert "Close other apps" not in text
    assert "37 stamps equal" not in text
    assert "Close other apps" in Page(report_html(case, {}, made.diagnosis(many))).text


def test_stamps_that_are_equal_now_and_then_are_read_as_such():
    rows = [f"{(i - (i % 80 == 1)) * 10},0.1,0.2,{9.8 + 0.1 * (i % 3)}" for i in range(2000)]
    read = read_recording("\n".join(["time_ms,x,y,z", *rows]).encode(), name="equal.csv")
    assert EQUAL_STAMPS in [w.code for w in read.warnings]


def test_how_a_file_was_read_is_no_matter_of_the_customers(case):
    analysis = made.analysis()
    history = ("text, ascii", "comma separated")
    analysis = replace(analysis, recording=replace(analysis.recording, history=history))
    text = Page(report_html(case, {}, made.diagnosis(analysis))).text
    assert "ascii" not in text
    assert "Made ready" not in text


def test_invented_recordings_are_said_to_be(case):
    assert "no real car" in Page(report_html(case, {"invented": "yes"}, made.diagnosis())).text
    assert "no real car" not in Page(report_html(case, {}, made.diagnosis())).text


def test_two_recordings_stand_over_each_other_with_the_verdict_on_top(case):
    first, second = made.analysis(NASTY), made.analysis("b.csv")
    pair = side_by_side(first, second, case.vehicle.engine)
    text = comparison_html(case, pair, first, second, verdict=f"Cured. {NASTY}", date="1 May 2030")
    page = Page(text)
    assert page.text.index("Cured.") < page.text.index("Over each other")
    assert page.tags.count("svg") == 2
    assert "0.220 (0.176 to 0.275)" in page.text  # the level of an order with its interval, as in the record
    assert not {"script", "img", "link", "iframe"} & {*page.tags}
    for chart in text.split("<svg")[1:]:
        ET.fromstring(f"<svg{chart.split('</svg>')[0]}</svg>")


def test_a_recording_too_broken_for_an_order_spectrum_says_so(case):
    said = "gappy.csv has too little unbroken recording for an order spectrum."
    assert said in Page(report_html(case, {}, made.diagnosis(made.broken()))).text
    both = Page(report_html(case, {}, made.diagnosis(made.broken(), made.analysis())))
    assert "svg" in both.tags  # of the other one
    assert said not in both.text
    pair = side_by_side(made.broken(), made.analysis(), case.vehicle.engine)
    text = comparison_html(case, pair, made.broken(), made.analysis(), verdict="Cannot tell.")
    assert said in Page(text).text


def test_the_chart_is_of_the_recording_that_bears_the_first_cause_out(case):
    neutral = made.analysis("neutral.csv", Condition(gear="neutral"))
    drive = made.analysis("drive.csv", Condition(gear="drive"))
    told = made.diagnosis(neutral, drive)
    cause, *others = told.causes
    found = replace(cause.evidence[0], says="for", seen_in=("drive.csv",))
    told = replace(told, causes=(replace(cause, evidence=(found,)), *others))
    assert "Shake by engine order: drive" in Page(report_html(case, {}, told)).text
    unseen = replace(told, causes=(replace(cause, evidence=()), *others))
    assert "Shake by engine order: neutral" in Page(report_html(case, {}, unseen)).text


def test_a_rounded_speed_lies_within_its_rounded_interval(case):
    """GUM 7.2.6: what is rounded of an uncertainty is rounded up, so that it still holds the value."""
    analysis = made.analysis()
    speed = replace(analysis.speed, mean_rpm=761.35, low_rpm=761.1, high_rpm=761.6)
    html = report_html(case, {}, made.diagnosis(replace(analysis, speed=speed)))
    assert "761 rpm (761 to 762)" in Page(html).text


def test_the_unit_is_written_alike_in_words_and_pictures(case):
    html = report_html(case, {}, made.diagnosis(repaired=True))
    assert " m/s²" in html
    assert "m/s2" not in html


def test_what_is_true_of_several_recordings_is_said_once(case):
    """Both have 'Only 20 s long: record a minute.'"""
    idle, drive = (
        made.analysis(f"{gear}.csv", Condition(None, gear, "idle")) for gear in ("neutral", "drive")
    )
    told = Page(report_html(case, {}, made.diagnosis(idle, drive))).text
    assert told.count("Only 20 s long: record a minute.") == 1
    assert "neutral at idle and drive at idle: Only 20 s long: record a minute." in told


def test_evidence_is_written_as_sentences(case):
    told = made.diagnosis()
    cause = told.causes[0]
    small = replace(cause.evidence[0], text="engine order 2 is 2.8 times as strong: a bad mount")
    told = replace(told, causes=(replace(cause, evidence=(small,)), *told.causes[1:]))
    assert (
        "Speaks for it: Engine order 2 is 2.8 times as strong: a bad mount."
        in Page(report_html(case, {}, told)).text
    )


@pytest.mark.parametrize(
    ("weight_db", "words"),
    [
        (0.4, "Speaks a little for it"),
        (7.0, "Speaks for it"),
        (10.0, "Speaks strongly for it"),
        (-4.9, "Speaks a little against it"),
        (-12.0, "Speaks strongly against it"),
    ],
)
def test_evidence_says_how_strongly_it_speaks(weight_db, words):
    """Jeffreys' grades: ratios under the root of ten (5 dB) are barely worth mentioning, from ten on (10 dB)
    strong (Theory of Probability, 1961, appendix B, from memory)."""
    assert speaks(Evidence("for" if weight_db > 0 else "against", weight_db, "a finding")) == words


@pytest.mark.parametrize(
    ("place", "felt", "standard"),
    [
        ("steering wheel", "as a hand feels it", "ISO 5349-1 Wh"),
        ("seat", "as a person's body feels it", "ISO 2631-1 Wk, Wd"),
        ("floor", "as a person's body feels it", "ISO 2631-1 Wk, Wd"),
        ("body", "as a person's body feels it", "ISO 2631-1 Wk, Wd"),
    ],
)
def test_by_what_the_shake_is_weighted_is_said_for_every_place(case, place, felt, standard):
    """ISO 5349-1 is of the hand, ISO 2631-1 of the whole body, seated, standing or lying."""
    analysis = made.analysis(condition=Condition(place, "neutral", "idle"))
    analysis = replace(analysis, overall=overall(analysis.signal, place))
    told = Page(report_html(case, {}, made.diagnosis(analysis))).text
    assert f"m/s² {felt}" in told
    assert f"{felt.capitalize()}: weighted by {standard}; not a safety limit." in told
    assert "seated" not in told


def test_a_recording_with_the_engine_off_lacks_no_speed(case):
    off = made.analysis("off.csv", Condition(speed_hold="engine off"), speed=False)
    off = replace(
        off, warnings=(Warn("engine-off", "The engine was off: there is no engine speed to find."),)
    )
    text = Page(report_html(case, {}, made.diagnosis(made.analysis(), off))).text
    assert "cannot be told" not in text
    assert "no engine speed to find" not in text


def test_what_the_phones_rate_leaves_out_is_said_once_and_of_the_slowest(case):
    """Two recordings of one phone at 100 and 102 samples a second are no two remarks."""
    one, other = made.analysis("neutral-idle.csv"), made.analysis("drive-idle.csv")
    notes = ("The phone hears nothing above 51 Hz.", "The phone hears nothing above 50 Hz.")
    told = [
        replace(
            a,
            overall=replace(a.overall, cut_off_note=note),
            recording=replace(a.recording, sample_rate_hz=rate),
        )
        for a, note, rate in zip((one, other), notes, (102.0, 100.0), strict=True)
    ]
    text = Page(report_html(case, {}, made.diagnosis(*told))).text
    assert notes[1] in text
    assert notes[0] not in text

"""The report's first page: what a customer reads, in plain words, and what it leaves out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.app import made
from tests.report_made import GREY_VAN, Page
from vibecore.case import CaseRecording
from vibecore.model import Condition, Suspect, Symptoms
from vibecore.report import report_html


@pytest.fixture
def case():
    return GREY_VAN


def test_after_a_repair_the_verdict_comes_first_then_what_was_found_and_done(case):
    page = Page(report_html(case, {"done": "New rear mount."}, made.diagnosis(repaired=True))).text
    order = ("Cured. The shake that this fault makes is 5.1 times weaker than before the repair.",
             "What was wrong: Engine mount collapsed (71 % likely).", "What was done: New rear mount.",
             "Limits", "The measurements, for the workshop", "How the repair was proven",
             "What speaks for and against", "Recordings")  # fmt: skip
    places = [page.find(words) for words in order]
    assert places == sorted(places)
    assert places[0] >= 0
    assert page.count("New rear mount.") == 1
    plain = Page(report_html(case, {"done": "New rear mount."}, made.diagnosis())).text
    wrong = plain.index("What is wrong, most likely: Engine mount collapsed (71 % likely).")
    assert wrong < plain.index("What was done: New rear mount.") < plain.index("What speaks for and against")


def test_under_the_verdict_stands_on_what_it_rests(case):
    """Like with like: another place shakes otherwise without any mend."""
    told, name = made.diagnosis(repaired=True), "after.csv"
    after = CaseRecording(Path(name), Condition(gear="drive", speed_hold="idle", stage="after"))
    seat = replace(after, condition=replace(after.condition, place="seat"))
    placeless, on_seat = (replace(case, recordings=(r,)) for r in (after, seat))
    holds = "Holds only if the phone was in the same place both times: nobody said so."
    page = Page(report_html(placeless, {}, told)).text
    assert page.index("Cured.") < page.index(holds) < page.index("What was wrong")
    assert holds not in Page(report_html(on_seat, {}, told)).text
    guess = "it holds only if they were alike"
    assert guess not in Page(report_html(on_seat, {}, told)).text
    assert guess in Page(report_html(on_seat, {}, told, guessed=[name])).text
    gearless = replace(seat, condition=replace(seat.condition, gear=None))
    assert guess in Page(report_html(replace(case, recordings=(gearless,)), {}, told)).text


@pytest.mark.parametrize(
    ("verdict", "lead"),
    [
        ("improved", "What was wrong: "),
        ("unchanged", "What is wrong, most likely: "),
        ("worse", "What is wrong, most likely: "),
        ("cannot-tell", "What is wrong, most likely: "),
    ],
)
def test_what_no_repair_has_helped_is_wrong_still(case, verdict, lead):
    told = made.diagnosis(repaired=True)
    page = Page(report_html(case, {}, replace(told, repair=replace(told.repair, verdict=verdict)))).text
    assert f"{lead}Engine mount collapsed" in page


def test_the_top_names_the_part_where_it_is_sure(case):
    told = made.diagnosis(repaired=True)
    parts = (Suspect("rear", "rear mount", 0.9), Suspect("front", "front mount", 0.1))
    sure = replace(told, causes=(replace(told.causes[0], suspects=parts), *told.causes[1:]))
    named = "Engine mount collapsed (71 % likely). Most likely part: rear mount (64 %)."  # 0.71 x 0.9
    assert named in Page(report_html(case, {}, sure)).text
    halves = (Suspect("rear", "rear mount", 0.5), Suspect("front", "front mount", 0.5))
    split = replace(told, causes=(replace(told.causes[0], suspects=halves), *told.causes[1:]))
    assert "Most likely part" not in Page(report_html(case, {}, split)).text


def test_once_cured_causes_of_little_weight_are_left_out(case):
    assert "One cylinder weak or dead" in Page(report_html(case, {}, made.diagnosis())).text  # 9 %
    cured = Page(report_html(case, {}, made.diagnosis(repaired=True))).text
    assert "One cylinder weak or dead" not in cured
    assert "1 other cause is less likely." in cured


def test_a_sound_car_is_said_to_be_and_a_reason_stands_in_for_a_change(case):
    normal = replace(made.diagnosis().causes[1], probability=0.9)
    sure = replace(made.diagnosis(), causes=(normal,))
    sound = Page(report_html(case, {}, sure)).text
    assert "Nothing wrong was found (90 % likely)." in sound
    likely = replace(made.diagnosis(), causes=(replace(normal, probability=0.52),))
    lit = replace(case, symptoms=Symptoms(True))
    for page, share in ((report_html(case, {}, likely), 52), (report_html(lit, {}, sure), 90)):
        text = Page(page).text
        assert f"No fault stands out ({share} % likely that none is there)." in text
        assert "Nothing wrong was found" not in text
    told = made.diagnosis(repaired=True)
    unsure = replace(told.repair, verdict="cannot-tell", why="The phone was on the seat before.")
    top = Page(report_html(case, {}, replace(told, repair=unsure))).text
    assert "Cannot tell. The phone was on the seat before." in top


def test_the_customers_part_has_no_figures_of_the_trade(case):
    """What a layman cannot read stands behind: decibels, engine orders, intervals, names of files."""
    told = made.diagnosis(repaired=True)
    quiet = replace(told, repair=replace(told.repair, changes=()))  # the picture's axis apart
    front = Page(report_html(case, {"done": "New mount."}, quiet)).text.split("</style>")[-1]
    front = front.split("The measurements, for the workshop")[0].split("}")[-1]
    assert "Cured." in front
    assert not [word for word in (" dB", "order", "interval", ".csv", "rms") if word in front]


@pytest.mark.parametrize(
    ("verdict", "change_db", "says"),
    [
        ("improved", -6.02, "half as strong as before the repair. More of it is left than most sound"),
        ("unchanged", 1.2, "is as strong as before, as far as can be measured."),
        ("worse", 6.02, "twice as strong as before the repair."),
        ("cured", -0.5, "about as strong as before the repair."),
    ],
)
def test_the_customer_reads_how_much_it_changed(case, verdict, change_db, says):
    """6.02 dB are a factor of two in amplitude (ISO 80000-8)."""
    told = made.diagnosis(repaired=True)
    repair = replace(told.repair, verdict=verdict, change_db=change_db)
    assert says in Page(report_html(case, {}, replace(told, repair=repair))).text


def test_a_phone_shows_the_change_as_wide_as_it_is(case):
    """What slides sideways hides its legend; on paper the wide chart stands alone."""
    page = report_html(case, {}, made.diagnosis(repaired=True))
    figure = page[page.index('<figure class="fits">') : page.index("</figure>")]
    assert figure.count("<svg") == 2
    assert 'viewBox="0 0 360' in figure
    assert "Thin lines: how far the change may be off (95\u00a0% interval)." in figure

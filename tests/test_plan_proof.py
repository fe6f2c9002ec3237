"""The next step once something was mended: a proof waits until it is said how it was recorded.

Common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.app import made
from tests.test_plan import ALL, case_with
from vibecore.case import Case
from vibecore.plan import next_step


def placed(case: Case) -> Case:
    on_it = [replace(r, condition=replace(r.condition, place="seat")) for r in case.recordings]
    return replace(case, recordings=tuple(on_it))


@pytest.mark.parametrize(
    ("verdict", "provided", "page"),
    [
        ("cured", "", "report"),
        ("cured", "the engine ran at 582 rpm (60 % likely) in drive at idle", "record"),
        ("improved", "", "causes"),
        ("unchanged", "", "causes"),
        ("worse", "", "causes"),
        ("cannot-tell", "", "proof"),
    ],
)
def test_after_the_repair_the_verdict_leads(verdict, provided, page):
    diagnosis = made.diagnosis(repaired=True)
    diagnosis = replace(diagnosis, repair=replace(diagnosis.repair, verdict=verdict, provided=provided))
    case = placed(case_with(*ALL, "after drive.csv"))
    assert next_step(case, diagnosis).page == page


@pytest.mark.parametrize(("place", "guessed"), [(False, ()), (True, ("after drive.csv",))])
def test_a_cure_is_not_proven_while_it_is_not_said_how_it_was_recorded(place, guessed):
    """Like with like: another place shakes otherwise without any mend."""
    diagnosis, case = made.diagnosis(repaired=True), case_with(*ALL, "after drive.csv")
    step = next_step(placed(case) if place else case, diagnosis, guessed=guessed)
    assert (step.title, step.page, step.asks) == ("Say how the recordings were made", "record", True)
    assert step.why == "The shake looks cured; the proof waits for that."


@pytest.mark.parametrize("unsaid", [{"gear": None}, {"speed_hold": None}])
def test_a_cure_is_not_proven_while_gear_or_speed_is_not_said(unsaid):
    """Neutral shakes less than drive without any mend."""
    diagnosis, case = made.diagnosis(repaired=True), placed(case_with(*ALL, "after drive.csv"))
    *befores, after = case.recordings
    gearless = replace(after, condition=replace(after.condition, **unsaid))
    assert not next_step(case, diagnosis).asks
    assert next_step(replace(case, recordings=(*befores, gearless)), diagnosis).asks


def test_how_recordings_were_made_is_asked_before_what_depends_on_it():
    unsaid, diagnosis = case_with("a.csv", "b.csv"), made.diagnosis()
    assert next_step(unsaid, diagnosis, guessed=("a.csv",)).asks
    assert not next_step(unsaid, diagnosis).asks  # somebody has looked them over
    short = case_with("neutral idle.csv", "drive idle.csv")
    assert next_step(short, diagnosis, guessed=("neutral idle.csv",)).records == "raised-idle"
    for found in (diagnosis, None):
        assert next_step(case_with(*ALL), found, guessed=("raised.csv",)).asks

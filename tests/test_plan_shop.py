"""What to mend, and who should: a part for a licensed shop is never told to be mended at home."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.app import made
from tests.test_plan import ALL, CRACKED, case_with, with_mounts
from vibecore.causes.load import catalogue
from vibecore.model import CheckOutcome, RankedCause, Suspect
from vibecore.plan import AFTER_REPAIR, may_be_mended, next_step, plan_for

SHOP, MANUAL = "For a licensed shop.", "The maker's manual, local rules and licensed practice come first."


def with_cause(name: str, share: float, part: str = "", of_it: float = 0.0):
    """All recorded, one check made, and this cause; one of its parts with so much of it, the others alike."""
    row = catalogue().find_cause(name)
    rest = (1 - of_it) / (len(row.suspect) - bool(part))
    suspects = tuple(Suspect(s.id, s.name, of_it if s.id == part else rest) for s in row.suspect)
    ranked = (RankedCause(name, row.name, share, (), suspects),)
    case = replace(case_with(*ALL), checks=(CheckOutcome("mount-look", "sound"),))
    return case, replace(made.diagnosis(), causes=ranked, next_checks=())


@pytest.mark.parametrize(
    ("cause", "part", "share", "page"),
    [
        ("rotating-imbalance", "converter-balance", 0.99, "proof"),
        ("cylinder-misfire", "valve-or-compression", 0.7, "record"),
        ("rotating-imbalance", "flexplate", 0.99, "proof"),
        ("driveline", "gearbox", 0.7, "record"),
        ("driveline", "drive-shaft-joint", 0.99, "proof"),  # as its whole cause
    ],
)
def test_what_only_a_licensed_shop_should_mend_is_not_told_to_be_mended(cause, part, share, page):
    """`shop` in catalogue.toml: common practice, no source."""
    step = next_step(*with_cause(cause, 0.99, part, share))
    name = next(s.name for s in catalogue().find_cause(cause).suspect if s.id == part)
    assert (step.title, step.page) == (f"Have it mended: {name}", page)
    assert SHOP in step.why
    assert MANUAL in step.why
    assert "mend it" not in step.why


@pytest.mark.parametrize(
    ("cause", "share", "title", "shop"),
    [
        ("driveline", 0.9, "Have it mended: Converter, gearbox or clutch", SHOP),
        ("driveline", 0.4, "Have the likeliest mended: Converter, gearbox or clutch", SHOP),
        (
            "cylinder-misfire",
            0.9,
            "Mend: One cylinder weak or dead",
            "Of its parts these are for a licensed shop: valve or compression; wiring or control unit",
        ),
        ("engine-mount", 0.9, "Mend: Engine or gearbox mount gone hard, torn or collapsed", ""),
    ],
)
def test_a_whole_cause_says_which_of_its_parts_are_for_a_shop(cause, share, title, shop):
    step = next_step(*with_cause(cause, share))
    assert step.title == title
    assert shop in step.why
    assert ("licensed shop" in step.why) is bool(shop)
    assert MANUAL in step.why


def test_what_anybody_may_mend_defers_to_the_manual_too():
    step = next_step(*with_cause("cylinder-misfire", 0.99, "coil-or-lead", 0.7))
    assert step.title == "Mend: ignition coil, cap or lead"
    assert "shop" not in step.why
    assert MANUAL in step.why


def test_once_a_part_is_to_be_mended_in_a_shop_it_may_be_mended():
    assert may_be_mended(*with_cause("driveline", 0.99, "converter", 0.99))


@pytest.mark.parametrize("cause", ["normal", "none-of-these"])
@pytest.mark.parametrize("share", [0.4, 0.95])
def test_nothing_wrong_and_none_of_these_are_not_mended(cause, share):
    """The catalogue's own advice on what it does not hold: another place for the phone."""
    case, diagnosis = with_cause(cause, share)
    step = next_step(case, diagnosis)
    assert not step.mends
    if step.page != "report":  # where it is sure that nothing is wrong
        assert (step.title, step.page) == ("Record again", "record")
        assert "in another place" in step.why


def test_what_a_check_has_found_is_mended_before_more_is_recorded():
    """Common practice, no source: who has found the torn mount needs no raised idle any more."""
    case, diagnosis = with_mounts(0.95, (CRACKED,))
    short = replace(case, recordings=case.recordings[:2])
    assert next_step(short, diagnosis).title == "Mend: Engine or gearbox mount"
    assert next_step(replace(short, checks=()), diagnosis).title == "Record: Neutral at raised idle"


def test_once_it_was_mended_the_recording_to_make_is_the_one_after_it():
    case, diagnosis = with_mounts(0.95, (CRACKED,))
    short = replace(case, recordings=case.recordings[:2])
    unseen = replace(short, checks=())
    assert next_step(short, diagnosis).mends
    assert next_step(unseen, diagnosis).records == "raised-idle"
    assert next_step(unseen, None).records == "raised-idle"
    for found in (diagnosis, None):
        assert next_step(unseen, found, done="New mount.").records == AFTER_REPAIR
    assert not next_step(case_with(*ALL), made.diagnosis()).records


def test_what_was_not_recorded_before_the_mend_is_no_longer_asked_for():
    """It cannot be made any more; but without any recording from before, nothing is proven."""
    both = case_with("drive idle.csv", "after drive idle.csv")
    assert not [item.id for item in plan_for(both) if item.needed]
    assert not next_step(both, made.diagnosis(repaired=True)).records
    assert next_step(case_with("after drive idle.csv"), None).records == "neutral-idle"

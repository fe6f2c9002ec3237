"""Intake: what was said is kept in SI units, and nothing else changes."""

from __future__ import annotations

import pytest

from tests.app.pages import area, press, words
from vibecore.engine import Engine, Vehicle
from vibecore.jobs import case_of, new_job
from vibecore.model import Symptoms


def test_the_car_form_keeps_what_was_said_and_loses_nothing(start, job, store):
    test = start("car")
    area(test, "What the customer says").input("Shakes at the lights")
    test.text_input[1].input("p0301, P0171")
    test.radio[0].set_value("on")
    press(test, "Save")
    kept = store.open(job.head.id)
    case = case_of(kept)
    assert case.symptoms == Symptoms(True, ("P0301", "P0171"), ())
    assert kept.notes["complaint"] == "Shakes at the lights"
    assert case.vehicle == case_of(job).vehicle
    assert case.recordings == case_of(job).recordings


def test_miles_are_kept_as_kilometres(start, job, store):
    """One mile is 1.609344 km exactly: NIST SP 811 (2008), appendix B."""
    test = start("car")
    test.segmented_control[0].set_value("US").run()
    next(n for n in test.number_input if "miles" in n.label).set_value(100_000)
    press(test, "Save")
    assert case_of(store.open(job.head.id)).vehicle.mileage_km == pytest.approx(160_934.4)


def test_pulleys_are_kept_in_millimetres_and_a_bad_line_is_told(start, job, store):
    """One inch is 25.4 mm exactly: NIST SP 811 (2008), appendix B."""
    test = start("car")
    test.text_area[0].input("crank: 160\nwater pump 130,5")
    press(test, "Save")
    kept = case_of(store.open(job.head.id)).vehicle.pulleys_mm
    assert kept == {"crank": 160.0, "water pump": 130.5}
    test.segmented_control[0].set_value("US").run()
    assert test.text_area[0].value == "crank 6.3\nwater pump 5.14"
    press(test, "Save")
    assert case_of(store.open(job.head.id)).vehicle.pulleys_mm == kept  # not rounded by having been shown
    test.text_area[0].input("crank\nfan 4")
    press(test, "Save")
    assert "'crank' is no pulley" in words(test)
    assert "Saved." not in words(test)
    test.text_area[0].input("idler 6\nidler 7").run()
    assert "'idler' stands there twice" in words(test)
    area(test, "Last services and parts").input("Belt").run()
    assert store.open(job.head.id).notes["services"] == "Belt"  # the other boxes are kept all the same
    assert case_of(store.open(job.head.id)).vehicle.pulleys_mm == kept


def test_an_idle_the_wrong_way_round_is_turned(start, job, store):
    test = start("car")
    next(n for n in test.number_input if n.label.startswith("Maker")).set_value(900.0)
    next(n for n in test.number_input if n.label == "to, rpm").set_value(700.0)
    press(test, "Save")
    assert not test.error
    assert case_of(store.open(job.head.id)).vehicle.idle_spec_rpm == (700.0, 900.0)


@pytest.mark.parametrize(("high", "asked"), [(850.0, False), (7500.0, True)])
def test_a_makers_idle_that_no_car_has_is_asked_about_and_kept(start, job, store, high, asked):
    """Cars idle at 450 to 1100 rpm, cold and warm: common practice, no source."""
    test = start("car")
    next(n for n in test.number_input if n.label.startswith("Maker")).set_value(650.0)
    next(n for n in test.number_input if n.label == "to, rpm").set_value(high).run()
    line = f"An idle from 650 to {high:.0f} rpm is rare in a car. Make sure of both figures."
    assert (line in words(test)) == asked
    assert case_of(store.open(job.head.id)).vehicle.idle_spec_rpm == (650.0, high)


def test_a_code_that_is_not_in_the_list_is_told_beside_its_box(start, store, job):
    test = start("car")
    next(t for t in test.text_input if t.label == "Trouble codes").set_value("p0301 banana").run()
    assert "Not in the list of codes, so not used: BANANA." in words(test)
    assert case_of(store.open(job.head.id)).symptoms.codes == ("P0301", "BANANA")


@pytest.mark.parametrize(
    ("label", "said", "told"),
    [
        ("Mileage, miles", 4_000_000, "4,000,000 cannot be right. It lies between 0 and 3,106,856."),
        ("Belt length, inches", 500.0, "500 cannot be right. It lies between 0 and 394."),
        ("to, rpm", 99_999.0, "99,999 cannot be right. It lies between 0 and 20,000."),
        ("Mileage, miles", -1, "-1 cannot be right. It lies between 0 and 3,106,856."),
        ("Cylinders (needed)", 99, "99 cannot be right. It lies between 1 and 16."),
    ],
)
def test_a_number_out_of_bounds_is_told_in_a_sentence_and_not_kept(start, job, store, label, said, told):
    """In the units of its box: 5,000,000 km are 3,106,856 miles, 10,000 mm are 394 inches (NIST SP 811)."""
    test = start("car")
    test.segmented_control[0].set_value("US").run()
    next(n for n in test.number_input if n.label == label).set_value(said).run()
    assert told in words(test)
    assert case_of(store.open(job.head.id)).vehicle == case_of(job).vehicle


def test_one_end_of_the_idle_waits_for_the_other_and_says_so(start, job, store):
    test = start("car")
    told = "Give both ends: one alone is not kept."
    assert told not in words(test)
    next(n for n in test.number_input if n.label.startswith("Maker")).set_value(700.0).run()
    assert told in words(test)
    next(n for n in test.number_input if n.label == "to, rpm").set_value(800.0).run()
    assert told not in words(test)
    assert case_of(store.open(job.head.id)).vehicle.idle_spec_rpm == (700.0, 800.0)


@pytest.mark.parametrize("half", ["P", "P0", "p03", "P030"])
def test_a_code_that_is_half_typed_is_no_complaint(start, store, job, half):
    """The box is kept at every pause in typing."""
    test = start("car")
    box = next(t for t in test.text_input if t.label == "Trouble codes")
    box.set_value(f"P0171 {half}").run()
    assert not test.warning
    assert f"Not a whole code yet, so not used: {half.upper()}." in words(test)
    box.set_value("P0171 P0301").run()
    assert "whole code" not in words(test)
    assert case_of(store.open(job.head.id)).symptoms.codes == ("P0171", "P0301")


def test_a_pulley_whose_size_is_still_to_come_is_no_error(start, store, job):
    test = start("car")
    test.text_area[0].input("crank 160\nwater pump").run()
    assert not test.error
    assert "water pump has no size yet, so it is not used." in words(test)
    assert case_of(store.open(job.head.id)).vehicle.pulleys_mm == {"crank": 160.0}
    test.text_area[0].input("crank 160\nwater pump 130").run()
    assert "no size yet" not in words(test)
    assert case_of(store.open(job.head.id)).vehicle.pulleys_mm == {"crank": 160.0, "water pump": 130.0}


def test_what_was_typed_in_a_window_that_is_behind_is_kept_beside_the_others_change(start, job, store):
    test = start("car")
    store.save(job, notes={"services": "Plugs"})
    area(test, "What the customer says").input("Shakes").run()
    assert store.open(job.head.id).notes == {"services": "Plugs", "complaint": "Shakes"}
    assert "changed in another window too: both changes are kept" in words(test)
    assert area(test, "Last services and parts").value == "Plugs"
    assert area(test, "What the customer says").value == "Shakes"
    area(test, "Last services and parts").input("Plugs, oil").run()
    assert store.open(job.head.id).notes == {"services": "Plugs, oil", "complaint": "Shakes"}


def test_where_two_windows_change_the_same_thing_what_was_typed_stays_in_sight(start, job, store):
    test = start("car")
    store.save(job, notes={"complaint": "Theirs"})
    area(test, "What the customer says").input("Mine").run()
    assert store.open(job.head.id).notes == {"complaint": "Theirs"}
    press(test, "Show what is there now")
    assert area(test, "What the customer says").value == "Theirs"
    assert "You had typed: Mine" in words(test)
    area(test, "What the customer says").input("Theirs. Mine").run()
    assert "You had typed" not in words(test)
    assert store.open(job.head.id).notes == {"complaint": "Theirs. Mine"}


@pytest.mark.parametrize(("cylinders", "asked"), [(4, False), (7, True), (12, False), (13, True)])
def test_a_number_of_cylinders_that_hardly_a_car_has_is_asked_about(start, store, cylinders, asked):
    """Usual are those of the balance table, after a textbook (it stands in engine_balance.toml)."""
    new_job(store, "Van", Vehicle(Engine(cylinders)), Symptoms(), {})
    test = start("car")
    line = f"{cylinders} cylinders are rare in a car. Make sure"
    assert (line in words(test)) is asked
    assert not test.error


@pytest.mark.parametrize(
    ("units", "said", "mm"),
    [
        ("metric", "crank 150 mm", 150.0),
        ("metric", "crank 15,2cm", 152.0),
        ("metric", "crank: 6 in.", 152.4),
        ("US", "crank 150 mm", 150.0),
        ("US", 'crank 6"', 152.4),
        ("US", "crank 6 inches", 152.4),
    ],
)
def test_a_pulleys_size_may_carry_its_unit(start, job, store, units, said, mm):
    """An inch is 25.4 mm exactly: NIST SP 811 (2008), appendix B."""
    store.save(job, notes={"units": units})
    test = start("car")
    box = next(a for a in test.text_area if a.label.startswith("Outside diameters"))
    box.set_value(said).run()
    assert case_of(store.open(job.head.id)).vehicle.pulleys_mm == {"crank": pytest.approx(mm)}


def test_a_size_in_another_unit_is_no_pulley(start, job, store):  # noqa: ARG001 - the job is open
    test = start("car")
    box = next(a for a in test.text_area if a.label.startswith("Outside diameters"))
    box.set_value("crank 150 furlongs").run()
    assert "'crank 150 furlongs' is no pulley" in words(test)


@pytest.mark.parametrize(("said", "hint"), [("0301", "Did you mean P0301?"), ("9999", ""), ("X0301", "")])
def test_a_code_without_its_letter_is_asked_after(start, job, said, hint):  # noqa: ARG001 - the job is open
    """A powertrain code begins with P: SAE J2012."""
    test = start("car")
    next(t for t in test.text_input if t.label == "Trouble codes").set_value(said).run()
    text = words(test)
    assert f"Not in the list of codes, so not used: {said}." in text
    assert ("Did you mean" in text) == bool(hint)
    assert hint in text

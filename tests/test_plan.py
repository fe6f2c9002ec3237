"""Recording plan, file-name guesses, and what to do next.

Common practice, no source: which recordings a job wants. The names are of the kind phones and people write.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.app import made
from vibecore.case import Case, CaseRecording
from vibecore.causes.load import catalogue
from vibecore.engine import Engine, Vehicle
from vibecore.guess import guess_condition, is_odd_idle, looks_raised, tells_stage
from vibecore.model import CheckOutcome, Condition, RankedCause, Suspect, Symptoms
from vibecore.plan import likeliest, next_step, placing, plan_for


def case_with(*names: str, transmission="automatic", shakes_when=()) -> Case:
    recordings = tuple(CaseRecording(Path(n), guess_condition(n)) for n in names)
    vehicle = Vehicle(Engine(4), transmission)
    return Case("Van", Path("case.toml"), vehicle, Symptoms(shakes_when=shakes_when), recordings)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("neutral-idle.csv", Condition(gear="neutral", speed_hold="idle")),
        ("Lenkrad Leerlauf.xlsx", Condition("steering wheel", "neutral", "idle")),
        ("SeatDriveIdle2.csv", Condition("seat", "drive", "idle")),
        ("raised idle neutral 1500 rpm.csv", Condition(None, "neutral", "raised", "before", 1500.0)),
        ("after_repair in gear.csv", Condition(None, "drive", "idle", "after")),
        ("engine off fan.csv", Condition(speed_hold="engine off")),
        ("Volant-Ralenti-après.csv", Condition("steering wheel", None, "idle", "after")),
        ("folder/park.csv", Condition(gear="park", speed_hold="idle")),
        ("2024-05-01 12-30-11.csv", Condition()),
        ("Raw Data.csv", Condition()),
        ("neutral idle AC on.csv", Condition(None, "neutral", "idle", accessories=("air conditioning",))),
        ("neutral idle ac off.csv", Condition(None, "neutral", "idle")),
        ("", Condition()),
    ],
)
def test_a_condition_is_guessed_from_words_only(name, expected):
    assert guess_condition(name) == expected


@pytest.mark.parametrize(
    ("rpm", "spec", "expected"),
    [
        (700.0, None, False),
        (1350.0, None, True),
        (1080.0, None, False),
        (1180.0, (1000.0, 1100.0), False),
        (1000.0, (600.0, 700.0), True),
    ],
)
def test_a_speed_far_over_idle_looks_raised(rpm, spec, expected):
    """The boundary is common practice, no source."""
    speed = replace(made.analysis().speed, mean_rpm=rpm)
    assert looks_raised(speed, spec) is expected
    assert not looks_raised(None, spec)


def needed(case: Case) -> list[str]:
    return [item.id for item in plan_for(case) if item.needed and not item.done]


def test_the_plan_asks_for_what_is_missing():
    assert needed(case_with()) == ["neutral-idle", "drive-idle", "raised-idle"]
    assert needed(case_with("neutral idle.csv", "raised.csv")) == ["drive-idle"]
    assert needed(case_with("park idle.csv", "raised.csv", "drive.csv")) == []


def test_a_sweep_can_be_made_and_is_asked_of_nobody():
    def sweep(*names: str):
        return next(item for item in plan_for(case_with(*names)) if item.id == "sweep")

    assert not sweep("neutral idle.csv").needed
    assert sweep("neutral sweep.csv").done == ("neutral sweep.csv",)
    assert sweep("drive sweep.csv", "raised.csv").done == ()  # a drive


def test_a_manual_gearbox_is_not_asked_to_idle_in_gear():
    """With the clutch in gear and the brake held it would stall or lurch."""
    manual = plan_for(case_with(transmission="manual"))
    assert "drive-idle" not in [item.id for item in manual]
    assert not any("helper's foot" in text for item in manual for text in item.cautions)
    assert "drive-idle" in needed(case_with(transmission=None))


def test_the_air_conditioning_is_asked_for_if_it_matters():
    assert "unit-on" in needed(case_with("neutral idle.csv", shakes_when=("air conditioning on",)))
    assert "unit-on" not in needed(case_with("neutral idle.csv"))


def test_a_recording_after_the_repair_does_not_stand_in_for_one_before():
    case = case_with("after neutral idle.csv")
    assert "neutral-idle" in needed(case)
    assert next(i for i in plan_for(case) if i.id == "after-repair").done == ("after neutral idle.csv",)


def test_every_running_engine_has_its_cautions():
    for item in plan_for(case_with()):
        words = " ".join(item.cautions).lower()
        if item.id != "engine-off":
            assert "parking brake" in words
            assert "front" in words
            assert "outdoors" in words
        assert "airbag cover" in words  # the phone is on the wheel
    drive = next(i for i in plan_for(case_with()) if i.id == "drive-idle")
    assert "foot stays hard on the brake" in " ".join(drive.cautions)
    for raised in (i for i in plan_for(case_with()) if i.id in ("raised-idle", "sweep")):
        assert "belt and fan" in " ".join(raised.cautions)
    assert any("airbag" in step for step in placing())


def test_the_phone_is_taped_on_with_the_engine_off():
    """A hand beside belts, or in a car in gear, has no business there while the engine runs."""
    plan = {item.id: item for item in plan_for(case_with())}
    for steps in (plan["taped-anew"].how, plan["after-repair"].how, placing()):
        assert "engine off" in " ".join(steps).lower()


ALL = ("neutral idle.csv", "drive idle.csv", "raised.csv")


def test_the_next_step_follows_the_loop():
    diagnosis = made.diagnosis()
    assert next_step(case_with(), None).title == "Record: Neutral at idle"
    assert (
        next_step(case_with("neutral idle.csv"), diagnosis).title
        == "Record: In gear at idle, brake held (automatic gearbox only)"
    )
    check = next_step(case_with(*ALL), diagnosis)
    assert (check.title, check.page) == ("Look at the mounts", "causes")
    mended = replace(diagnosis, next_checks=())
    assert next_step(case_with(*ALL), mended).page == "record"


@pytest.mark.parametrize(
    ("share", "lamp", "codes", "page"),
    [
        (0.9, None, (), "report"),
        (0.97, False, ("P9999",), "report"),  # no code that the catalogue knows
        (0.89, None, (), "causes"),
        (0.97, True, (), "causes"),
        (0.97, None, ("P0301",), "causes"),
    ],
)
def test_a_car_that_is_surely_sound_goes_to_the_report(share, lamp, codes, page):
    """Common practice, no source: a lit lamp or a stored code is looked into first."""
    sound = replace(made.diagnosis(), causes=(RankedCause("normal", "Nothing wrong", share),))
    case = replace(case_with(*ALL), symptoms=Symptoms(lamp, codes))
    assert next_step(case, sound).page == page


@pytest.mark.parametrize(
    ("cause", "part", "checked", "page"),
    [
        (0.99, 0.95, True, "proof"),
        (0.99, 0.95, False, "causes"),  # nobody has looked yet
        (0.99, 0.6, True, "causes"),  # two parts are left
        (0.6, 0.95, True, "causes"),
    ],
)
def test_a_part_that_checks_have_shown_is_mended_before_more_is_checked(cause, part, checked, page):
    """Common practice, no source: who has found the bad coil squirts no cleaner at the manifold."""
    suspects = (Suspect("plug", "Spark plug", 1 - part), Suspect("coil", "Ignition coil", part))
    ranked = (RankedCause("cylinder-misfire", "One cylinder", cause, (), suspects),)
    case = replace(case_with(*ALL), checks=(CheckOutcome("coil-swap", "moved"),) if checked else ())
    step = next_step(case, replace(made.diagnosis(), causes=ranked))
    assert step.page == page
    assert step.title == ("Mend: Ignition coil" if page == "proof" else "Look at the mounts")


def done(case: Case) -> list[str]:
    return [item.id for item in plan_for(case) if item.done]


def test_a_recording_counts_only_for_what_it_is():
    """As the evidence takes them: with a unit on it is no idle with all off, raised in gear is a drive."""
    assert done(case_with("neutral idle ac on.csv")) == ["unit-on"]
    assert done(case_with("raised drive.csv")) == []
    assert done(case_with("raised.csv")) == ["raised-idle"]


@pytest.mark.parametrize(
    ("name", "tells"),
    [
        ("after drive.csv", True),
        ("before drive.csv", True),
        ("not repaired idle.csv", True),
        ("neutral idle.csv", False),
        ("after lunch.csv", False),
    ],
)
def test_a_name_tells_the_stage_in_words_only(name, tells):
    assert tells_stage(name) is tells


@pytest.mark.parametrize(
    ("rpm", "spec", "odd"),
    [
        (1517.0, None, True),
        (700.0, None, False),
        (400.0, None, True),
        (800.0, (650.0, 750.0), False),
        (933.0, (650.0, 750.0), True),  # 700 with 8 cylinders said of 6
        (525.0, (650.0, 750.0), True),  # 700 with 6 said of 8
    ],
)
def test_an_idle_that_is_none_of_this_car_is_odd(rpm, spec, odd):
    """An engine of 8 cylinders fires at 700 rpm as often as one of 6 at 933. 450 to 1100 rpm: common
    practice, no source."""
    assert is_odd_idle(replace(made.analysis().speed, mean_rpm=rpm), spec) is odd


def with_mounts(cause: float, checks: tuple[CheckOutcome, ...], **changes):
    """A job whose mounts are found, and nobody can tell which: four alike, as the catalogue has them."""
    parts = tuple(Suspect(s.id, s.name, 0.25) for s in catalogue().find_cause("engine-mount").suspect)
    ranked = (RankedCause("engine-mount", "Engine or gearbox mount", cause, (), parts),)
    return replace(case_with(*ALL), checks=checks), replace(made.diagnosis(), causes=ranked, **changes)


CRACKED = CheckOutcome("mount-look", "cracked")


@pytest.mark.parametrize(
    ("cause", "checks", "mend"),
    [
        (0.95, (CRACKED,), True),
        (0.6, (CRACKED,), True),
        (0.4, (CRACKED,), False),
        (0.95, (), False),
        (0.95, (CheckOutcome("watch-rock", "jumps"),), False),  # nobody has looked at the mounts yet
        (0.95, (CheckOutcome("mount-look", "sound"),), False),
    ],
)
def test_a_cause_that_was_looked_at_and_found_is_mended_whichever_part_it_is(cause, checks, mend):
    """Common practice, no source: no check tells one mount from the others but the eye that found it."""
    case, diagnosis = with_mounts(cause, checks)
    step = next_step(case, diagnosis)
    if mend:
        assert step.title == "Mend: Engine or gearbox mount"
        assert "cracked, torn, sagging or leaked" in step.why
        assert step.page == "proof"
    else:
        assert step.page == "causes"


def test_a_cause_whose_parts_a_check_still_tells_apart_is_checked_further():
    dead = CheckOutcome("unplug-cylinders", "one-no-change")
    parts = tuple(Suspect(s.id, s.name, 1 / 6) for s in catalogue().find_cause("cylinder-misfire").suspect)
    ranked = (RankedCause("cylinder-misfire", "One cylinder", 0.97, (), parts),)
    case = replace(case_with(*ALL), checks=(dead,))
    assert next_step(case, replace(made.diagnosis(), causes=ranked)).page == "causes"


@pytest.mark.parametrize(
    ("cause", "part", "title"),
    [
        (0.9, 0.9, "Mend: Ignition coil"),
        (0.9, 0.5, "Mend: One cylinder"),
        (0.4, 0.9, "Mend what is likeliest: One cylinder"),
    ],
)
def test_without_a_check_left_the_step_says_what_to_mend(cause, part, title):
    suspects = (Suspect("coil", "Ignition coil", part), Suspect("plug", "Spark plug", 1 - part))
    ranked = (RankedCause("cylinder-misfire", "One cylinder", cause, (), suspects),)
    step = next_step(case_with(*ALL), replace(made.diagnosis(), causes=ranked, next_checks=()))
    assert (step.title, step.page) == (title, "record")
    assert "record again" in step.why.lower()


def test_the_answer_in_one_line():
    assert likeliest(made.diagnosis()) == "Likeliest: Engine mount collapsed, 71 %"
    assert likeliest(made.diagnosis(), was=0.19) == "Likeliest: Engine mount collapsed, 71 % (was 19 %)"
    assert likeliest(made.diagnosis(), was=0.71) == "Likeliest: Engine mount collapsed, 71 %"
    assert likeliest(made.diagnosis(repaired=True)).startswith("Before the repair, likeliest: Engine mount")
    assert likeliest(replace(made.diagnosis(), causes=())) == ""
    fault, sound, *_ = made.diagnosis().causes
    for cause, share, lead in (
        (fault, 0.45, "Not clear yet. Likeliest"),
        (sound, 0.54, "Not clear yet. Likeliest"),  # who is told that nothing is wrong drives off
        (sound, 0.92, "Likeliest"),
    ):
        alone = replace(made.diagnosis(), causes=(replace(cause, probability=share),))
        assert likeliest(alone) == f"{lead}: {cause.name}, {100 * share:.0f} %"

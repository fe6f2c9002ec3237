"""The page Try it: how to do it, what came of it, and the moments, on recordings whose truth is a formula."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.app import made
from tests.app.pages import press, words
from tests.trying.test_trying import SOUND, tried
from vibecore.jobs import case_of
from vibecore.report import report_html
from vibecore.store import NewFile
from vibecore.trying.kinds import kinds

WEAK = SOUND | {0.5: 0.15, 1.0: 0.1}
STILL = replace(tried(), name="still.csv")
OFF = replace(tried(orders=(SOUND, WEAK, SOUND)), name="off.csv")


@pytest.fixture
def with_trials(store, job, made_results, monkeypatch):  # noqa: ARG001 - takes the place of its reading
    """The job with a recording in which a cylinder was switched off, and one in which nothing came of it."""
    trials = {"off.csv": OFF, "still.csv": STILL}
    monkeypatch.setattr(
        "vibecore.reading.read_recording",
        lambda _source, *, name="": trials.get(name) or made.recording(name),
    )
    lines = "off.csv\t20.5\t40\tcylinder\nstill.csv\t21\t41\tcleaner"
    aside = "Something was tried in it."
    files = [NewFile(name, name.encode(), aside) for name in trials]
    return store.save(job, notes={"tried": lines}, add=files)


def choose(test, label, value):
    return next(s for s in test.selectbox if s.label == label).set_value(value).run()


@pytest.mark.usefixtures("job")
def test_how_to_try_is_told_with_its_cautions(start):
    text = words(choose(start("try-it"), "What will you try?", "cleaner"))
    for needed in ("catches fire", "extinguisher", "clear of belts", "tap once, firmly", "airbag"):
        assert needed in text
    test = choose(start("try-it"), "What will you try?", "other")
    assert "clear of belts" in words(test)
    assert "catches fire" not in words(test)


@pytest.mark.usefixtures("job")
def test_nothing_that_burns_or_bites_is_chosen_before_anybody_chooses(start):
    """Fuel, sparks and high voltage are for who means to try that. Common practice, no source."""
    text = words(start("try-it"))
    assert "clear of belts" in text
    for danger in ("catches fire", "voltage", "Fuel under pressure"):
        assert danger not in text


@pytest.mark.usefixtures("job")
def test_it_takes_two_on_a_car_that_cannot_roll(start):
    """Common practice, no source: who taps beside the phone cannot work under the bonnet too."""
    text = words(start("try-it"))
    steps = (
        "Two people: one in the seat taps, one works.",
        "Parking brake on, wheels chocked, neutral or park",
    )
    assert text.index("clear of belts") < text.index(steps[0]) < text.index(steps[1])


@pytest.mark.parametrize("kind", [kind.id for kind in kinds()])
@pytest.mark.parametrize("state", ["fuel smell", "overheating", "belt damaged", "no ventilation"])
def test_nothing_is_tried_where_no_engine_is_run_for_a_check(start, store, job, kind, state):
    store.save(job, notes={"cannot": state})
    text = words(choose(start("try-it"), "What will you try?", kind))
    assert "Not now: " in text
    assert "take it back at the end of the page Causes" in text
    assert "Start the recording." not in text


@pytest.mark.usefixtures("job")
@pytest.mark.parametrize("kind", [kind.id for kind in kinds()])
def test_the_airbag_is_cautioned_of_whatever_is_tried(start, kind):
    """The phone is in its place and records: on the wheel, beside the airbag."""
    text = words(choose(start("try-it"), "What will you try?", kind))
    assert text.count("airbag cover") == 1
    assert text.index("airbag cover") < text.index("Start the recording.")


@pytest.mark.usefixtures("with_trials")
def test_what_came_of_it_and_what_it_means(start):
    test = start("try-it")
    assert "The engine did not notice" in words(test)
    assert "That joint is tight" in words(test)
    text = words(choose(test, "What was tried", "off.csv"))
    assert "The engine noticed: " in text
    assert "That cylinder does its work." in text
    assert "Shake while it was tried" in text


@pytest.mark.usefixtures("with_trials")
def test_moments_are_kept_as_they_are_said(start, store, job):
    test = start("try-it")
    next(n for n in test.number_input if n.label.startswith("Begun")).set_value(4.0).run()
    assert "Only 4 s were recorded before it was begun" in words(test)
    assert "still.csv\t4\t41\tcleaner" in store.open(job.head.id).notes["tried"]
    choose(test, "What it was", "other")
    assert "still.csv\t4\t41\tother" in store.open(job.head.id).notes["tried"]


@pytest.mark.usefixtures("with_trials")
def test_it_speaks_for_no_cause_and_is_no_file_that_failed(start):
    assert "Kept aside" not in words(start("record"))
    assert "still.csv" not in words(start("causes"))


@pytest.mark.usefixtures("with_trials")
def test_one_can_be_removed(start, store, job):
    press(start("try-it"), "Remove this one")
    kept = store.open(job.head.id)
    assert "still.csv" not in kept.notes["tried"]
    assert "still.csv" not in [f.name for f in kept.files]
    assert "off.csv" in [f.name for f in kept.files]


@pytest.mark.usefixtures("with_trials")
def test_one_that_was_removed_comes_back_with_its_moments(start, store, job):
    was = store.open(job.head.id)
    test = press(start("try-it"), "Remove this one")
    assert "Taken out: still.csv." in words(test)
    press(test, "Undo")
    now = store.open(job.head.id)
    assert (now.notes, set(now.files)) == (was.notes, set(was.files))


@pytest.mark.usefixtures("with_trials")
def test_a_file_that_is_gone_is_told(start, store, job):
    store.save(store.open(job.head.id), remove=["still.csv"])
    assert "still.csv is not there any more" in words(start("try-it"))


def test_the_report_tells_it(with_trials):
    page = report_html(
        case_of(with_trials), {}, None, tried=[("Cleaner <at> a joint", "The engine noticed.")]
    )
    assert "What was tried while it ran" in page
    assert "Cleaner &lt;at&gt; a joint. The engine noticed." in page


@pytest.mark.usefixtures("with_trials")
def test_what_came_of_it_is_said_there_and_counts_for_the_check(start, store, job):
    """The outcomes are those of the check in checks.toml that the trial is part of."""
    test = start("try-it")
    assert "Say what came of it:** Squirt cleaner at the joints" in words(test)
    press(test, "no change anywhere")
    (done,) = case_of(store.open(job.head.id)).checks
    assert (done.id, done.outcome) == ("cleaner-squirt", "no-change")
    assert "Kept: Squirt cleaner at the joints and watch the idle: no change anywhere." in words(test)


@pytest.mark.usefixtures("job")
def test_a_recording_of_the_job_is_none_in_which_something_was_tried(start):
    test = start("try-it")
    test.file_uploader[0].set_value(("idle.csv", b"neutral-idle.csv", "text/csv")).run()
    told = "idle.csv is in this job already, as neutral-idle.csv. Put in the one made while you tried it."
    assert told in words(test)


def test_a_cylinder_is_not_switched_off_by_hand_on_direct_injection(start, job):  # noqa: ARG001 - the job is open
    """Its injectors are driven with some 65 V and more: common practice, no source."""
    test = start("try-it")
    next(s for s in test.selectbox if s.label == "What will you try?").set_value("cylinder").run()
    cautions = test.warning[0].value.replace("\\", "")
    assert "**Direct injection**: its injectors carry dangerous voltage. Use a tester" in cautions


@pytest.mark.usefixtures("with_trials")
def test_moments_that_nobody_marked_or_said_show_nothing(start, store, job):
    """A third and two thirds on is where the boxes begin, and no more than that."""
    notes = store.open(job.head.id).notes
    store.save(store.open(job.head.id), notes=notes | {"tried": "still.csv\t20\t40\tcleaner"})
    test = start("try-it")
    told = "No tap marks the moments in it. Say below when you began and when you undid it."
    assert told in words(test)
    assert "The engine did not notice" not in words(test)
    assert "no change anywhere" not in [b.label for b in test.button]
    assert "Shake while it was tried" in words(test)  # to look for them
    next(n for n in test.number_input if n.label.startswith("Begun")).set_value(21.0).run()
    assert told not in words(test)
    assert "The engine did not notice" in words(test)

"""Recordings: what the page says of those that were read."""

from __future__ import annotations

import sys
from dataclasses import replace

import pytest

from tests.app import made
from tests.app.pages import keep, words
from vibecore.constants import CYLINDERS_DOUBTFUL
from vibecore.engine import Engine, Vehicle
from vibecore.jobs import case_of, new_job
from vibecore.model import Symptoms, Warn


@pytest.mark.parametrize(
    ("cylinders", "says"),
    [
        (4, "Only 20 s long: record a minute."),
        (8, "Only 20 s long: record a minute."),  # 46.7 Hz, under half of 100 samples a second
        (12, "Record again at 200 samples a second or more: at 100 the firing order cannot be seen."),
    ],
)
def test_a_rate_that_hides_the_firing_order_is_told_with_its_mend(start, store, cylinders, says):
    """Shannon: nothing is seen above half the rate; twelve cylinders at 700 rpm fire 70 times a second."""
    job = new_job(store, "Van", Vehicle(Engine(cylinders)), Symptoms(), {})
    keep(store, job, "neutral-idle.csv")
    for page in ("", "record"):
        assert says in words(start(page))


def test_a_raised_idle_is_asked_for_where_nobody_said(start, store):
    job = new_job(store, "Van", Vehicle(Engine(4), idle_spec_rpm=(500.0, 550.0)), Symptoms(), {})
    keep(store, job, "third.csv", "neutral idle.csv")  # both are read as 700 rpm
    assert words(start("record")).count("It reads as 700 rpm: if the idle was raised, say so below.") == 1


@pytest.mark.parametrize(
    ("raised_rpm", "tachometer_rpm", "line"),
    [
        (715.0, None, "It reads as 715 rpm, hardly more than the 700 at idle: was it raised? Say so below."),
        (715.0, 720.0, "Say so below. Or did the tachometer show something else?"),
        (1400.0, None, ""),
    ],
)
def test_an_idle_that_was_hardly_raised_is_asked_about(
    start, job, store, monkeypatch, raised_rpm, tachometer_rpm, line
):
    """The plan asks for 1200 to 1500 rpm; read, or told, as half of that it would be a lie to the causes."""

    def diagnose(_case, analyses):
        *others, last = analyses
        held = replace(last.condition, speed_hold="raised", tachometer_rpm=tachometer_rpm)
        raised = replace(last, condition=held, speed=replace(last.speed, mean_rpm=raised_rpm))
        return made.diagnosis(*others, raised)

    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", diagnose)
    keep(store, store.open(job.head.id), "neutral raised.csv")
    text = words(start("record"))
    assert line in text
    assert text.count("was it raised?") == bool(line)
    elsewhere = line.replace("below", "under Record")
    told = words(start("causes"))
    assert elsewhere.replace("It reads", "In neutral at raised idle: it reads") in told
    assert told.count("was it raised?") == bool(line)
    reading = start("reading")
    assert "was it raised?" not in words(reading)
    recording = next(s for s in reading.selectbox if s.label == "Recording")
    assert elsewhere in words(recording.set_value(recording.options[-1]).run())


def test_an_idle_that_the_tachometer_read_as_raised_is_asked_about(start, job, store, monkeypatch):
    def diagnose(_case, analyses):
        first, *others = analyses
        told = replace(first.condition, speed_hold="idle", tachometer_rpm=1500.0)
        fast = replace(first, condition=told, speed=replace(first.speed, mean_rpm=1510.0))
        return made.diagnosis(fast, *others)

    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", diagnose)
    keep(store, store.open(job.head.id), "third.csv")
    assert words(start("record")).count("It reads as 1510 rpm: if the idle was raised, say so below.") == 1


@pytest.mark.parametrize(
    ("cylinders", "spec", "asked"),
    [(8, (1000.0, 1100.0), True), (8, (500.0, 550.0), True), (8, (650.0, 750.0), False), (8, None, False)],
)
def test_an_idle_far_from_the_makers_asks_for_the_cylinders(start, store, cylinders, spec, asked):
    """Made-up recordings read as 700 rpm."""
    job = new_job(store, "Van", Vehicle(Engine(cylinders), idle_spec_rpm=spec), Symptoms(), {})
    keep(store, job, "neutral idle.csv", "raised.csv")
    figure = f"The maker's is {spec[0]:.0f} to {spec[1]:.0f}: is that right?" if spec else ""
    line = f"Idle reads 700 rpm. {figure} Is the number of cylinders ({cylinders}) right?"
    for page in ("record", "causes"):
        assert words(start(page)).count(line) == asked


@pytest.mark.parametrize("page", ["record", "causes"])
def test_another_engines_firing_order_asks_for_the_cylinders_once(start, job, store, monkeypatch, page):
    def diagnose(_case, analyses):
        doubted = (Warn(CYLINDERS_DOUBTFUL, "So fires an engine of 3 cylinders."),)
        return made.diagnosis(*(replace(a, warnings=doubted) for a in analyses))

    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", diagnose)
    keep(store, store.open(job.head.id), "neutral idle.csv", "drive idle.csv")
    assert words(start(page)).count("So fires an engine of 3 cylinders.") == 1


def test_the_latest_picture_is_of_one_that_can_be_read_and_is_no_copy(start, job, store, monkeypatch):
    def diagnose(_case, analyses):
        copy = replace(analyses[-1], warnings=(Warn("same-contents", "Same contents as another."),))
        return made.diagnosis(*analyses[:-1], copy)

    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", diagnose)
    keep(store, store.open(job.head.id), "copy.csv", "bad.csv")
    assert "The latest: drive at idle" in words(start("record"))


def test_a_harmless_note_is_grey_and_nothing_to_mind(start, job, monkeypatch):  # noqa: ARG001 - the job is open
    def diagnose(_case, analyses):
        lost = (Warn("lost-samples", "12 samples are missing."),)
        few = [replace(a.recording, warnings=lost, lost_samples=12) for a in analyses]
        return made.diagnosis(*(replace(a, recording=r) for a, r in zip(analyses, few, strict=True)))

    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", diagnose)
    assert ":gray[12 samples are missing, in short gaps: that does no harm.]" in words(start("record"))
    text = words(start())
    assert "Good recording." in text
    assert "more to mind" not in text


@pytest.mark.usefixtures("job")
def test_what_the_reading_says_stands_above_the_recordings(start, monkeypatch):
    """Where the person looks who has just put them in, not at the foot of the page."""
    test = start("record")
    cache = sys.modules["cache"]  # the window's own
    monkeypatch.setattr(cache, "at_hand", lambda *_: False)
    window = test.session_state["window"]
    window.stop(cache.key_of(window.job, case_of(window.job)))
    text = words(test.run())
    assert text.index("How each was made") < text.index("Stopped.") < text.index("**neutral-idle.csv**")
    assert "Go on" in [b.label for b in test.button]

"""Recordings: what is missing, files in and out, what is chosen in the boxes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.app.pages import keep, notes_of, press, upload, words
from vibecore.engine import Engine, Vehicle
from vibecore.jobs import case_of, new_job, save_case
from vibecore.model import Symptoms


@pytest.mark.usefixtures("job")
def test_the_record_page_shows_what_is_missing_with_its_cautions(start):
    text = words(start("record"))
    assert "Next: **Record: Neutral at raised idle**" in text
    assert "Sleeves, hair and tools away from belt and fan." in text
    assert "off the airbag cover" in text


@pytest.mark.usefixtures("job")
def test_each_recording_that_can_help_has_its_cautions_before_its_steps(start):
    parts = [e for e in start("record").expander if ":" in e.label and not e.label.startswith("How")]
    assert len(parts) == 8  # as many as plan.toml has
    for part in parts:
        told = [e.value.replace("\\", "") for e in (*part.warning, *part.markdown)]
        order = [e.value.replace("\\", "") for e in part if e.type in ("alert", "warning", "markdown")]
        assert "airbag cover" in told[0], part.label
        assert order.index(told[0]) < next(i for i, text in enumerate(order) if text.startswith("1."))


def test_files_come_in_guessed_and_what_cannot_be_read_is_kept_aside(start, job, store, monkeypatch):
    from vibecore import reading

    readable = reading.read_recording

    def with_a_fault(source, *, name=""):
        if name == "odd.csv":
            raise ZeroDivisionError("secret inner words")
        return readable(source, name=name)

    monkeypatch.setattr("vibecore.reading.read_recording", with_a_fault)
    test = start("record")
    named = [("a.csv", b"1"), ("odd.csv", b"2"), ("holiday.csv", b"bad"), ("engine off.csv", b"3")]
    test.file_uploader[0].set_value([(name, data, "text/csv") for name, data in named]).run()
    kept = store.open(job.head.id)
    assert {f.name: f.aside is None for f in kept.files[2:]} == {
        "a.csv": True, "odd.csv": False, "holiday.csv": False, "engine off.csv": True,
    }  # fmt: skip
    assert [store.read_file(job.head.id, name) for name, _ in named] == [data for _, data in named]
    holds = {r.file.name: r.condition.speed_hold for r in case_of(kept).recordings[2:]}
    assert holds == {"a.csv": None, "engine off.csv": "engine off"}
    assert "secret" not in words(test)


def test_a_condition_is_kept_as_soon_as_it_is_chosen(start, job, store):
    test = start("record")
    gear = next(s for s in test.selectbox if s.label == "Gear")
    assert gear.value == "neutral"  # guessed from the name
    gear.set_value("reverse").run()
    assert case_of(store.open(job.head.id)).recordings[0].condition.gear == "reverse"


def test_a_choice_made_in_another_window_is_shown_and_not_undone(start, job, store):
    test = start("record")
    case = case_of(job)
    first = case.recordings[0]
    elsewhere = replace(first, condition=replace(first.condition, gear="park"))
    save_case(store, job, replace(case, recordings=(elsewhere, *case.recordings[1:])))
    test.run()
    press(test, "Show what is there now")
    assert next(s for s in test.selectbox if s.label == "Gear").value == "park"
    assert case_of(store.open(job.head.id)).recordings[0] == elsewhere


@pytest.mark.usefixtures("job")
def test_another_job_does_not_inherit_what_the_boxes_showed(start, store):
    test = start("record")
    next(s for s in test.selectbox if s.label == "Gear").set_value("reverse").run()
    other = new_job(store, "Red hatchback", Vehicle(Engine(3)), Symptoms(), {})
    keep(store, other, "neutral-idle.csv")
    test.session_state["window"].job = store.open(other.head.id)
    test.run()
    assert next(s for s in test.selectbox if s.label == "Gear").value == "neutral"
    assert case_of(store.open(other.head.id)).recordings[0].condition.gear == "neutral"


def test_the_same_file_is_not_taken_in_twice(start, job, store):
    """One recording under two names would count as two that bear each other out."""
    test = upload(start("record"), "b.csv")
    again = [("copy of b.csv", b"b.csv", "text/csv"), ("c.csv", b"c.csv", "text/csv")]
    test.file_uploader[0].set_value(again).run()
    assert [f.name for f in store.open(job.head.id).files[2:]] == ["b.csv", "c.csv"]
    assert "copy of b.csv is here already, as b.csv: left out." in words(test)
    assert "b.csv is here already: left out." in words(upload(test, "b.csv"))


def test_a_file_that_is_no_recording_is_no_good_news(start, job):  # noqa: ARG001 - the job is open
    test = upload(start("record"), "bad holiday.csv")
    assert not test.success
    assert "bad holiday.csv is no recording and was kept aside" in words(test)


@pytest.mark.usefixtures("job")
def test_several_files_that_are_no_recordings_are_told_in_one_sentence(start):
    test = start("record")
    files = [(f"bad {n}.csv", f"bad {n}".encode(), "text/csv") for n in (1, 2, 3)]
    test.file_uploader[0].set_value(files).run()
    told = (
        "bad 1.csv, bad 2.csv and bad 3.csv are no recordings and were kept aside; the reasons stand below."
    )
    assert told in words(test)
    assert words(test).count("kept aside") == 1


def test_a_second_press_takes_out_no_other_recording(start, job, store):
    test = start("record")
    label = "Take it out of the job"
    next(s for s in test.selectbox if s.label == "Which").set_value("neutral-idle.csv").run()
    press(test, label)
    assert next(b for b in test.button if b.label == label).disabled
    assert [r.file.name for r in case_of(store.open(job.head.id)).recordings] == ["drive-idle.csv"]


def test_a_recording_taken_out_comes_back_whole_until_the_next_change(start, job, store):
    """Files, order, and what was said of them, by the store's own record of the job before."""
    was = store.save(job, notes={"guessed": "neutral-idle.csv\tBy its name: neutral."})
    bytes_before = store.read_file(job.head.id, "neutral-idle.csv")
    test = start("record")
    next(s for s in test.selectbox if s.label == "Which").set_value("neutral-idle.csv").run()
    press(test, "Take it out of the job")
    assert "Taken out: neutral-idle.csv." in words(test)
    assert "guessed" not in notes_of(store, job)
    press(test, "Undo")
    now = store.open(job.head.id)
    assert (now.case_text, now.notes, set(now.files)) == (was.case_text, was.notes, set(was.files))
    assert store.read_file(job.head.id, "neutral-idle.csv") == bytes_before
    assert "Back in the job: neutral-idle.csv." in words(test)
    assert "Undo" not in [b.label for b in test.button]


@pytest.mark.usefixtures("job")
def test_after_another_change_there_is_no_undo(start):
    test = start("record")
    next(s for s in test.selectbox if s.label == "Which").set_value("neutral-idle.csv").run()
    press(test, "Take it out of the job")
    gear = next(s for s in test.selectbox if s.key.startswith("gear drive-idle.csv"))
    gear.set_value("reverse").run()
    assert "Undo" not in [b.label for b in test.button]


def test_the_last_recording_and_files_kept_aside_come_back_too(start, job, store):
    test = upload(start("record"), "bad one.csv", "bad two.csv")
    press(test, "Remove these files")
    assert "Taken out: bad one.csv and bad two.csv." in words(test)
    press(test, "Undo")
    assert "Kept aside" in words(test)
    for name in ("neutral-idle.csv", "drive-idle.csv"):
        next(s for s in test.selectbox if s.label == "Which").set_value(name).run()
        press(test, "Take it out of the job")
    assert case_of(store.open(job.head.id)).recordings == ()
    press(test, "Undo")
    assert [r.name for r in case_of(store.open(job.head.id)).recordings] == ["drive-idle.csv"]


def test_what_the_emptied_bin_took_cannot_be_undone_and_is_told(start, job, store):
    test = start("record")
    next(s for s in test.selectbox if s.label == "Which").set_value("neutral-idle.csv").run()
    press(test, "Take it out of the job")
    store.empty_bin()
    press(test, "Undo")
    assert "The kept file 'neutral-idle.csv' cannot be read" in words(test)
    assert [r.name for r in case_of(store.open(job.head.id)).recordings] == ["drive-idle.csv"]

"""Recordings: what is missing, files in, how each was made."""

from __future__ import annotations

import sys
from dataclasses import replace

import pytest

from tests.app.pages import keep, press, words
from vibecore.engine import Engine, Vehicle
from vibecore.jobs import case_of, new_job, save_case
from vibecore.model import Symptoms


@pytest.mark.usefixtures("job")
def test_the_record_page_shows_what_is_missing_with_its_cautions(start):
    text = words(start("record"))
    assert "Next: **Neutral at raised idle**" in text
    assert "Sleeves, hair and tools away from belt and fan." in text
    assert "off the airbag cover" in text


@pytest.mark.usefixtures("job")
def test_each_recording_that_can_help_has_its_cautions_before_its_steps(start):
    parts = [e for e in start("record").expander if ":" in e.label and not e.label.startswith("How")]
    assert len(parts) == 7  # as many as plan.toml has
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


def upload(test, *names):
    return test.file_uploader[0].set_value([(n, n.encode(), "text/csv") for n in names]).run()


def notes_of(store, job):
    return store.open(job.head.id).notes


def test_what_was_guessed_says_why_until_somebody_confirms_it(start, job, store):
    test = upload(start("record"), "lenkrad.csv", "b.csv")
    text = words(test)
    assert "How 2 recordings were made is a guess" in text
    assert "Guessed. By its name: phone on the steering wheel." in text
    assert "Nothing tells how it was made: say it here." in text
    assert "guess" in words(start())  # told on the job's own page too
    press(test, "All is right as it stands")
    assert "Guessed" not in words(test)
    assert notes_of(store, job) == {}
    assert [r.condition.place for r in case_of(store.open(job.head.id)).recordings[2:]] == [
        "steering wheel",
        None,
    ]


def test_a_change_to_one_part_does_not_confirm_the_rest_unasked(start, job, store):
    test = upload(start("record"), "b.csv", "c.csv")
    next(s for s in test.selectbox if s.key.startswith("gear b.csv")).set_value("reverse").run()
    text = words(test)
    assert "Guessed. You have changed a part of it since." in text
    assert "How 2 recordings were made is a guess" in text
    press(test, "All is right as it stands")
    assert notes_of(store, job) == {}
    next(s for s in test.selectbox if s.key.startswith("gear b.csv")).set_value("drive").run()
    assert notes_of(store, job) == {}  # what was confirmed stays so


def test_a_fault_in_guessing_keeps_no_file_out(start, job, store, monkeypatch):
    def broken(*_args):
        raise ZeroDivisionError("secret inner words")

    monkeypatch.setattr("vibecore.conditioning.condition", broken)
    test = upload(start("record"), "park.csv")
    assert case_of(store.open(job.head.id)).recordings[2].condition.gear == "park"
    assert "secret" not in words(test)


def test_a_second_taping_is_asked_for_where_two_were_made_alike_and_kept(start, job, store):
    assert not start("record").checkbox
    keep(store, job, "neutral-idle again.csv")
    test = start("record")
    (box,) = test.checkbox
    assert "taped on anew" in box.label
    box.check().run()
    conditions = [r.condition for r in case_of(store.open(job.head.id)).recordings]
    assert [c.taped_anew for c in conditions] == [False, False, True]


def test_the_same_file_is_not_taken_in_twice(start, job, store):
    """One recording under two names would count as two that bear each other out."""
    test = upload(start("record"), "b.csv")
    again = [("copy of b.csv", b"b.csv", "text/csv"), ("c.csv", b"c.csv", "text/csv")]
    test.file_uploader[0].set_value(again).run()
    assert [f.name for f in store.open(job.head.id).files[2:]] == ["b.csv", "c.csv"]
    assert "copy of b.csv is here already, as b.csv: left out." in words(test)


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


def test_how_each_was_made_is_said_before_the_way_on(start, job, store):
    kept = keep(store, job, "raised-idle.csv")
    case = case_of(kept)
    made_so = [replace(r, condition=replace(r.condition, gear="neutral")) for r in case.recordings[2:]]
    done = save_case(store, kept, replace(case, recordings=(*case.recordings[:2], *made_so)))
    assert "Others can still help" in words(start("record"))
    store.save(done, notes={"guessed": "raised-idle.csv\tBy its name: at raised idle."})
    text = words(start("record"))
    assert "All that this job needs is recorded. Now say below how each was made." in text
    assert "Others can still help" not in text


def test_a_second_press_takes_out_no_other_recording(start, job, store):
    test = start("record")
    label = "Take it out of the job"
    next(s for s in test.selectbox if s.label == "Which").set_value("neutral-idle.csv").run()
    press(test, label)
    assert next(b for b in test.button if b.label == label).disabled
    assert [r.file.name for r in case_of(store.open(job.head.id)).recordings] == ["drive-idle.csv"]


def test_a_guess_leaves_the_job_with_its_recording(start, job, store):
    test = upload(start("record"), "b.csv", "c.csv")
    next(s for s in test.selectbox if s.label == "Which").set_value("b.csv").run()
    press(test, "Take it out of the job")
    assert "How 1 recording was made is a guess." in words(test)
    next(s for s in test.selectbox if s.label == "Which").set_value("c.csv").run()
    press(test, "Take it out of the job")
    assert "is a guess" not in words(test)
    assert notes_of(store, job) == {}


def test_an_orphaned_guess_is_not_counted(start, job, store):
    store.save(job, notes={"guessed": "gone.csv\tBy its name."})
    for page in ("", "record"):
        assert "is a guess" not in words(start(page))


def test_what_is_left_unsaid_stands_beside_the_button_that_confirms(start, job):  # noqa: ARG001
    test = upload(start("record"), "b.csv")
    assert "Gear or speed is not said of b.csv" in words(test)
    button = next(b for b in test.button if b.label == "All is right as it stands")
    assert button.proto.type == "secondary"
    for part, said in (("gear", "park"), ("speed_hold", "idle")):
        next(s for s in test.selectbox if s.key.startswith(f"{part} b.csv")).set_value(said).run()
    assert "Gear or speed is not said" not in words(test)
    button = next(b for b in test.button if b.label == "All is right as it stands")
    assert button.proto.type == "primary"


@pytest.mark.parametrize(
    ("cylinders", "spec", "asked"),
    [(8, (1000.0, 1100.0), True), (8, (500.0, 550.0), True), (8, (650.0, 750.0), False), (8, None, False)],
)
def test_an_idle_far_from_the_makers_asks_for_the_cylinders(start, store, cylinders, spec, asked):
    """Made-up recordings read as 700 rpm."""
    job = new_job(store, "Van", Vehicle(Engine(cylinders), idle_spec_rpm=spec), Symptoms(), {})
    keep(store, job, "neutral idle.csv", "raised.csv")
    line = f"Idle reads 700 rpm. Is the number of cylinders ({cylinders}) right?"
    for page in ("record", "causes"):
        assert words(start(page)).count(line) == asked


@pytest.mark.parametrize("page", ["record", "causes"])
def test_another_engines_firing_order_asks_for_the_cylinders_once(start, job, store, monkeypatch, page):
    from tests.app import made
    from vibecore.firing import DOUBTED
    from vibecore.model import Warn

    def diagnose(_case, analyses):
        doubted = (Warn(DOUBTED, "So fires an engine of 3 cylinders."),)
        return made.diagnosis(*(replace(a, warnings=doubted) for a in analyses))

    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", diagnose)
    keep(store, store.open(job.head.id), "neutral idle.csv", "drive idle.csv")
    assert words(start(page)).count("So fires an engine of 3 cylinders.") == 1


def test_the_latest_picture_is_of_one_that_can_be_read_and_is_no_copy(start, job, store, monkeypatch):
    from tests.app import made
    from vibecore.model import Warn

    def diagnose(_case, analyses):
        copy = replace(analyses[-1], warnings=(Warn("same-contents", "Same contents as another."),))
        return made.diagnosis(*analyses[:-1], copy)

    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", diagnose)
    keep(store, store.open(job.head.id), "copy.csv", "bad.csv")
    assert "The latest: drive at idle" in words(start("record"))


QUESTION = "Was something mended before this one?"


def question_of(test):
    return [r for r in test.radio if QUESTION in r.label]


def mended(store, job, how):
    if how == "check":
        from vibecore.model import CheckOutcome

        case = replace(case_of(job), checks=(CheckOutcome("mount-look", "cracked"),))
        return save_case(store, job, case)
    if how == "note":
        return store.save(job, notes={"done": "New mount."})
    return job


@pytest.mark.parametrize("how", ["check", "note"])
def test_once_something_may_be_mended_the_stage_is_asked_for(start, job, store, how):
    mended(store, job, how)
    test = upload(start("record"), "b.csv", "neutral idle again.csv", "after drive.csv", "before drive.csv")
    assert [r.key.split()[1] for r in question_of(test)] == ["b.csv", "neutral"]  # the others' names tell
    press(test, "All is right as it stands")
    assert len(question_of(test)) == 2  # a question stays until it is answered
    assert "whether something was mended before" in words(start())
    question_of(test)[0].set_value("after").run()
    stages = {r.file.name: r.condition.stage for r in case_of(store.open(job.head.id)).recordings}
    assert stages["b.csv"] == "after"
    (left,) = question_of(test)
    left.set_value("before").run()
    assert not question_of(test)
    assert next(s for s in test.selectbox if s.key.startswith("stage b.csv")).value == "after"
    assert "asked" not in " ".join(notes_of(store, job))


def test_the_stage_is_not_asked_for_while_nothing_can_be_mended(start, job):  # noqa: ARG001
    assert not question_of(upload(start("record"), "b.csv"))


def test_the_taping_is_not_asked_for_before_the_stage(start, job, store):
    mended(store, job, "check")
    test = upload(start("record"), "neutral-idle again.csv")
    assert not test.checkbox
    question_of(test)[0].set_value("before").run()
    assert len(test.checkbox) == 1


def test_a_harmless_note_is_grey_and_nothing_to_mind(start, job, monkeypatch):  # noqa: ARG001 - the job is open
    from tests.app import made
    from vibecore.model import Warn

    def diagnose(_case, analyses):
        lost = (Warn("lost-samples", "12 samples are missing."),)
        few = [replace(a.recording, warnings=lost, lost_samples=12) for a in analyses]
        return made.diagnosis(*(replace(a, recording=r) for a, r in zip(analyses, few, strict=True)))

    monkeypatch.setattr("vibecore.pipeline.diagnose_analysed", diagnose)
    assert ":gray[12 samples are missing, in short gaps: that does no harm.]" in words(start("record"))
    text = words(start())
    assert "Good recording." in text
    assert "more to mind" not in text


def test_many_recordings_of_which_little_is_said_are_counted(start, job):  # noqa: ARG001 - the job is open
    test = upload(start("record"), *(f"{n}.csv" for n in "bcde"))
    assert "Gear or speed is not said of 4 recordings" in words(test)


def test_the_open_question_is_told_above_the_rows(start, job, store):
    mended(store, job, "note")
    text = words(upload(start("record"), "b.csv"))
    assert text.index("Of 1 recording it is not said whether") < text.index("neutral-idle.csv")


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

"""Recordings: how each was made is guessed, says why, and waits to be confirmed."""

from __future__ import annotations

from dataclasses import replace

from tests.app.pages import keep, notes_of, press, upload, words
from vibecore.jobs import case_of, save_case


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
    test = upload(start("record"), "b.csv", "lenkrad.csv")
    for name in ("b.csv", "lenkrad.csv"):
        next(s for s in test.selectbox if s.key.startswith(f"gear {name}")).set_value("reverse").run()
    text = words(test)
    assert text.count("Guessed. You have changed a part of it since.") == 1
    assert text.count("You have said a part of it.") == 1
    assert "How 2 recordings were made is a guess" in text
    press(test, "All is right as it stands")
    assert notes_of(store, job) == {}
    next(s for s in test.selectbox if s.key.startswith("gear b.csv")).set_value("drive").run()
    assert notes_of(store, job) == {}  # what was confirmed stays so


def test_what_nothing_tells_of_is_called_no_guess(start, job):  # noqa: ARG001 - the job is open
    test = upload(start("record"), "b.csv", "c.csv")
    assert "How 2 recordings were made is still to be said." in words(test)
    next(s for s in test.selectbox if s.key.startswith("gear b.csv")).set_value("park").run()
    assert "How 2 recordings were made is still to be said." in words(test)
    assert "uess" not in words(test)
    assert "still to be said" in words(start())


def test_a_fault_in_guessing_keeps_no_file_out(start, job, store, monkeypatch):
    def broken(*_args):
        raise ZeroDivisionError("secret inner words")

    monkeypatch.setattr("vibecore.conditioning.condition", broken)
    test = upload(start("record"), "park.csv")
    assert case_of(store.open(job.head.id)).recordings[2].condition.gear == "park"
    assert "secret" not in words(test)


def test_how_each_was_made_is_said_before_the_way_on(start, job, store):
    kept = keep(store, job, "raised-idle.csv")
    case = case_of(kept)
    made_so = [replace(r, condition=replace(r.condition, gear="neutral")) for r in case.recordings[2:]]
    done = save_case(store, kept, replace(case, recordings=(*case.recordings[:2], *made_so)))
    assert "Others can still help" in words(start("record"))
    store.save(done, notes={"guessed": "raised-idle.csv\tBy its name: at raised idle."})
    text = words(start("record"))
    assert "Next: **Say how each recording was made**. All that this job needs is recorded." in text
    assert "Others can still help" not in text


def test_a_guess_leaves_the_job_with_its_recording(start, job, store):
    test = upload(start("record"), "b.csv", "c.csv")
    next(s for s in test.selectbox if s.label == "Which").set_value("b.csv").run()
    press(test, "Take it out of the job")
    assert "How 1 recording was made is still to be said." in words(test)
    next(s for s in test.selectbox if s.label == "Which").set_value("c.csv").run()
    press(test, "Take it out of the job")
    assert "still to be said" not in words(test)
    assert notes_of(store, job) == {}


def test_an_orphaned_guess_is_not_counted(start, job, store):
    store.save(job, notes={"guessed": "gone.csv\tBy its name."})
    for page in ("", "record"):
        assert "is a guess" not in words(start(page))


def test_what_is_left_unsaid_stands_beside_the_button_that_confirms(start, job):  # noqa: ARG001
    test = upload(start("record"), "b.csv")
    assert "Gear or speed is not said for b.csv" in words(test)
    button = next(b for b in test.button if b.label == "All is right as it stands")
    assert button.proto.type == "secondary"
    for part, said in (("gear", "park"), ("speed_hold", "idle")):
        next(s for s in test.selectbox if s.key.startswith(f"{part} b.csv")).set_value(said).run()
    assert "Gear or speed is not said" not in words(test)
    button = next(b for b in test.button if b.label == "All is right as it stands")
    assert button.proto.type == "primary"


def test_many_recordings_of_which_little_is_said_are_counted(start, job):  # noqa: ARG001 - the job is open
    test = upload(start("record"), *(f"{n}.csv" for n in "bcde"))
    assert "Gear or speed is not said for 4 recordings" in words(test)

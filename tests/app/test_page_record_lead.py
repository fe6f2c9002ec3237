"""What the page of recordings begins with, and the way on from it."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from tests.app.pages import keep, mended, placed, press, upload, words
from vibecore.jobs import case_of, save_case

SAY = "Next: **Say how each recording was made**. Then it shows what is still missing. It is asked below."


def links(test):
    return [e.proto.label for e in test.get("page_link")]


def test_what_is_not_said_of_the_recordings_is_asked_before_another_is(start, job):  # noqa: ARG001
    """Who has just put in 'rec1.csv' at idle in neutral is not to be told to record that."""
    test = upload(start("record"), "rec1.csv", "rec2.csv")
    assert SAY in words(test)
    assert "Next: **Record: Neutral at raised idle**" not in words(test)
    press(test, "All is right as it stands")
    assert SAY not in words(test)
    assert "Next: **Record: Neutral at raised idle**" in words(test)


@pytest.mark.usefixtures("job")
def test_what_is_guessed_whole_does_not_hold_up_the_next(start):
    assert SAY not in words(upload(start("record"), "park idle.csv"))


def test_the_way_on_stands_below_what_was_confirmed(start, job, store):
    test = start("record")
    assert links(test) == ["To the causes"]  # though one is still missing
    kept = keep(store, store.open(job.head.id), "after drive idle.csv")
    assert links(start("record")) == []  # nobody said where the phone was
    placed(store, kept)
    assert links(start("record")) == ["Write the report"]


@pytest.mark.parametrize("names", [(), ("a.csv",), ("raised.csv",), ("after drive idle.csv",)])
@pytest.mark.parametrize("notes", [{}, {"done": "New mount."}, {"cannot": "fuel smell"}])
def test_the_next_step_is_the_same_on_every_page(start, job, store, names, notes):
    kept = keep(store, store.open(job.head.id), *names)
    store.save(kept, notes={**notes, "guessed": "".join(f"{n}\tNothing tells." for n in names)})
    told = {}
    for page in ("", "record", "causes"):
        shown = words(start(page))
        told[page] = re.findall(r"(?:Next: |Check next\n)\*\*(.*?)\*\*", shown)
        assert len(told[page]) == 1, page
    assert told[""] == told["record"] == told["causes"]


@pytest.mark.parametrize("how", ["check", "note"])
def test_who_has_mended_something_is_shown_how_to_record_after_it(start, job, store, how, monkeypatch):
    from tests.test_plan import with_mounts

    _, found = with_mounts(0.95, ())
    monkeypatch.setattr(
        "vibecore.pipeline.diagnose_analysed", lambda _case, analyses: replace(found, analyses=analyses)
    )
    assert "Next: **Record: Neutral at raised idle**" in words(start("record"))
    mended(store, job, how)
    start("causes")  # its results are at hand from here on
    text = words(start("record"))
    assert ("Then: **After the repair**" if how == "check" else "Next: **Record: After the repair**") in text
    assert "the helper's foot stays hard on the brake" in text
    assert text.index("Engine off: tape the phone where it was") < text.index("Put recordings in")


def test_two_of_which_nothing_is_known_are_no_two_tapings_of_one(start, job, store):
    assert not upload(start("record"), "b.csv", "c.csv").checkbox
    case = case_of(store.open(job.head.id))
    known = [
        replace(r, condition=replace(r.condition, gear="park", speed_hold="idle")) for r in case.recordings
    ]
    save_case(store, store.open(job.head.id), replace(case, recordings=(*case.recordings[:2], *known[2:])))
    assert len(start("record").checkbox) == 1


@pytest.mark.usefixtures("job")
def test_why_a_file_is_none_follows_its_name_as_a_sentence_does(start, monkeypatch):
    from vibecore.errors import ReadingError

    def refuse(_source, *, name=""):
        raise ReadingError(f"{name}, sheet 'Raw Data', holds no numbers.")

    monkeypatch.setattr("vibecore.reading.read_recording", refuse)
    assert "**a.csv**, sheet 'Raw Data', holds no numbers." in words(upload(start("record"), "a.csv"))


@pytest.mark.parametrize("page", ["record", "proof"])
@pytest.mark.parametrize(
    "state", ["fuel smell", "overheating", "belt damaged", "no ventilation", "brake weak"]
)
def test_no_recording_of_a_running_engine_is_explained_while_that_is_unsafe(start, job, store, page, state):
    """As with the checks that run it. Common practice, no source."""
    assert "Record one minute" in words(start(page))
    store.save(job, notes={"cannot": state})
    text = words(start(page))
    assert "Not now: " in text
    assert "take it back at the end of the page Causes" in text
    for step in ("Record one minute", "holds about 1,200", "hands off the wheel"):
        assert step not in text

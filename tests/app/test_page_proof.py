"""Proof of repair, and any two recordings over each other."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.app import made
from tests.app.pages import keep, words


def choose(test, label: str, name: str):
    return next(s for s in test.selectbox if s.label == label).set_value(name).run()


def test_proof_tells_the_verdict_or_how_to_get_one(start, job, store):
    assert "record again" in words(start("proof"))
    keep(store, store.open(job.head.id), "after drive idle.csv")
    text = words(start("proof"))
    assert "### Cured" in text
    assert "5.1 times weaker" in text


def test_the_comparison_begins_with_two_recordings_made_alike(start, job, store):
    keep(store, store.open(job.head.id), "after drive idle.csv")
    boxes = {s.label: s.value for s in start("proof").selectbox}
    assert boxes == {"First": "drive-idle.csv", "Second": "after drive idle.csv"}


@pytest.mark.usefixtures("job")
def test_two_made_differently_are_compared_without_a_verdict_on_a_repair(start):
    text = words(start("proof"))
    line = "None of the strong engine orders surely differs between the two."
    assert line in text
    assert text.index(line) < text.index("Two recordings over each other") < text.index("Each engine order")
    unlike = "Made differently: gear neutral, then drive."
    assert text.index(line) < text.index(unlike) < text.index("Two recordings over each other")
    assert "Save to print" in [b.label for b in start("proof").get("download_button")]


def test_before_and_after_have_their_verdict_on_top(start, job, store):
    keep(store, store.open(job.head.id), "after drive idle.csv")
    test = start("proof")
    (line,) = [i.value for i in test.info]
    assert line.startswith(("No change", "Cannot tell"))  # both are the same made-up shake


@pytest.mark.usefixtures("job")
def test_one_recording_twice_is_no_comparison(start):
    test = choose(start("proof"), "Second", "neutral-idle.csv")
    assert "Choose two different recordings." in words(test)


@pytest.mark.usefixtures("job")
def test_without_a_speed_there_is_nothing_to_lay_over(start, monkeypatch):
    monkeypatch.setattr(
        "vibecore.pipeline.diagnose_analysed",
        lambda _case, analyses: made.diagnosis(*(replace(a, speed=None, orders=None) for a in analyses)),
    )
    assert "Compare any two" not in words(start("proof"))


def test_a_proof_from_what_was_only_guessed_says_so(start, job, store):
    name = "after drive idle.csv"
    kept = keep(store, store.open(job.head.id), name)
    assert "still a guess" not in words(start("proof"))
    store.save(kept, notes={"guessed": f"{name}\tIts name says so."})
    assert "How these were made is still a guess" in words(start("proof"))

"""Causes: outcomes of checks, and checks that cannot be made."""

from __future__ import annotations

import pytest

from tests.app.pages import keep, press, words
from vibecore.jobs import case_of


def test_an_outcome_is_kept_and_can_be_undone(start, job, store):
    test = start("causes")
    outcome = next(b for b in test.button if "crack" in b.label)
    outcome.click().run()
    (check,) = case_of(store.open(job.head.id)).checks
    assert check.id == "mount-look"
    assert "Checks done" in words(test)
    assert "Nothing: every cause stands where it stood." in words(test)  # the made-up causes never move
    press(test, "Undo")
    assert case_of(store.open(job.head.id)).checks == ()


def test_a_check_that_cannot_be_made_gives_way_and_comes_back(start, job, store, planned):
    from vibecore.causes.load import catalogue

    first = next(c for c in (catalogue().check(p.id) for p in planned) if "helper" in c.skills)
    test = start("causes")
    assert first.name in words(test) + " ".join(e.label for e in test.expander)
    test.button(key=f"cannot {first.id} helper").click().run()
    assert store.open(job.head.id).notes["cannot"] == "helper"
    offered = {b.key.split()[1] for b in test.button if b.key and b.key.startswith("cannot ")}
    assert offered
    assert not [name for name in offered if "helper" in catalogue().check(name).skills]
    assert "No helper" in words(test)
    (other,) = sorted(offered)[:1]
    test.button(key=f"cannot {other} {other}").click().run()
    assert f"Skip: {catalogue().check(other).name}" in words(test)
    assert not [b for b in test.button if b.key and b.key.startswith(f"cannot {other} ")]
    test.button(key="take back helper").click().run()
    assert store.open(job.head.id).notes["cannot"] == other
    assert first.name in words(test) + " ".join(e.label for e in test.expander)


@pytest.mark.usefixtures("planned")
def test_what_is_unsafe_for_the_car_is_to_be_seen_to_first(start, job, store):
    store.save(job, notes={"cannot": "fuel smell\nno such word"})
    test = start("causes")
    first = test.warning[0].value.replace("\\", "")
    assert first == "Petrol can be smelt or seen: have that seen to before anything else."
    assert "Something went wrong" not in words(test)


def test_once_cured_no_check_is_asked_for(start, job, store):
    assert "Check next" in words(start("causes"))
    keep(store, store.open(job.head.id), "after drive idle.csv")
    text = words(start("causes"))
    assert "Check next" not in text
    assert "The repair is proven" in text


@pytest.mark.usefixtures("job")
def test_the_words_of_the_evidence_are_explained(start):
    """A level of 6 dB is a factor of two and 20 dB one of ten in amplitude (ISO 80000-8, to 0.3 %)."""
    text = words(start("causes"))
    assert "Order 2 comes twice a turn" in text
    assert "6 dB over is twice as strong, 20 dB ten times" in text

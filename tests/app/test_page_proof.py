"""Proof of repair, and any two recordings over each other."""

from __future__ import annotations

from tests.app.pages import keep, words


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

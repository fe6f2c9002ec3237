"""Recordings: before or after the mend, and taped on anew, asked for only where it can matter."""

from __future__ import annotations

import pytest

from tests.app.pages import keep, mended, notes_of, press, upload, words
from vibecore.jobs import case_of

QUESTION = "Was something mended before this one?"


def question_of(test):
    return [r for r in test.radio if QUESTION in r.label]


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


def test_the_open_question_is_told_above_the_rows(start, job, store):
    mended(store, job, "note")
    text = words(upload(start("record"), "b.csv"))
    assert text.index("For 1 recording it is not said whether") < text.index("neutral-idle.csv")


def test_a_second_taping_is_asked_for_where_two_were_made_alike_and_kept(start, job, store):
    assert not start("record").checkbox
    keep(store, job, "neutral-idle again.csv")
    test = start("record")
    (box,) = test.checkbox
    assert "taped on anew" in box.label
    box.check().run()
    conditions = [r.condition for r in case_of(store.open(job.head.id)).recordings]
    assert [c.taped_anew for c in conditions] == [False, False, True]

"""The list of jobs: start, search, copy, close, bin, bring in."""

from __future__ import annotations

import pytest

from tests.app.pages import press, words
from vibecore.jobs import case_of


def test_a_new_job_needs_its_cylinders_only(start, store):
    test = start("all-jobs")
    test.text_input[0].input("Red hatchback")
    press(test, "Start the job")
    assert "Say how many cylinders" in words(test)
    assert store.jobs() == ()
    test.number_input[0].set_value(3)
    press(test, "Start the job")
    (head,) = store.jobs()
    assert head.title == "Red hatchback"
    assert case_of(store.open(head.id)).vehicle.engine.firing_order == 1.5


def test_search_close_copy_bin_and_back(start, job, store):
    test = start("all-jobs")
    test.text_input[1].input("lorry").run()
    assert "No job fits" in words(test)
    test.text_input[1].input("van").run()
    press(test, "Close: the job is done")
    assert store.open(job.head.id).head.state == "closed"
    press(test, "Open again")
    press(test, "Put into the bin")
    assert store.jobs() == ()
    assert "Grey van is in the bin" in words(test)
    test.toggle[0].set_value(True).run()
    press(test, "Take out of the bin")
    assert store.open(job.head.id).head.state == "open"
    test = start("all-jobs")
    press(test, "Copy")
    assert sorted(h.title for h in store.jobs()) == ["Grey van", "Grey van (copy)"]


@pytest.mark.usefixtures("planned")
def test_a_new_job_lacks_the_same_tools_but_not_the_same_state(start, job, store):
    store.save(job, notes={"cannot": "fuel smell\nmount-look\ntorch"})
    test = start("all-jobs")
    test.number_input[0].set_value(4)
    press(test, "Start the job")
    (new,) = [h for h in store.jobs() if h.id != job.head.id]
    assert store.open(new.id).notes == {"cannot": "torch"}


@pytest.mark.usefixtures("job")
def test_a_zip_that_is_no_job_is_told_and_the_jobs_stay_in_sight(start):
    test = start("all-jobs")
    test.file_uploader[0].set_value(("holiday.zip", b"no zip", "application/zip")).run()
    assert "This is no zip file" in words(test)
    assert "Grey van" in words(test)


def test_a_broken_demo_keeps_nobody_from_their_jobs(start, tmp_path, monkeypatch):
    (tmp_path / "demo" / "one").mkdir(parents=True)
    (tmp_path / "demo" / "one" / "case.toml").write_text("[vehicle")
    monkeypatch.setattr("vibecore.places._find", lambda _name: tmp_path / "demo")
    assert "not a valid TOML file" in words(start("all-jobs"))
    assert "Start a new job" in [e.label for e in start("all-jobs").expander]

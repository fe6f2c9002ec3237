"""The list of jobs: start, search, copy, close, bin, bring in."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.app.pages import keep, press, turn_to, words
from vibecore.engine import Engine, Vehicle
from vibecore.jobs import INVENTED, case_of, new_job, save_case
from vibecore.model import CheckOutcome, Symptoms


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


def test_who_comes_from_a_demo_finds_the_form_open(start, store, job):
    """'Start with your own car' leads here, and that is what is pressed next."""

    def is_open(test):
        return next(e for e in test.expander if e.label == "Start a new job").proto.expanded

    assert not is_open(start("all-jobs"))
    store.save(job, notes={INVENTED: "yes"})
    test = start()  # on the demo's own page, where that link stands
    assert is_open(turn_to(test, "all-jobs"))


def test_which_job_is_open_once_the_open_one_is_in_the_bin_is_said(start, job, store):
    other = new_job(store, "Red estate", Vehicle(Engine(3)), Symptoms(), {})
    store.save(store.open(job.head.id), notes={"complaint": "Shakes."})  # changed last, so it is the open one
    test = start("all-jobs")
    test.button(key=f"bin {job.head.id}").click().run()
    assert "Grey van is in the bin. 'Show the bin' brings it back. Open now: Red estate." in words(test)
    assert "Red estate" in words(turn_to(test, ""))
    turn_to(test, "all-jobs")
    test.button(key=f"bin {other.head.id}").click().run()
    assert "Open now" not in words(test)


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
    assert "Open" in [b.label for b in test.button]  # it is in sight, and not an empty bin
    assert not test.toggle[0].value
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
    assert "'Save the whole job'" in words(test)
    assert "Grey van" in words(test)


def test_a_broken_demo_keeps_nobody_from_their_jobs(start, tmp_path, monkeypatch):
    (tmp_path / "demo" / "one").mkdir(parents=True)
    (tmp_path / "demo" / "one" / "case.toml").write_text("[vehicle")
    monkeypatch.setattr("vibecore.places._find", lambda _name: tmp_path / "demo")
    assert "not a valid TOML file" in words(start("all-jobs"))
    assert "Start a new job" in [e.label for e in start("all-jobs").expander]


def test_a_new_job_with_a_rare_number_of_cylinders_starts_and_asks(start, store):
    test = start("all-jobs")
    test.number_input[0].set_value(7)
    press(test, "Start the job")
    assert len(store.jobs()) == 1
    assert "7 cylinders are rare in a car. Make sure" in words(test)


def test_a_job_brought_in_beside_its_own_original_says_so(start, job, store):
    from vibecore.exchange import export_job

    pack = export_job(store, job, None, {})
    for _ in range(2):
        start("all-jobs").file_uploader[0].set_value(("van.zip", pack, "application/zip")).run()
    titles = sorted(h.title for h in store.jobs())
    assert titles == ["Grey van", "Grey van (brought in 2)", "Grey van (brought in)"]
    for head in store.jobs():
        assert case_of(store.open(head.id)).title == head.title


def test_a_job_brought_in_where_there_is_no_other_keeps_its_title(start, job, store):
    from vibecore.exchange import export_job

    pack = export_job(store, job, None, {})
    store.set_state(job.head.id, "bin")
    store.empty_bin()
    start("all-jobs").file_uploader[0].set_value(("van.zip", pack, "application/zip")).run()
    assert [h.title for h in store.jobs()] == ["Grey van"]


def test_each_job_says_how_far_it_is(start, job, store):
    assert "2 recordings, no check made, nothing after a repair yet" in words(start("all-jobs"))
    kept = keep(store, store.open(job.head.id), "after drive idle.csv")
    case = replace(case_of(kept), checks=(CheckOutcome("mount-look", "cracked"),))
    save_case(store, kept, case)
    assert "3 recordings, 1 check made, recorded after a repair" in words(start("all-jobs"))

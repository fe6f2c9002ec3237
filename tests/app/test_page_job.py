"""The job's own page: what to do first, with its caution, then the causes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.app import made
from tests.app.pages import keep, words


@pytest.mark.usefixtures("job")
def test_the_job_page_tells_what_to_do_first_then_the_causes(start):
    text = words(start())
    order = (
        "Grey van",
        "4 cylinders, automatic gearbox, fires twice a turn",
        "Likeliest: Engine mount",
        "Next:",
        "Causes",
        "Recordings",
        "Pictures",
    )
    places = [text.find(part) for part in order]
    assert places == sorted(places)
    assert places[0] >= 0
    assert "Engine mount collapsed**: 71 %" in text
    assert "Firing order is 9 dB up in gear." in text
    assert "Engine speed: 700 rpm" in text
    assert "Only 20 s long: record a minute." in text


def test_a_caution_stands_by_the_next_check(start, job, store):
    keep(store, store.open(job.head.id), "raised.csv")
    test = start()
    assert "Next: **Look at the mounts**" in words(test)
    assert [w.value.replace("\\", "") for w in test.warning] == ["Engine off, parking brake on."]


def test_many_cautions_are_each_named_in_a_few_words(start, job, store, monkeypatch):
    """Where the check is only spoken of; with its steps, where the work can hurt, they stand in full."""
    cautions = ("Hot parts burn: let them cool.", "Fuel under pressure: let it down.", "Nobody underneath.")
    plain = made.diagnosis
    check = replace(plain().next_checks[0], cautions=cautions)
    monkeypatch.setattr(made, "diagnosis", lambda *a, **k: replace(plain(*a, **k), next_checks=(check,)))
    keep(store, store.open(job.head.id), "raised.csv")
    (told,) = [w.value.replace("\\", "") for w in start().warning]
    named = ["- **Hot parts burn**", "- **Fuel under pressure**", "- Nobody underneath."]
    assert told.split("\n") == [*named, "", "Each stands in full with the steps."]
    full = next(w.value.replace("\\", "") for w in start("causes").warning if "Hot parts" in w.value)
    assert full.split("\n")[0] == "- **Hot parts burn**: let them cool."


@pytest.mark.usefixtures("job")
def test_an_address_of_a_job_that_is_not_here_says_so(start):
    test = start(job="not-a-job")
    text = words(test)
    assert "The job in this address is not kept on this computer." in text
    assert "Grey van" in text
    assert test.query_params["job"] != ["not-a-job"]


def test_a_job_in_the_bin_says_so_when_its_address_is_opened(start, job, store):
    store.set_state(job.head.id, "bin")
    text = words(start(job=job.head.id))
    assert "Grey van" in text
    assert "This job is in the bin." in text

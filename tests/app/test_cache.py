"""Results kept in memory: the same answer as without the cache, made again exactly when something changed.

Outside check: the uncached answer of the pipeline itself, over the demo job's own files.
"""

from __future__ import annotations

import sys
import threading
from dataclasses import replace

import pytest

from tests.app.conftest import APP
from vibecore import pipeline
from vibecore.jobs import case_of, save_case, seed
from vibecore.model import CheckOutcome
from vibecore.places import demo_folder
from vibecore.reading import read_recording
from vibecore.store import Store


@pytest.fixture
def cache(monkeypatch):
    monkeypatch.syspath_prepend(str(APP))
    monkeypatch.delitem(sys.modules, "cache", raising=False)
    import cache

    return cache


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path)


@pytest.fixture
def job(store):
    seed(store, demo_folder())
    return store.open("demo-mount-mended-and-proven")


def test_the_app_answers_as_the_command_line_does(cache, store, job):
    case = case_of(job)
    kept = cache.results(store, job, case).diagnosis
    pairs = []
    for item in case.recordings:
        data = store.read_file(job.head.id, item.file.name)
        pairs.append((read_recording(data, name=item.file.name), item.condition))
    fresh = pipeline.diagnose(case, pairs)
    assert kept.causes == fresh.causes
    assert kept.next_checks == fresh.next_checks
    assert kept.repair == fresh.repair


def test_a_job_brought_in_elsewhere_gives_equal_answers(cache, store, job, tmp_path):
    """To the last digit, not as shown: what was said to be lacking travels with it too."""
    from vibecore.exchange import export_job, import_job

    job = store.save(job, notes={**job.notes, "cannot": "torch"})
    here = cache.results(store, job, case_of(job))
    pack = export_job(store, job, here.diagnosis, here.unread)
    other = Store(tmp_path / "other")
    back = import_job(other, pack)
    for memo in (cache._RECORDINGS, cache._ANALYSES, cache._RESULTS):
        memo._kept.clear()  # as on another machine
    there = cache.results(other, back, case_of(back))
    assert there is not here
    for part in ("causes", "next_checks", "repair", "notes"):
        assert getattr(there.diagnosis, part) == getattr(here.diagnosis, part)
    assert [a.overall for a in there.diagnosis.analyses] == [a.overall for a in here.diagnosis.analyses]
    assert back.notes["cannot"] == "torch"


def test_only_what_changed_is_made_again(cache, store, job, monkeypatch):
    analysed, judged = [], []
    analyze, diagnose = pipeline.analyze, pipeline.diagnose_analysed
    monkeypatch.setattr(pipeline, "analyze", lambda *a, **k: analysed.append(a[0].name) or analyze(*a, **k))
    monkeypatch.setattr(pipeline, "diagnose_analysed", lambda *a: judged.append(1) or diagnose(*a))
    monkeypatch.setattr(pipeline, "settle", lambda _vehicle, analyses: tuple(analyses))
    case = case_of(job)
    first = cache.results(store, job, case)
    assert cache.results(store, job, case) is first
    assert (len(analysed), len(judged)) == (5, 1)
    cache.results(store, job, replace(case, title="Other title"))
    assert len(judged) == 1
    checked = replace(case, checks=(CheckOutcome("mount-look", "cracked"),))
    cache.results(store, save_case(store, job, checked), checked)
    assert (len(analysed), len(judged)) == (5, 2)  # an outcome ranks again, and reads nothing again
    one = case.recordings[0]
    parked = (replace(one, condition=replace(one.condition, gear="park")), *case.recordings[1:])
    cache.results(store, job, replace(case, recordings=parked))
    assert (len(analysed), len(judged)) == (6, 3)
    assert analysed[-1] == one.file.name


class Stopped(BaseException):
    pass


def stop_at(words, told):
    """What tells the steps, and stops at the first that begins with these words."""

    def say(text):
        told.append(text)
        if text.startswith(words):
            raise Stopped

    return say


def test_work_that_was_stopped_goes_on_where_it_was(cache, store, job, monkeypatch):
    read, told = [], []

    def reading(data, *, name):
        read.append(name)
        return read_recording(data, name=name)

    monkeypatch.setattr("vibecore.reading.read_recording", reading)
    with pytest.raises(Stopped):
        cache.results(store, job, case_of(job), stop_at("Reading 3 of 5", told))
    assert told[0] == "Reading 1 of 5: neutral-idle.csv"
    assert not cache.at_hand(job, case_of(job))
    cache.results(store, job, case_of(job))
    assert len(read) == len({*read}) == 5


def test_one_long_recording_is_stopped_half_way(cache, store, job, monkeypatch):
    found, told = [], []
    find = pipeline.find_speed
    monkeypatch.setattr(pipeline, "find_speed", lambda *a: found.append(1) or find(*a))
    with pytest.raises(Stopped):
        cache.results(
            store, job, case_of(job), stop_at("Reading 1 of 5: neutral-idle.csv: the engine's", told)
        )
    assert not found
    assert [text.removeprefix(told[0]) for text in told[:2]] == ["", ": gravity out, knocks out"]
    cache.results(store, job, case_of(job), told.append)
    assert told[-1] == "Weighing the causes"


def test_a_memo_holds_no_more_than_it_may_and_forgets_the_oldest(cache):
    memo = cache.Memo(2)
    for key in ("a", "b", "a", "c"):
        memo.get(key, lambda key=key: key.upper())
    assert [key in memo for key in "abc"] == [True, False, True]
    threads = [threading.Thread(target=memo.get, args=(str(n), lambda: 1)) for n in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sum(str(n) in memo for n in range(20)) <= 2

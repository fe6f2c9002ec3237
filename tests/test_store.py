"""Jobs on disk: what a finished call promised is there, byte for byte, whatever happens after.

Outside checks: bytes are compared with hashlib (standard library) over the file itself; the database is read
back with sqlite3 (standard library), not with the store.
"""

from __future__ import annotations

import hashlib
import sqlite3
import threading

import pytest

from vibecore.errors import StoreError
from vibecore.store import NewFile, NewJob, StaleEdit, Store, blobs, data_folder, keep, schema

CASE = "[vehicle]\ncylinders = 4\n"


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "data")


def test_a_job_comes_back_as_it_was_kept_from_another_store(store):
    data = bytes(range(256)) * 100
    job = store.new("Grey van", CASE, {"complaint": "shakes at the lights"}, [NewFile("idle.csv", data)])
    again = Store(store.folder).open(job.head.id)
    assert again == job
    assert again.notes["complaint"] == "shakes at the lights"
    assert Store(store.folder).read_file(job.head.id, "idle.csv") == data
    (blob,) = (store.folder / "files").glob("??/*")
    assert blob.name == hashlib.sha256(blob.read_bytes()).hexdigest() == job.files[0].digest


def test_first_jobs_come_all_or_none_and_only_where_there_is_no_other(store, monkeypatch):
    jobs = [NewJob(name, CASE, files=[NewFile("a.csv", name.encode())], id=name) for name in ("one", "two")]
    put = blobs.put

    def full_at_the_second(folder, data):
        if data == b"two":
            raise OSError(28, "No space left on device")
        return put(folder, data)

    monkeypatch.setattr(blobs, "put", full_at_the_second)
    with pytest.raises(StoreError, match="full"):
        store.begin_with(jobs)
    assert store.jobs() == ()
    monkeypatch.undo()
    assert store.begin_with(jobs)
    assert [head.id for head in store.jobs()] == ["two", "one"]  # the last kept is the latest
    for job in jobs:
        store.set_state(job.id, "bin")
    assert not store.begin_with([NewJob("three", CASE)])
    assert len(store.jobs(states=["bin"])) == 2


def test_the_later_of_two_edits_is_told_and_the_first_stays(store):
    job = store.new("Van", CASE)
    first = store.save(job, title="Van, first window")
    with pytest.raises(StaleEdit, match="another window"):
        store.save(job, title="Van, second window")
    assert store.open(job.head.id).head.title == "Van, first window"
    assert store.save(first, title="Again").head.revision == first.head.revision + 1


def test_two_processes_saving_at_once_lose_nothing_that_was_accepted(store):
    job = store.new("Van", CASE)
    accepted, lock = [], threading.Lock()

    def edit(number):
        mine = Store(store.folder)
        for step in range(10):
            name = f"{number}-{step}.csv"
            while True:
                try:
                    mine.save(mine.open(job.head.id), add=[NewFile(name, name.encode())])
                except StaleEdit:
                    continue
                with lock:
                    accepted.append(name)
                break

    threads = [threading.Thread(target=edit, args=(n,)) for n in range(3)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    kept = store.open(job.head.id)
    assert sorted(f.name for f in kept.files) == sorted(accepted)
    assert len(accepted) == 30
    assert kept.head.revision == 31


def test_search_close_copy_and_bin(store):
    van = store.new("Grey van", CASE, {"complaint": "buzzing wheel"}, [NewFile("a.csv", b"1")])
    store.new("Red hatchback", CASE)
    assert [j.title for j in store.jobs("BUZZING van")] == ["Grey van"]
    assert store.jobs("lorry") == ()
    copy = store.copy(van, "Grey van again")
    assert store.read_file(copy.head.id, "a.csv") == b"1"
    store.set_state(van.head.id, "closed")
    assert {j.title: j.state for j in store.jobs()} == {
        "Grey van": "closed",
        "Grey van again": "open",
        "Red hatchback": "open",
    }
    store.set_state(van.head.id, "bin")
    assert "Grey van" not in [j.title for j in store.jobs()]
    assert [j.title for j in store.jobs(states=["bin"])] == ["Grey van"]
    assert store.set_state(van.head.id, "open").head.state == "open"


@pytest.mark.parametrize("text", ["broken [ case", f"n = {'1' * 5000}", f"n = {'[' * 5000}"])
def test_a_copy_of_a_case_that_is_no_case_has_its_text_as_it_is(store, text):
    copy = store.copy(store.new("Van", text), "Van (copy)")
    assert (copy.head.title, copy.case_text) == ("Van (copy)", text)


def test_a_full_disk_is_told_and_nothing_of_the_save_stays(store, monkeypatch):
    job = store.new("Van", CASE, files=[NewFile("a.csv", b"1")])

    def full(_handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(blobs.os, "fsync", full)
    with pytest.raises(StoreError, match="full: this change was not saved"):
        store.save(job, title="Other", add=[NewFile("b.csv", b"2")])
    monkeypatch.undo()
    assert store.open(job.head.id) == job
    assert not list((store.folder / "files").glob("??/*.part"))


def test_a_job_holds_no_more_than_could_be_brought_in_again(store, monkeypatch):
    monkeypatch.setattr(keep, "MAX_JOB_BYTES", 10)
    job = store.new("Van", CASE, files=[NewFile("a.csv", b"123456")])
    with pytest.raises(StoreError, match="more than a job may hold"):
        store.save(job, title="Other", add=[NewFile("b.csv", b"12345")])
    assert store.open(job.head.id) == job
    job = store.save(job, add=[NewFile("b.csv", b"1234")])
    monkeypatch.setattr(keep, "MAX_JOB_BYTES", 5)  # one kept when more was allowed
    assert store.save(job, title="Other").head.title == "Other"
    assert len(store.save(store.open(job.head.id), remove=["a.csv"], add=[NewFile("c.csv", b"1")]).files) == 2


def test_damaged_or_missing_original_is_named(store):
    job = store.new("Van", CASE, files=[NewFile("a.csv", b"12345")])
    (blob,) = (store.folder / "files").glob("??/*")
    blob.write_bytes(b"12346")
    with pytest.raises(StoreError, match=r"a\.csv.*damaged"):
        store.read_file(job.head.id, "a.csv")
    blob.unlink()
    with pytest.raises(StoreError, match=r"a\.csv.*cannot be read"):
        store.read_file(job.head.id, "a.csv")
    store.save(job, add=[NewFile("a.csv", b"12345")])  # the same bytes again mend the first one too
    assert store.read_file(job.head.id, "a.csv") == b"12345"


def test_an_unreadable_database_is_kept_aside_and_told(tmp_path):
    (tmp_path / "jobs.sqlite").write_bytes(b"this is not a database at all, not even nearly\n" * 50)
    store = Store(tmp_path)
    assert "jobs-unreadable.sqlite" in store.notices[0]
    assert (tmp_path / "jobs-unreadable.sqlite").read_bytes().startswith(b"this is not")
    assert store.jobs() == ()
    store.new("Works", CASE)


def test_a_database_with_a_bad_page_in_it_is_kept_aside_too(tmp_path):
    """Its head is whole, so that it opens; SQLite's own pages are 4096 bytes (sqlite.org, file format)."""
    store = Store(tmp_path)
    for number in range(40):
        store.new(f"Van {number}", CASE, {"complaint": "x" * 2000})
    whole = (tmp_path / "jobs.sqlite").read_bytes()
    assert len(whole) > 10 * 4096
    (tmp_path / "jobs.sqlite").write_bytes(whole[: 2 * 4096] + b"\xee" * 4096 + whole[3 * 4096 :])
    again = Store(tmp_path)
    assert "jobs-unreadable.sqlite" in again.notices[0]
    assert again.jobs() == ()
    assert Store(tmp_path).notices == ()


def test_a_database_that_cannot_grow_is_told_as_a_full_disk(store, monkeypatch):
    """Outside check: SQLite's own 'database or disk is full', brought about by PRAGMA max_page_count."""
    job = store.new("Van", CASE)
    connect = sqlite3.connect

    def small(*args, **options):
        con = connect(*args, **options)
        con.execute("PRAGMA max_page_count=1")  # the smallest it can be: as large as it is now
        return con

    monkeypatch.setattr(sqlite3, "connect", small)
    with pytest.raises(StoreError, match="full: this change was not saved"):
        store.save(job, notes={"complaint": "x" * 100_000})
    monkeypatch.undo()
    assert store.open(job.head.id) == job


def test_an_older_form_is_backed_up_then_brought_up(tmp_path, monkeypatch):
    old = Store(tmp_path)
    job = old.new("Van", CASE)
    later = (*schema.MIGRATIONS, ("ALTER TABLE job ADD COLUMN colour TEXT DEFAULT 'grey'",))
    monkeypatch.setattr(schema, "MIGRATIONS", later)
    assert Store(tmp_path).open(job.head.id).head.title == "Van"
    (backup,) = (tmp_path / "backups").iterdir()
    for path, columns in ((backup, False), (tmp_path / "jobs.sqlite", True)):
        with sqlite3.connect(path) as con:
            names = [row[1] for row in con.execute("PRAGMA table_info(job)")]
            assert ("colour" in names) is columns
            assert con.execute("SELECT title FROM job").fetchall() == [("Van",)]
    monkeypatch.undo()
    with pytest.raises(StoreError, match="newer vibecore"):
        Store(tmp_path)


def test_a_migration_that_fails_leaves_the_old_database(tmp_path, monkeypatch):
    job = Store(tmp_path).new("Van", CASE)
    broken = (*schema.MIGRATIONS, ("ALTER TABLE job ADD COLUMN colour TEXT", "NOT SQL"))
    monkeypatch.setattr(schema, "MIGRATIONS", broken)
    with pytest.raises(StoreError):
        Store(tmp_path)
    monkeypatch.undo()
    assert Store(tmp_path).open(job.head.id) == job


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "in-the-way").write_text("a file")
    with pytest.raises(StoreError, match="--data"):
        Store(tmp_path / "in-the-way")


def test_the_environment_names_the_folder(monkeypatch, tmp_path):
    monkeypatch.setenv("VIBECORE_DATA", str(tmp_path))
    assert data_folder() == tmp_path
    monkeypatch.delenv("VIBECORE_DATA")
    assert data_folder().name == "vibecore"

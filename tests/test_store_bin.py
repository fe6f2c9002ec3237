"""Emptying the bin removes what nobody needs any more, and nothing else.

Outside check: the bytes that are left are read from the folder itself, not with the store.
"""

from __future__ import annotations

import functools
import hashlib
import sqlite3

import pytest

from vibecore.errors import StoreError
from vibecore.store import NewFile, Store, schema

CASE = "[vehicle]\ncylinders = 4\n"


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "data")


def test_emptying_the_bin_removes_only_what_no_other_job_has(store):
    shared, own = b"shared", b"own"
    gone = store.new("Gone", CASE, files=[NewFile("s.csv", shared), NewFile("o.csv", own)])
    stays = store.new("Stays", CASE, files=[NewFile("s.csv", shared)])
    store.set_state(gone.head.id, "bin")
    assert store.empty_bin() == 1
    assert store.read_file(stays.head.id, "s.csv") == shared
    names = {p.name for p in (store.folder / "files").glob("??/*")}
    assert names == {hashlib.sha256(shared).hexdigest()}
    with pytest.raises(StoreError, match="not here"):
        store.open(gone.head.id)


def test_emptying_the_bin_keeps_the_originals_of_a_list_that_was_set_aside(tmp_path):
    """The list that cannot be read may be mended one day: its files must still be there."""
    Store(tmp_path).new("Lost", CASE, files=[NewFile("a.csv", b"original")])
    (tmp_path / "jobs.sqlite").write_bytes(b"this is not a database at all, not even nearly\n" * 50)
    store = Store(tmp_path)
    assert "as long as" in store.notices[0]
    binned(store, b"binned")
    assert store.empty_bin() == 1
    assert blob_bytes(store) == {b"original", b"binned"}
    (tmp_path / "jobs-unreadable.sqlite").unlink()
    binned(store, b"more")
    store.empty_bin()
    assert blob_bytes(store) == set()


def test_emptying_the_bin_keeps_the_originals_of_a_backup(store):
    binned(store, b"binned")
    schema._backup(store.database, 0)
    assert store.empty_bin() == 1
    assert blob_bytes(store) == {b"binned"}


def test_no_file_is_removed_when_emptying_the_bin_cannot_be_kept(store, monkeypatch):
    """The last word, COMMIT, fails as on a full disk: the jobs are in the bin still, files and all."""
    binned(store, b"binned")

    class FullAtTheEnd(sqlite3.Connection):
        def execute(self, sql, *values):
            if sql == "COMMIT":
                raise sqlite3.OperationalError("database or disk is full")
            return super().execute(sql, *values)

    monkeypatch.setattr(sqlite3, "connect", functools.partial(sqlite3.connect, factory=FullAtTheEnd))
    with pytest.raises(StoreError):
        store.empty_bin()
    monkeypatch.undo()
    (head,) = store.jobs(states=["bin"])
    assert store.read_file(head.id, "a.csv") == b"binned"


def binned(store, data):
    store.set_state(store.new("Gone", CASE, files=[NewFile("a.csv", data)]).head.id, "bin")


def blob_bytes(store):
    return {path.read_bytes() for path in (store.folder / "files").glob("??/*")}

"""A full disk on the pages: told in a sentence, nothing half kept, and what was put in is kept once there is
room. Outside checks: the errors for it of the system, ENOSPC (POSIX), and of SQLite, by max_page_count."""

from __future__ import annotations

import errno
import os
import sqlite3

import pytest

from tests.app.pages import area, press, words
from vibecore.store import blobs, keep

TOLD = "is full: this change was not saved, what was saved before is safe."


@pytest.fixture
def full(monkeypatch):
    """The disk is full until this is called."""

    connect = sqlite3.connect

    def no_room(_handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def cannot_grow(*args, **options):
        con = connect(*args, **options)
        con.execute("PRAGMA max_page_count=1")
        return con

    with monkeypatch.context() as patched:
        patched.setattr(blobs.os, "fsync", no_room)
        patched.setattr(keep.sqlite3, "connect", cannot_grow)
        yield patched.undo


def test_an_upload_onto_a_full_disk_is_told_and_comes_in_once_there_is_room(start, job, store, full):
    test = start("record")
    test.file_uploader[0].set_value([("third.csv", b"1", "text/csv")]).run()
    assert TOLD in words(test)
    assert store.open(job.head.id) == job
    full()
    test.run()
    assert [f.name for f in store.open(job.head.id).files][-1] == "third.csv"
    assert TOLD not in words(test)


def test_what_was_typed_on_a_full_disk_is_told_and_kept_once_there_is_room(start, job, store, full):
    test = start("car")
    area(test, "What the customer says").input("Shakes. " * 240)
    area(test, "Last services and parts").input("Plugs. " * 280).run()  # over a page of the database
    assert words(test).count(TOLD) == 1  # the first still fitted
    assert "services" not in store.open(job.head.id).notes
    press(test, "Save")
    assert "Saved." not in words(test)
    full()
    test.run()
    kept = store.open(job.head.id).notes
    assert kept["complaint"].startswith("Shakes.")
    assert kept["services"].startswith("Plugs.")
    assert TOLD not in words(test)

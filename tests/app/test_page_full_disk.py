"""A full disk on the pages: told in a sentence, nothing half kept, and what was put in is kept once there is
room. Outside check: the system's own error for it, ENOSPC (POSIX)."""

from __future__ import annotations

import errno
import os

import pytest

from tests.app.pages import area, words
from vibecore.store import blobs, keep

TOLD = "is full: this change was not saved, what was saved before is safe."


@pytest.fixture
def full(monkeypatch):
    """The disk is full until this is called."""

    def no_room(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr(blobs.os, "fsync", no_room)
        patched.setattr(keep.json, "dumps", no_room)  # stands for the database's own write
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
    area(test, "What the customer says").input("Shakes").run()
    assert TOLD in words(test)
    assert store.open(job.head.id) == job
    full()
    test.run()
    assert store.open(job.head.id).notes["complaint"] == "Shakes"
    assert TOLD not in words(test)

"""What a window holds, whenever Streamlit breaks a run off."""

from __future__ import annotations

import importlib
from dataclasses import replace

import pytest
import streamlit as st

from tests.app.conftest import APP
from vibecore.engine import Engine, Vehicle
from vibecore.jobs import case_of, new_job
from vibecore.model import Symptoms
from vibecore.store import Store


class BrokenOff(BaseException):
    """As Streamlit's own: no error, and so not caught as one."""


class Session(dict):
    """A session that breaks the run off at any touch, once the next run is asked for. (Streamlit 1.67 does so
    in every way into it but `to_dict`.)"""

    broken_off = False

    def __getitem__(self, key):
        if self.broken_off:
            raise BrokenOff
        return super().__getitem__(key)

    def setdefault(self, key, value):
        if self.broken_off:
            raise BrokenOff
        return super().setdefault(key, value)

    get = __setitem__ = None

    def to_dict(self):
        return dict(self)


@pytest.fixture
def boxes(monkeypatch):
    monkeypatch.syspath_prepend(str(APP))
    return importlib.import_module("boxes")


@pytest.fixture
def state(boxes):
    return boxes.state


@pytest.fixture
def session(monkeypatch):
    session = Session()
    monkeypatch.setattr(st, "session_state", session)
    return session


@pytest.fixture
def kept(tmp_path, monkeypatch, state):
    store = Store(tmp_path)
    monkeypatch.setattr(state, "store", lambda: store)
    return store


@pytest.fixture
def job(kept):
    return new_job(kept, "Grey van", Vehicle(Engine(4)), Symptoms(), {})


def put(case, notes, said):
    return replace(case, title=said), notes


def test_what_was_kept_is_held_though_the_run_is_broken_off(session, state, job):
    window = state.window()
    session.broken_off = True
    window.hold(job)
    session.broken_off = False
    assert state.window().job is job


def test_a_box_is_kept_though_the_run_is_broken_off(session, boxes, state, kept, job):
    window = state.window()
    window.hold(job)
    session.update({"title": "Red van"})
    session.broken_off = True
    boxes._keep(window, "title", put)
    assert case_of(kept.open(job.head.id)).title == case_of(window.job).title == "Red van"
    assert not window.unkept


def test_a_fault_in_keeping_is_told_in_a_sentence_and_gone_once_it_is_kept(session, boxes, state, job):
    def broken(_case, _notes, _said):
        raise ZeroDivisionError("secret inner words")

    window = state.window()
    window.hold(job)
    session.update({"title": "Red van"})
    boxes._keep(window, "title", broken)
    assert window.unkept == {"title": boxes.FAULT}
    boxes._keep(window, "title", put)
    assert not window.unkept

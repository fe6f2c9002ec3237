"""What a window holds, whenever Streamlit breaks a run off."""

from __future__ import annotations

import pytest
import streamlit as st

from app import state


class BrokenOff(BaseException):
    """As Streamlit's own: no error, and so not caught as one."""


class Session(dict):
    """A session that breaks the run off at its first touch, as for a page that is to be drawn anew."""

    touched = 0

    def __setitem__(self, key, value):
        self.touched += 1
        if self.touched == 1:
            raise BrokenOff
        super().__setitem__(key, value)


def test_what_was_kept_is_held_though_the_run_is_broken_off(monkeypatch):
    session = Session()
    monkeypatch.setattr(st, "session_state", session)
    kept = object()
    with pytest.raises(BrokenOff):
        state.hold(kept)
    assert session[state.JOB] is kept

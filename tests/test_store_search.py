"""Searching jobs: what people wrote is found, in any script.

Outside check: the rows are read and written with sqlite3 and json (standard library), not with the store.
"""

from __future__ import annotations

import json
import sqlite3

import pytest

from vibecore.store import Store

CASE = "[vehicle]\ncylinders = 4\n"


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "data")


def test_search_finds_what_was_written_in_any_script_and_no_names_of_keys(store):
    text = '[symptoms]\ncodes = ["P0301"]\n[[recording]]\nfile = "Straße.csv"\ntaped_anew = true\n'
    job = store.new("Grey van", text, {"complaint": 'Herr Müller: "шум"'})
    for found in ("MÜLLER grey", "шум", 'r: "', "p0301", "STRASSE"):
        assert [head.id for head in store.jobs(found)] == [job.head.id]
    for key in ("complaint", "symptoms", "codes", "taped_anew", "true", "[["):
        assert store.jobs(key) == ()


def test_search_reads_rows_of_an_older_form_and_cases_that_are_no_case(store):
    """Written with sqlite3 itself: notes used to be kept with their letters escaped (JSON, RFC 8259)."""
    store.save(store.new("Van", "broken [ case"), title="Van")
    with sqlite3.connect(store.database) as con:
        con.execute("UPDATE job SET notes=?", (json.dumps({"complaint": "Müller"}),))
        assert "u00fc" in con.execute("SELECT notes FROM job").fetchone()[0]
    assert len(store.jobs("müller broken")) == 1
    assert store.jobs("u00fc") == ()


def test_notes_with_half_a_character_are_kept_and_told_as_unknown(store):
    """A lone surrogate is no text that can be written as UTF-8 (Unicode standard, section 3.9)."""
    assert store.new("Van", CASE, {"complaint": "a\ud800b"}).notes == {"complaint": "a?b"}

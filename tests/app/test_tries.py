"""What was tried is kept in the job's notes, line by line, and comes back from a zip."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.trying.test_taps import recorded
from vibecore.causes.load import catalogue
from vibecore.engine import Engine, Vehicle
from vibecore.exchange import export_job, import_job
from vibecore.jobs import new_job
from vibecore.model import Symptoms
from vibecore.store import NewFile, Store
from vibecore.trying.kinds import kind_of, kinds

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "app"))
import tries
from tries import Trial

SECONDS = st.floats(0, 5000).map(lambda x: round(x, 1))
NAMES = st.text(st.characters(categories=["L", "N", "Z"], exclude_characters="\t\n\r"), min_size=1)


@given(st.lists(st.builds(Trial, NAMES, SECONDS, st.none() | SECONDS, st.sampled_from(["cleaner", "other"]))))
def test_notes_give_back_what_they_were_given(trials):
    notes = tries.notes_with({"customer": "A. Nother"}, trials)
    assert tries.trials_of(notes) == tuple(trials)
    assert notes["customer"] == "A. Nother"


def test_a_line_that_is_none_is_passed_over():
    notes = {tries.NOTE: "a.csv\t15\t30\tcleaner\nb.csv\tsoon\t\tother\nc.csv\t15"}
    assert [t.name for t in tries.trials_of(notes)] == ["a.csv"]


def test_what_was_tried_comes_back_from_a_zip(tmp_path):
    store, other = Store(tmp_path / "one"), Store(tmp_path / "other")
    notes = tries.notes_with({}, [Trial("squirt.csv", 15.0, 30.0, "cleaner")])
    job = new_job(store, "Grey van", Vehicle(Engine(4), "manual"), Symptoms(), notes)
    job = store.save(job, add=[NewFile("squirt.csv", b"1,2,3\n", tries.WHY_ASIDE)])
    back = import_job(other, export_job(store, job, None, {}))
    (trial,) = tries.trials_of(back.notes)
    assert other.read_file(back.head.id, trial.name) == b"1,2,3\n"


@pytest.mark.parametrize("kind", kinds(), ids=lambda kind: kind.id)
def test_every_kind_says_what_either_outcome_means_and_has_its_cautions(kind):
    assert kind.meaning("noticed")
    assert kind.meaning("not noticed")
    assert kind.meaning("cannot tell") == ""
    if kind.check is not None:
        check = catalogue().check(kind.check)
        assert check.engine == "running"
        assert {"running", "fan", "hot", "manual"} <= set(check.cautions)


def test_a_kind_that_is_not_known_is_something_else():
    assert kind_of("no such thing").id == "other"


def test_the_moments_are_those_of_the_taps():
    """Taps near an end are the hand that starts and stops it."""
    begun, undone = tries.moments(recorded((1.0, 15.3, 31.7)))
    assert (begun, undone) == pytest.approx((15.3, 31.7), abs=0.2)
    begun, undone = tries.moments(recorded((15.3,)))
    assert begun == pytest.approx(15.3, abs=0.2)
    assert undone is None
    assert tries.moments(recorded()) == pytest.approx((16.0, 32.0), abs=0.1)

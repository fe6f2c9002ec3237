"""The same recording given twice is no proof of anything: it is told, counted once, and gets no verdict.

Logic, and what a person expects; common practice, no source.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from tests.repair_made import AFTER, FOUR, SOUND, WHEEL, made, scaled
from vibecore import diagnose, load_case, read_recording, repair
from vibecore.cli import cli
from vibecore.copies import copies, same_contents
from vibecore.model import Analysis, Condition

DEMO = Path(__file__).resolve().parents[1] / "recordings" / "mount-mended-and-proven"
BEFORE = DEMO / "neutral-idle.csv"


def _held(analysis: Analysis, digest: str, seed: int = 0) -> Analysis:
    """With samples of its own, as if read from a file."""
    accel = np.random.default_rng(seed).normal(0, 1, (64, 3))
    return replace(analysis, recording=replace(analysis.recording, accel_m_s2=accel, digest=digest))


def test_one_file_before_and_after_has_no_verdict() -> None:
    before, after = _held(made(SOUND, name="b.csv"), "1"), _held(made(SOUND, AFTER, name="a.csv"), "1")
    got = repair.compare(before, after, engine=FOUR)
    assert got.verdict == "cannot-tell"
    assert "a.csv has the same contents as b.csv" in got.why
    assert got.change_db is None


def test_the_same_samples_in_another_wrapping_have_none_either() -> None:
    before, after = _held(made(SOUND), "1"), _held(made(SOUND, AFTER), "2")
    assert repair.compare(before, after, engine=FOUR).verdict == "cannot-tell"
    other = _held(made(SOUND, AFTER), "2", seed=1)
    assert repair.compare(before, other, engine=FOUR).verdict == "unchanged"


def test_records_without_a_file_behind_them_are_not_taken_for_copies() -> None:
    assert not same_contents(made(SOUND).recording, made(SOUND, AFTER).recording)
    read, made_up = _held(made(SOUND), "1").recording, _held(made(SOUND), "").recording
    assert not same_contents(read, made_up)
    assert not same_contents(made_up, read)


def test_the_other_pair_of_a_job_speaks_where_one_is_a_copy() -> None:
    job = [
        _held(made(SOUND | {2.0: 1.2}, WHEEL, name="b"), "1"),
        _held(made(SOUND | {2.0: 1.2}, AFTER, name="copy"), "1"),
        _held(made(scaled(0.5, (2.0,)), AFTER, name="a"), "3", seed=3),
    ]
    got = repair.repair_of_job(job, FOUR)
    assert got is not None
    assert got.verdict == "cured"
    assert copies([a.recording for a in job]) == {1: 0}


def test_side_by_side_says_so() -> None:
    first = _held(made(SOUND, name="x"), "1")
    got = repair.side_by_side(first, _held(made(SOUND, name="y"), "1"), FOUR)
    assert got.repair is None
    assert got.headline.startswith("y has the same contents as x")
    proof = repair.side_by_side(first, _held(made(SOUND, AFTER, name="y"), "1"), FOUR)
    assert proof.repair is not None
    assert proof.repair.verdict == "cannot-tell"
    assert proof.headline == got.headline


@pytest.mark.parametrize("stage", ["before", "after"])
def test_a_copy_in_a_case_is_told_and_counts_once(stage: str) -> None:
    case = load_case(DEMO / "case.toml")
    first = read_recording(BEFORE)
    copy = replace(first, name="copy.csv")
    idle = next(r.condition for r in case.recordings if r.file.name == BEFORE.name)
    again = replace(idle, stage=stage)
    alone, twice = diagnose(case, [(first, idle)]), diagnose(case, [(first, idle), (copy, again)])
    assert [c.probability for c in twice.causes] == [c.probability for c in alone.causes]
    told = [[w for w in a.warnings if w.code == "same-contents"] for a in twice.analyses]
    assert told[0] == []
    assert BEFORE.name in told[1][0].message
    assert alone.repair is None
    assert (twice.repair is None) == (stage == "before")
    if twice.repair is not None:
        assert twice.repair.verdict == "cannot-tell"
        assert "same contents" in twice.repair.why


def test_compare_at_the_command_line_tells_it(tmp_path: Path) -> None:
    copy = tmp_path / "after.csv"
    shutil.copy(BEFORE, copy)
    done = CliRunner().invoke(cli, ["compare", str(BEFORE), str(copy), "--cylinders", "4", "--json"])
    assert done.exit_code == 0
    found = json.loads(done.stdout)
    assert found["repair"]["verdict"] == "cannot-tell"
    codes = [[w["code"] for w in r["recording"]["warnings"]] for r in found["recordings"]]
    assert "same-contents" not in codes[0]
    assert "same-contents" in codes[1]


def test_what_the_condition_is_does_not_matter() -> None:
    """One file as neutral and as drive: one of the two is not true."""
    first = read_recording(BEFORE)
    case = load_case(DEMO / "case.toml")
    pairs = [(first, Condition(gear=gear, speed_hold="idle")) for gear in ("neutral", "drive")]
    found = diagnose(case, pairs)
    assert [c.probability for c in found.causes] == [c.probability for c in diagnose(case, pairs[:1]).causes]

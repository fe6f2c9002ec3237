"""Jobs with several recordings after a repair: the last of its kind counts, and one that is still bad forbids
'cured'. What a verdict means is the contract's; the levels are invented."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.repair_made import AFTER, FOUR, SOUND, WHEEL, made, scaled
from vibecore import repair
from vibecore.terminal import repair_lines
from vibecore.words import customer_change

BAD = SOUND | {2.0: 1.2, 4.0: 0.3}
NEUTRAL = replace(WHEEL, gear="neutral")
AFTER_NEUTRAL = replace(NEUTRAL, stage="after")


def proof(*job):
    got = repair.repair_of_job(job, FOUR, cause_id="engine-mount")
    assert got is not None
    return got


@pytest.mark.parametrize(("levels", "verdict"), [((BAD, SOUND), "cured"), ((SOUND, BAD), "unchanged")])
def test_the_last_visit_counts(levels, verdict):
    first, last = levels
    job = [made(BAD, name="b"), made(first, AFTER, name="a1"), made(last, AFTER, name="a2")]
    assert proof(*job).verdict == verdict


def test_a_tachometer_reading_makes_no_other_kind_of_recording():
    read = replace(AFTER, tachometer_rpm=710.0)
    job = [made(BAD, name="b"), made(BAD, AFTER, name="a1"), made(SOUND, read, name="a2")]
    assert proof(*job).verdict == "cured"


def test_cured_in_neutral_but_not_in_gear_is_not_cured():
    worse_in_neutral = scaled(3.0, (2.0, 4.0)) | {2.0: 1.5}
    job = [
        made(worse_in_neutral, NEUTRAL, name="neutral"),
        made(BAD, name="drive"),
        made(SOUND, AFTER_NEUTRAL, name="neutral-after"),
        made(BAD, AFTER, name="drive-after"),
    ]
    got = proof(*job)
    assert got.verdict == "improved"
    assert "But in drive at idle it is not: unchanged" in got.why
    assert "More of it is left than most sound cars show" in customer_change(got)


def test_what_never_shook_in_neutral_does_not_forbid_it():
    job = [
        made(SOUND, NEUTRAL, name="neutral"),
        made(BAD, name="drive"),
        made(SOUND, AFTER_NEUTRAL, name="neutral-after"),
        made(SOUND, AFTER, name="drive-after"),
    ]
    assert proof(*job).verdict == "cured"


def test_a_pair_that_cannot_be_compared_is_not_dropped_without_a_word():
    reverse = replace(AFTER, gear="reverse")
    job = [made(BAD, name="b"), made(SOUND, AFTER, name="a1"), made(SOUND, reverse, name="a2")]
    got = proof(*job)
    assert got.verdict == "cured"
    (note,) = [n for n in got.notes if n.startswith("Not compared")]
    assert "drive at idle against reverse at idle after the repair" in note
    assert "record both in the same gear" in note
    assert note in " ".join(map(str.strip, repair_lines(got)))


def test_neither_is_the_second_where_none_can_be_compared():
    park, neutral = replace(WHEEL, gear="park"), replace(AFTER, gear="neutral", speed_hold="raised")
    job = [made(BAD, park, name="b"), made(SOUND, AFTER, name="a1"), made(SOUND, neutral, name="a2")]
    got = proof(*job)
    assert got.verdict == "cannot-tell"
    assert sum("Not compared" in n for n in got.notes) == 1

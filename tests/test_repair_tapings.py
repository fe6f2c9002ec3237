"""What taping the phone on anew does, measured on the car itself, and that the proof of repair uses it.

Outside check: coverage is counted on tapings drawn from the normal distribution, as a statistician would, not
by the formula that the project uses.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.repair_made import AFTER, FOUR, SOUND, WHEEL, made
from vibecore import repair

AGAIN = replace(WHEEL, taped_anew=True)


def taped(factor_db: float, condition=WHEEL, **how):
    """The same car with the phone taped on so that all it hears is this much louder."""
    return made({o: v * 10 ** (factor_db / 20) for o, v in SOUND.items()}, condition, error=0.01, **how)


def from_two(first, again) -> float | None:
    found = repair.measured_placing([first, again])
    return None if found is None else found.sd_db


@pytest.mark.parametrize(("sd_db", "least", "most"), [(0.5, 0.97, 1.0), (1.0, 0.95, 1.0), (1.5, 0.90, 0.98)])
def test_intervals_from_one_pair_hold_what_taping_again_does(sd_db, least, most):
    rng = np.random.default_rng(5)
    moved = rng.normal(0, sd_db, 400)
    measured = np.array([from_two(taped(0), taped(db, AGAIN)) for db in moved])
    once_more = rng.normal(0, sd_db, (100, 400))
    inside = np.abs(once_more) < 1.96 * measured
    assert least <= inside.mean() <= most


def test_a_pair_that_shows_more_than_usual_widens_and_one_that_agrees_narrows():
    usual = repair.DEFAULT_PLACING_DB
    assert from_two(taped(0), taped(4.0, AGAIN)) > usual
    assert 0.8 * usual < from_two(taped(0), taped(0.0, AGAIN)) < usual
    assert from_two(taped(0), made(SOUND, AGAIN, rpm=2000)) is None


def job(*extra):
    fault = made(SOUND | {2.0: 1.2}, WHEEL, name="before", error=0.01)
    return [fault, *extra, made(SOUND, AFTER, name="after", error=0.01)]


def width(found) -> float:
    return found.high_db - found.low_db


def test_the_proof_uses_it_and_says_so():
    plain = repair.repair_of_job(job(), FOUR, cause_id="engine-mount")
    agreeing = made(SOUND | {2.0: 1.2}, AGAIN, name="again", error=0.01)
    surer = repair.repair_of_job(job(agreeing), FOUR, cause_id="engine-mount")
    assert width(surer) < 0.9 * width(plain)
    assert any("measured with before and again: about 15 % (1.2 dB)" in note for note in surer.notes)
    apart = made({o: v * 1.6 for o, v in (SOUND | {2.0: 1.2}).items()}, AGAIN, name="again", error=0.01)
    assert width(repair.repair_of_job(job(apart), FOUR, cause_id="engine-mount")) > 1.2 * width(plain)


def test_two_recordings_made_alike_are_no_two_tapings_unless_somebody_says_so():
    again = made(SOUND | {2.0: 1.2}, WHEEL, name="again", error=0.01)
    assert repair.measured_placing(job(again)) is None


@pytest.mark.parametrize(
    "condition",
    [
        replace(AGAIN, gear="neutral"),
        replace(AGAIN, place="seat"),
        replace(AGAIN, stage="after"),
        replace(AGAIN, accessories=("lights",)),
    ],
)
def test_only_a_recording_made_in_the_same_way_is_the_first_taping(condition):
    assert repair.measured_placing([taped(0), taped(1.0, condition)]) is None


def test_the_same_file_twice_is_no_second_taping():
    first, again = taped(0), taped(0, AGAIN)
    first, again = (replace(a, recording=replace(a.recording, digest="same")) for a in (first, again))
    assert repair.measured_placing([first, again]) is None


def test_more_pairs_weigh_more():
    three = [taped(0), taped(4.0, AGAIN, name="b"), taped(0.0, AGAIN, name="c")]
    found = repair.measured_placing(three)
    assert len(found.pairs) == 2
    assert found.sd_db > repair.measured_placing(three[:2]).sd_db

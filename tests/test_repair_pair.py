"""Any two recordings of a job side by side: what it comes to in one line, and a verdict only where it is due.

Outside check: levels are put together by hand, so the ratio of each order is known exactly.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.repair_made import AFTER, FOUR, SOUND, WHEEL, made, scaled
from vibecore import repair
from vibecore.model import OrderLevel, RankedCause

RANKED = (RankedCause("rotating-imbalance", "Imbalance", 0.5), RankedCause("engine-mount", "Mount", 0.4))
NEUTRAL = replace(WHEEL, gear="neutral")


def pair(first, second, **how):
    return repair.side_by_side(first, second, FOUR, **how)


def test_neutral_and_in_gear_are_compared_without_a_verdict():
    got = pair(made(SOUND, NEUTRAL, name="n"), made(scaled(12.0, (2.0,)), WHEEL, name="d"))
    assert got.repair is None
    assert got.headline.startswith("In drive at idle the firing order 2 is 4.0 times as strong (+12.0 dB, +")
    assert any("gear neutral, then drive" in note for note in got.notes)
    by_order = {c.order: c.change_db for c in got.changes}
    assert by_order[2.0] == pytest.approx(12.0, abs=0.1)
    assert by_order[4.0] == pytest.approx(0.0, abs=0.1)


def test_nothing_sure_is_said_to_be_so():
    got = pair(made(SOUND, NEUTRAL), made(scaled(1.0, (2.0,)), NEUTRAL))
    assert got.headline == "None of the strong engine orders surely differs between the two."


def test_weak_orders_are_not_named():
    got = pair(made(SOUND, NEUTRAL), made(scaled(8.0, (3.5,)), NEUTRAL))
    assert "3.5" not in got.headline


def test_before_and_after_get_the_verdict_that_the_job_gets():
    job = [made(SOUND | {2.0: 1.2}, WHEEL, name="b"), made(SOUND, AFTER, name="a")]
    got = pair(*job, job=job, ranked=RANKED)
    whole = repair.repair_by_suspects(job, FOUR, RANKED)
    assert got.repair == whole
    assert got.repair.verdict == "cured"
    assert got.headline == whole.why


def test_before_and_after_that_cannot_be_compared_get_none():
    got = pair(made(SOUND, NEUTRAL), made(SOUND, AFTER))
    assert got.repair is None


def test_two_sides_of_a_mount_give_its_isolation():
    """20 dB: a tenth of the acceleration."""
    engine_side = made(SOUND, replace(WHEEL, place="engine"))
    body_side = made({o: v / 10 for o, v in SOUND.items()}, replace(WHEEL, place="body"))
    held = "At the firing order the body side shakes 10 times weaker than the engine side (-20.0 dB, "
    assert held in pair(engine_side, body_side).headline
    assert held in pair(body_side, engine_side).headline  # whichever comes first


def test_two_sides_given_as_before_and_after_are_no_repair_and_give_the_isolation():
    """What the app tells of the two sides, and how to come by it where the firing order is not known."""
    engine_side = made(SOUND, replace(WHEEL, place="engine"))
    body_side = made({o: v / 10 for o, v in SOUND.items()}, replace(AFTER, place="body"))
    for sides in ((engine_side, body_side), (body_side, engine_side)):
        got = repair.before_and_after(*sides, FOUR)
        assert got.verdict == "cannot-tell"
        assert "use the same place twice" in got.why
        assert got.notes[0] == pair(*sides).headline
        assert "Say how many cylinders" in repair.before_and_after(*sides, None).notes[0]
    seat = [made(SOUND, replace(how, place="seat")) for how in (WHEEL, AFTER)]
    assert repair.before_and_after(*seat, FOUR) == repair.compare(*seat, engine=FOUR)


def test_the_interval_is_as_wide_as_taping_on_this_car():
    again = replace(NEUTRAL, taped_anew=True)
    apart = {o: v * 10 ** (5 / 20) for o, v in SOUND.items()}
    job = [made(SOUND, NEUTRAL, name="n"), made(apart, again, name="again"), made(SOUND, WHEEL, name="d")]
    usual, measured = pair(job[0], job[2]).changes[3], pair(job[0], job[2], job=job).changes[3]
    assert measured.high_db - measured.low_db > 1.3 * (usual.high_db - usual.low_db)


def test_an_order_that_is_not_there_changes_by_no_endless_figure():
    """What is not over the floor has an upper end: the ratio of the two cannot be told to be more than it."""
    first, second = made(SOUND, NEUTRAL), made(SOUND, WHEEL)
    none = OrderLevel(3.0, 35.0, 0.0, 0.0, 0.005, -1.0, 0.02, True)
    levels = tuple(none if lv.order == 3.0 else lv for lv in first.orders.levels)
    first = replace(first, orders=replace(first.orders, levels=levels))
    got = next(c for c in pair(first, second).changes if c.order == 3.0)
    assert np.abs([got.change_db, got.low_db, got.high_db]).max() < 40


def test_notes_name_the_two_and_not_a_repair():
    got = pair(made(SOUND, NEUTRAL, rpm=700), made(SOUND, NEUTRAL, rpm=760))
    assert any("700 rpm in the first and 760 in the second" in note for note in got.notes)


def test_with_the_engine_off_the_whole_shake_is_told():
    """Two recordings of known rms: 0.1 m/s2 on one order, and nothing that turns."""
    running = made({2.0: 0.1}, NEUTRAL)
    off = replace(made({2.0: 0.01}, replace(NEUTRAL, speed_hold="engine off")), speed=None, orders=None)
    got = pair(running, off)
    assert (
        "0.100 m/s2 in neutral at idle and 0.0100 m/s2 in the recording with the engine off" in got.headline
    )
    assert got.repair is None
    assert got.changes == ()

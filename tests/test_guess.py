"""How a recording was made, guessed from what it holds, and why.

Outside checks: a real phone's recording of a driven car, where it lies beside the project; simulated cars,
of which it is known whether the engine ran; directions put together by hand.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from vibecore.engine import Engine
from vibecore.guess import guess, guess_condition, held_by_name, place_by_name
from vibecore.model import Condition, Recording
from vibecore.reading import read_recording
from vibecore.simulate import Wanted, simulate_job, write_job
from vibecore.simulate.felt import Plan
from vibecore.simulate.phone import Phone

DRIVE_THROUGH_TOWN = Path(__file__).resolve().parents[2] / "shared" / "samples" / "moving-car-phone-104hz.csv"
PLAN = (Plan("first", "neutral", "idle"), Plan("second", "neutral", "engine off"))
NOTHING = "Nothing in it stands over the phone's own noise"


def lying(name: str, gravity: tuple[float, float, float], sway: float = 0.0) -> Recording:
    """A running engine felt by a phone that lies like this (any length); sway: slow changes, m/s2."""
    rng = np.random.default_rng(len(name))
    t_s = np.arange(3000) / 100
    shake = 0.3 * np.sin(2 * np.pi * 23 * t_s)[:, None] * [0.2, 0.4, 1.0]
    slow = sway * np.repeat(rng.standard_normal((10, 3)), 300, axis=0)
    down = 9.81 * np.array(gravity) / np.linalg.norm(gravity)
    accel = down + shake + slow + rng.normal(0, 0.01, (3000, 3))
    return Recording(name, t_s, accel, 100.0, True, 3000, 0)


@pytest.fixture(scope="module")
def recordings(tmp_path_factory) -> list[Recording]:
    job = simulate_job("normal", Wanted(Engine(4), plan=PLAN, phone=Phone(), duration_s=15.0), seed=11)
    folder = write_job(job, tmp_path_factory.mktemp("car"), layout="plain").parent
    return [read_recording(folder / f"{p.name}.csv", name=f"{p.name}.csv") for p in PLAN]


def test_an_engine_that_is_off_is_told_from_one_that_runs(recordings):
    running, off = (guess(r) for r in recordings)
    assert running.condition == Condition()
    assert running.reasons == ()
    assert off.condition == Condition(speed_hold="engine off")
    assert off.reasons == (f"{NOTHING}: engine off.",)


def test_a_name_that_says_otherwise_is_kept_and_asked_about(recordings):
    found = guess(replace(recordings[1], name="neutral idle.csv"))
    assert found.condition.speed_hold == "idle"
    assert found.reasons == ("By its name: neutral at idle.", f"{NOTHING}: was the engine off?")
    said = guess(replace(recordings[1], name="engine off.csv"))
    assert said.reasons == ("By its name: with the engine off.",)


def test_a_gear_in_the_name_is_enough_to_ask(recordings):
    """Whoever names the gear had the engine running: it is asked about, not taken for one that is off."""
    found = guess(replace(recordings[1], name="D.csv"))
    assert found.condition.speed_hold is None
    assert found.reasons[-1] == f"{NOTHING}: was the engine off?"


def test_a_file_too_coarse_to_tell_is_not_called_engine_off(recordings):
    coarse = replace(recordings[1], accel_m_s2=np.round(recordings[1].accel_m_s2 / 0.1) * 0.1)
    assert guess(coarse).condition.speed_hold is None


@pytest.mark.skipif(not DRIVE_THROUGH_TOWN.is_file(), reason="no samples beside the project")
def test_a_real_drive_is_seen_to_move():
    found = guess(read_recording(DRIVE_THROUGH_TOWN, name="a.csv"))
    assert (found.condition.gear, found.condition.speed_hold) == ("drive", "raised")
    assert found.reasons == ("It speeds up, slows down or turns all the time: a moving car.",)


def test_slow_changes_all_the_time_are_a_moving_car_and_one_slip_is_none():
    assert guess(lying("a", (0, 0, 1), sway=0.5)).condition.speed_hold == "raised"
    still = lying("a", (0, 0, 1))
    slipped = still.accel_m_s2 + np.where(np.arange(3000) > 1500, 0.8, 0.0)[:, None] * [1, 0, 0]
    assert guess(replace(still, accel_m_s2=slipped)).condition.speed_hold is None


TILTED = (0.3, 0.6, 0.74)


@pytest.mark.parametrize(
    ("gravity", "place"),
    [
        (TILTED, "seat"),
        ((0.33, 0.6, 0.74), "seat"),  # 2 degrees off
        ((0.6, 0.6, 0.5), None),  # another way round
        (tuple(-v for v in TILTED), None),  # upside down
    ],
)
def test_a_phone_that_lay_the_same_way_lay_in_the_same_place(gravity, place):
    found = guess(lying("new.csv", gravity), [(lying("old.csv", TILTED), "seat")])
    assert found.condition.place == place
    assert found.reasons == (("The phone lay as in old.csv: on the seat.",) if place else ())


def test_a_flat_phone_or_two_places_tell_nothing():
    flat, tilted = lying("flat.csv", (0, 0.05, 1)), lying("old.csv", TILTED)
    assert guess(lying("new.csv", (0, 0.05, 1)), [(flat, "seat")]).condition.place is None
    assert guess(lying("new.csv", TILTED), [(tilted, "seat"), (tilted, "floor")]).condition.place is None
    assert guess(lying("floor.csv", TILTED), [(tilted, "seat")]).condition.place == "floor"
    without = replace(tilted, gravity_included=False)
    assert guess(lying("new.csv", TILTED), [(without, "seat")]).condition.place is None


@pytest.mark.parametrize(
    ("name", "gear", "hold"),
    [
        ("neutral-idle.csv", "neutral", "idle"),
        ("after_drive-idle.json", "drive", "idle"),
        ("RaisedIdle.csv", None, "raised"),
        ("high idle.csv", None, "raised"),
        ("sweep up.csv", None, "sweep"),
        ("drive.csv", None, None),  # may be a drive
        ("highlands.csv", None, None),
        ("engine-off.csv", None, None),  # a wrong word would leave the speed unread
        ("recording 7.csv", None, None),
    ],
)
def test_only_plain_words_in_a_name_bear_on_the_speed(name, gear, hold):
    assert held_by_name(name) == Condition(gear=gear, speed_hold=hold)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("driver seat idle.csv", Condition("seat", None, "idle")),
        ("afternoon neutral idle.csv", Condition(None, "neutral", "idle")),
        ("unmended idle.csv", Condition(speed_hold="idle")),
        ("idle abandoned.csv", Condition(speed_hold="idle")),
        ("highway.csv", Condition()),
        ("High Street idle.csv", Condition(speed_hold="idle")),
        ("not fixed idle.csv", Condition(speed_hold="idle")),
        ("seat after lunch.csv", Condition("seat")),
        ("front wheel idle.csv", Condition(speed_hold="idle")),
        ("freeway.csv", Condition()),
        ("seattle.csv", Condition()),
        ("breakfast.csv", Condition()),
        ("climb idle.csv", Condition(speed_hold="idle")),
        ("parking lot.csv", Condition()),
        ("rev up neutral.csv", Condition(None, "neutral", "sweep")),
    ],
)
def test_a_word_inside_another_tells_nothing(name, expected):
    assert guess_condition(name) == expected


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("seat_drive-idle.2.csv", Condition("seat", "drive", "idle")),
        ("idle2neutral.csv", Condition(None, "neutral", "idle")),
        ("idle1500rpm.csv", Condition(None, None, "raised", "before", 1500.0)),
        ("NeutralIdleACOn.csv", Condition(None, "neutral", "idle", accessories=("air conditioning",))),
        ("afterRepairDIdle.csv", Condition(None, "drive", "idle", "after")),
        ("AprèsRalenti.csv", Condition(None, None, "idle", "after")),
        ("Lenkradhalter Leerlauf.csv", Condition("steering wheel", "neutral", "idle")),
        ("Fahrersitz Rückwärtsgang.csv", Condition("seat", "reverse")),
        ("steeringwheel.csv", Condition("steering wheel")),
        ("driverseat idle.csv", Condition("seat", None, "idle")),
        ("r1.csv", Condition()),  # a number, no gear
        ("rev2 idle.csv", Condition(speed_hold="idle")),
        ("3 p.m. idle.csv", Condition(speed_hold="idle")),
    ],
)
def test_words_of_a_name_may_be_joined(name, expected):
    assert guess_condition(name) == expected


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("14.03.2026 leerlauf neutral.csv", Condition(None, "neutral", "idle")),
        ("2026.03.14 idle drive.csv", Condition(None, "drive", "idle")),
        ("off.CSV.gz", Condition(speed_hold="engine off")),
        ("v1.2 park", Condition(None, "park", "idle")),
    ],
)
def test_points_in_a_name_are_no_ending(name, expected):
    assert guess_condition(name) == expected


@pytest.mark.parametrize(
    ("name", "place"),
    [
        ("engine-side.csv", "engine"),
        ("mount/body_side.csv", "body"),
        ("before-seat.csv", "seat"),
        ("before.csv", None),
    ],
)
def test_the_place_alone_in_a_name(name, place):
    assert place_by_name(name) == place

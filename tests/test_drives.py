"""A recording in gear whose hold nobody told: held at idle, or a drive? What tells is common practice, no
source: nobody revs against the brake. What moves with the wheels is plain kinematics."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.repair_made import SOUND, WHEEL, made
from tests.speed.closed_form import Crank
from tests.speed.engines import FOUR, codes, found, heard, sure
from vibecore import drives
from vibecore.case import case_from_text
from vibecore.evidence.scene import scene_of
from vibecore.model import Condition, Signal, Symptoms

UNSAID = Condition(gear="drive")
WHEEL_HZ = 80 / 3.6 / (2 * np.pi * 0.31)  # at 80 km/h on a wheel of 0.31 m
AXLE_RATIO = 2.5  # of the engine's turns to the wheel's, all gears together: a long top gear
ON_ROAD = Crank(AXLE_RATIO * WHEEL_HZ, 24.0, swing_hz=0.2, period_s=5.0)
# Wheels out of round and balance: the wheel's own multiples, which are multiples of 0.4 engine orders.
WHEELS = {k / AXLE_RATIO: v for k, v in ((1, 0.6), (2, 0.3), (3, 0.2), (4, 0.15), (5, 0.1))}


def lying(fs_hz: float = 50.0, sway: float = 0.0) -> Signal:
    """Half a minute, with `sway` (m/s2) of slow speeding up and braking."""
    t_s = np.arange(30 * fs_hz) / fs_hz
    accel = np.outer(sway * np.sin(2 * np.pi * t_s / 9), [1.0, 0.0, 0.0])
    accel += np.random.default_rng(1).normal(0, 0.02, accel.shape)
    return Signal(fs_hz, 0.0, accel, np.ones(len(t_s), bool), (0.0, 30.0), True, 0.0)


@pytest.mark.parametrize(
    ("condition", "sway", "drive"),
    [
        (UNSAID, 0.0, False),
        (UNSAID, 0.5, True),
        (replace(UNSAID, tachometer_rpm=2050.0), 0.0, True),
        (replace(UNSAID, tachometer_rpm=800.0), 0.0, False),
        (replace(UNSAID, speed_hold="idle"), 0.5, False),
        (Condition(gear="neutral", tachometer_rpm=2050.0), 0.0, False),
        # Of what nobody said a word on, only that the car is felt to move makes a drive.
        (Condition(), 0.5, True),
        (Condition(), 0.0, False),
        (Condition(tachometer_rpm=2050.0), 0.5, True),
        (Condition(tachometer_rpm=2050.0), 0.0, False),
        (Condition(tachometer_rpm=800.0), 0.5, False),
        (Condition(place="engine"), 0.5, False),
        (Condition(gear="neutral"), 0.5, False),
    ],
)
def test_a_fast_engine_or_a_car_that_speeds_up_and_slows_down_is_a_drive(
    condition: Condition, sway: float, drive: bool
) -> None:
    assert drives.is_drive(condition, lying(sway=sway)) is drive


@pytest.mark.parametrize(
    ("says", "drive"),
    [
        (("moving",), True),
        (("Moving", "warm"), True),
        (("moving", "in gear"), False),
        (("moving", "neutral"), False),
        ((), False),
    ],
)
def test_who_complains_of_the_road_records_there(says: tuple[str, ...], drive: bool) -> None:
    assert drives.may_be_drive("a.csv", None, Symptoms(shakes_when=says)) is drive
    text = f"[vehicle]\ncylinders = 4\n[symptoms]\nshakes_when = {list(says)}\n"
    text += '[[recording]]\nfile = "a.csv"\ngear = "drive"\n[[recording]]\nfile = "b.csv"\ngear = "drive"\n'
    text += 'speed_hold = "idle"\n[[recording]]\nfile = "c.csv"\ngear = "drive"\nengine_speed_rpm = 680\n'
    text += '[[recording]]\nfile = "drive_idle.csv"\ngear = "drive"\n[[recording]]\nfile = "d.csv"\n'
    case = case_from_text(text, Path("case.toml"))
    # Held at idle: said so, read so, or called so; and no gear said.
    assert [r.condition.on_road for r in case.recordings] == [drive, False, False, False, False]


def test_a_drive_is_no_idle_in_gear_and_it_is_told() -> None:
    """Without its speed, too, its levels are not held against what sound cars show at idle."""
    road = replace(made(SOUND, replace(WHEEL, speed_hold=None, driven=True)), speed=None, orders=None)
    assert scene_of([made(SOUND), road]).role("road") == (road,)
    assert drives.told(road.condition) == (drives.TAKEN_IN_GEAR,)
    assert drives.told(replace(road.condition, speed_hold="raised")) == ()
    unsaid = replace(road, condition=replace(road.condition, gear=None))
    assert scene_of([made(SOUND), unsaid]).role("road") == (unsaid,)
    assert drives.told(unsaid.condition) == (drives.TAKEN_MOVING,)
    assert not replace(road.condition, gear="neutral").on_road


def test_wheels_are_not_taken_for_the_engine() -> None:
    """Their multiples fit an engine as well as its own orders do, and nothing but the tachometer tells: the
    wheel's are orders 0.4, 0.8, 1.2 and so on of the engine, and 0.5, 1, 1.5 of one a fifth slower."""
    sound = heard(WHEELS | {2.0: 0.03}, ON_ROAD)
    condition = replace(UNSAID, driven=True)
    assert found(sound, FOUR, condition) is None
    assert "speed-undecided" in codes(sound, FOUR, condition)
    high = replace(condition, tachometer_rpm=1.3 * sound.mean_rpm)
    assert found(sound, FOUR, high) is None  # a reading that fits nothing is not said to be wrong, either


def test_on_the_road_a_reading_that_the_orders_bear_out_serves() -> None:
    sound = heard({0.5: 0.02, 1.0: 0.05, 2.0: 0.3, 4.0: 0.1}, ON_ROAD)
    condition = replace(UNSAID, driven=True, tachometer_rpm=round(sound.mean_rpm, -2))
    assert sure(sound, FOUR, condition).mean_rpm == pytest.approx(sound.mean_rpm, rel=1e-3)

"""Lines that other recordings show to be none of the engine's. Truth by formula: a crank that turns faster at
a raised idle takes all its orders along in proportion, a motor of its own keeps its hertz."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.speed.closed_form import Crank, as_recording, noise, shake
from vibecore.engine import Engine, Vehicle
from vibecore.model import Analysis, Condition, Line
from vibecore.pipeline import analyze, settle
from vibecore.speed.standing import Read, standing_hz, without

EIGHT = Engine(8)
IDLE = Condition("seat", "neutral", "idle")
RAISED, OFF = replace(IDLE, speed_hold="raised"), replace(IDLE, speed_hold="engine off")
FAN_HZ = 36.9  # the firing order of 553 rpm


def _recorded(mean_hz: float, condition: Condition, fan_rms: float, seed: int) -> Analysis:
    """An eight-cylinder that hardly shakes; beside it a fan."""
    t_s = np.arange(6000) / 200.0
    orders = {4.0: 0.008} if mean_hz else {}
    angle = Crank(mean_hz, 30.0, swing_hz=0.05).angle_rev(t_s)
    fan = fan_rms * np.sqrt(2) * np.cos(2 * np.pi * FAN_HZ * t_s + seed)
    accel = shake(angle, orders, seed=seed) + noise(6000, 0.03, seed=seed) + fan[:, None] * [0.6, 0.0, 0.8]
    return analyze(as_recording(t_s, accel, 200.0), EIGHT, condition)


@pytest.mark.parametrize("other", [RAISED, OFF], ids=["raised idle", "engine off"])
def test_a_fan_beside_the_firing_order_is_not_taken_for_it(other: Condition) -> None:
    idle = _recorded(580 / 60, replace(IDLE, tachometer_rpm=580.0), 0.2, 1)
    beside = _recorded(0.0 if other is OFF else 15.0, other, 0.2, 2)
    assert idle.speed is not None
    assert idle.speed.mean_rpm == pytest.approx(15 * FAN_HZ, rel=0.01)  # alone there is no knowing better
    speed = settle(Vehicle(EIGHT), [idle, beside])[0].speed
    assert speed is None or speed.mean_rpm == pytest.approx(580.0, rel=0.01)


def test_it_is_told_what_was_left_out() -> None:
    idle = _recorded(580 / 60, replace(IDLE, tachometer_rpm=580.0), 0.2, 1)
    off = _recorded(0.0, OFF, 0.2, 2)
    told = [w.message for w in settle(Vehicle(EIGHT), [idle, off])[0].warnings if w.code == "not-the-engine"]
    assert len(told) == 1
    assert f"{FAN_HZ:.1f} Hz" in told[0]


def test_a_speed_that_other_orders_hold_stays_as_it_is() -> None:
    """A line in step by chance, or a fan among many orders, changes nothing."""
    t_s = np.arange(6000) / 200.0
    angle = Crank(9.667, 30.0, swing_hz=0.05).angle_rev(t_s)
    fan = 0.05 * np.cos(2 * np.pi * FAN_HZ * t_s)
    accel = shake(angle, {0.5: 0.05, 1.0: 0.08, 1.5: 0.05, 4.0: 0.1}) + noise(6000, 0.03) + fan[:, None]
    clear = analyze(as_recording(t_s, accel, 200.0), EIGHT, IDLE)
    off = _recorded(0.0, OFF, 0.05 * np.sqrt(1.5), 2)
    assert settle(Vehicle(EIGHT), [clear, off])[0] is clear


def _line(hz: float, rms: float = 0.1) -> Line:
    return Line(hz, None, rms, 20.0)


@pytest.mark.parametrize(
    ("condition", "line", "stands"),
    [
        (RAISED, _line(36.95), True),
        (OFF, _line(36.95), True),
        (replace(IDLE, gear="drive"), _line(36.95), False),  # an idle may be held up in gear
        (RAISED, _line(37.35), False),  # another line
        (OFF, _line(37.35), True),  # only motors turn then: 1.2 % off, as fans hold their speed (1 to 2 %)
        (RAISED, _line(36.95, 0.3), False),  # of another strength
        (replace(RAISED, place="steering wheel"), _line(36.95), False),  # levels do not compare
    ],
)
def test_what_stands_where_the_engine_turns_otherwise(condition: Condition, line: Line, stands: bool) -> None:
    found = standing_hz(Read(IDLE, [_line(FAN_HZ), _line(20.0)]), [Read(condition, [line])])
    assert found == ((FAN_HZ,) if stands else ())


@pytest.mark.parametrize(("raised_hz", "stands"), [(FAN_HZ / 1.5, False), (FAN_HZ / 1.7, True)])
def test_an_order_may_meet_another_at_another_speed(raised_hz: float, stands: bool) -> None:
    """Order 3 of an idle and order 1.5 of twice its speed are one frequency, and both the engine's."""
    idle = Read(IDLE, [_line(FAN_HZ)], FAN_HZ / 3)
    found = standing_hz(Read(RAISED, [_line(FAN_HZ)], raised_hz), [idle])
    assert found == ((FAN_HZ,) if stands else ())


def test_an_order_is_one_for_all_that_the_idle_wanders() -> None:
    """Order 3 of a crank whose mean is read 1 % faster than its line."""
    idle = Read(IDLE, [_line(FAN_HZ)], 1.01 * FAN_HZ / 3)
    assert standing_hz(Read(RAISED, [_line(FAN_HZ)], FAN_HZ / 1.5), [idle]) == ()


def test_with_the_engine_off_nothing_is_left_out() -> None:
    assert standing_hz(Read(OFF, [_line(FAN_HZ)]), [Read(IDLE, [_line(FAN_HZ)])]) == ()


def test_a_line_is_taken_out_and_the_rest_stays() -> None:
    """Parseval: what is left is the power of the other sine, 0.1^2 / 2 on each axis."""
    signal = _recorded(0.0, OFF, 0.0, 1).signal
    t_s = np.arange(len(signal.accel_m_s2)) / signal.fs_hz
    two = np.cos(2 * np.pi * FAN_HZ * t_s) + 0.1 * np.cos(2 * np.pi * 20.0 * t_s)
    left = without(replace(signal, accel_m_s2=np.repeat(two[:, None], 3, axis=1)), [FAN_HZ])
    middle = left.accel_m_s2[400:-400]
    assert np.mean(middle**2) == pytest.approx(0.005, rel=0.05)

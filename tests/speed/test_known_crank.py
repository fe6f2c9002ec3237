"""Speed of cranks whose angle is a formula: engines, rates and levels of every kind."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.speed.closed_form import Crank
from tests.speed.engines import FOUR, IDLE, SOUND_FOUR, WANDERING, WRONG, found, heard, line, orders_of, sure
from vibecore.engine import Engine
from vibecore.model import Condition


# 1 to 12 cylinders; a four-stroke fires half its cylinders a turn, a two-stroke all (Heywood, Internal
# Combustion Engine Fundamentals, 1988, ch. 2).
@pytest.mark.parametrize("weak", [False, True], ids=["sound", "weak cylinder"])
@pytest.mark.parametrize("fs_hz", [100.0, 200.0])
@pytest.mark.parametrize("cylinders", [1, 2, 3, 4, 5, 6, 8, 10, 12])
def test_four_strokes_of_one_to_twelve_cylinders(cylinders: int, fs_hz: float, weak: bool) -> None:
    engine = Engine(cylinders)
    for i, rpm in enumerate((650.0, 760.0)):
        crank = Crank(rpm / 60, 20.0, swing_hz=0.12, period_s=3.7)
        sound = heard(orders_of(engine, weak_cylinder=weak), crank, fs_hz=fs_hz, seed=i)
        assert sure(sound, engine).mean_rpm == pytest.approx(sound.mean_rpm, rel=2e-3)


@pytest.mark.parametrize("cylinders", [1, 2, 3, 4])
@pytest.mark.parametrize(("rpm", "read"), [(900.0, None), (1200.0, 1150.0)])
def test_two_strokes(cylinders: int, rpm: float, read: float | None) -> None:
    engine = Engine(cylinders, 2)
    crank = Crank(rpm / 60, 20.0, swing_hz=0.12, period_s=3.7)
    sound = heard(orders_of(engine), crank)
    track = sure(sound, engine, replace(IDLE, tachometer_rpm=read))
    assert track.mean_rpm == pytest.approx(sound.mean_rpm, rel=2e-3)
    assert track.found_by == ("vibration with tachometer" if read else "vibration")


def test_a_fast_two_stroke_twin_with_a_weak_cylinder_is_not_read_at_half_its_speed() -> None:
    engine = Engine(2, 2)
    sound = heard(orders_of(engine, weak_cylinder=True), Crank(20.0, 20.0, swing_hz=0.12), fs_hz=100.0)
    track = found(sound, engine)
    assert track is None or track.mean_rpm == pytest.approx(sound.mean_rpm, rel=WRONG)


# A 180 degree crank fires at 0 and 180 of 720 degrees, one of 270 at 0 and 270: unit torques add as vectors
# (any book of engine balance; from memory), so that order 1 is nothing, or less than its neighbours. Pulses
# are short: their own spectrum falls slowly.
@pytest.mark.parametrize("rpm", [850.0, 950.0, 1050.0])
@pytest.mark.parametrize("fires_at_deg", [(0.0, 180.0), (0.0, 270.0)])
def test_a_sound_twin_that_fires_unevenly_is_not_read_at_half_its_speed(
    fires_at_deg: tuple[float, ...], rpm: float
) -> None:
    fired = np.exp(1j * np.deg2rad(np.outer(np.arange(0.5, 5.0, 0.5), fires_at_deg))).sum(axis=1)
    orders = {0.5 * i: 0.1 * abs(v) / (1 + 0.5 * i) for i, v in enumerate(fired, 1) if abs(v) > 0.01}
    engine = Engine(2)
    for seed in range(2):
        sound = heard(orders, Crank(rpm / 60, 20.0, swing_hz=0.12, period_s=3.7), seed=seed)
        assert sure(sound, engine).mean_rpm == pytest.approx(sound.mean_rpm, rel=2e-3)


@pytest.mark.parametrize("fs_hz", [50.0, 60.0, 100.0, 200.0, 400.0, 500.0])
def test_every_usual_sample_rate(fs_hz: float) -> None:
    sound = heard(SOUND_FOUR, WANDERING, fs_hz=fs_hz)
    assert sure(sound, FOUR).mean_rpm == pytest.approx(sound.mean_rpm, rel=1e-3)


@pytest.mark.parametrize("known", [True, False], ids=["cylinders known", "not known"])
@pytest.mark.parametrize(
    ("hold", "rpm"), [("idle", 560.0), ("idle", 900.0), ("raised", 1300.0), ("raised", 1700.0)]
)
def test_every_usual_speed(hold: str, rpm: float, known: bool) -> None:
    sound = heard(SOUND_FOUR, Crank(rpm / 60, 24.0, swing_hz=0.1))
    condition = Condition(None, "neutral", hold)  # type: ignore[arg-type]
    assert sure(sound, FOUR if known else None, condition).mean_rpm == pytest.approx(sound.mean_rpm, rel=1e-3)


# Cases of the signal core's list: what is strongest need not be the firing order.
DEAD = {0.5: 0.25, 1.0: 0.15, 1.5: 0.10, 2.0: 0.10, 4.0: 0.02}
UNBALANCED = {0.5: 0.012, 1.0: 0.30, 1.5: 0.01, 2.0: 0.05, 4.0: 0.02}
DOUBLE = {0.5: 0.01, 1.0: 0.02, 1.5: 0.008, 2.0: 0.06, 4.0: 0.12}


@pytest.mark.parametrize("read", [None, 700.0])
@pytest.mark.parametrize(
    "orders", [DEAD, UNBALANCED, DOUBLE], ids=["dead cylinder", "imbalance", "second harmonic"]
)
def test_the_strongest_order_may_be_another_than_the_firing_order(
    orders: dict[float, float], read: float | None
) -> None:
    sound = heard(orders, WANDERING)
    track = found(sound, FOUR, replace(IDLE, tachometer_rpm=read))
    assert track is not None or read is None
    assert track is None or track.mean_rpm == pytest.approx(sound.mean_rpm, rel=2e-3)


@pytest.mark.parametrize("rpm", [560.0, 640.0, 720.0])
@pytest.mark.parametrize("orders", [{2.0: 0.1, 4.0: 0.05, 6.0: 0.3}, {2.0: 0.05, 4.0: 0.1, 6.0: 0.3}])
@pytest.mark.parametrize("known", [True, False])
def test_a_high_multiple_of_the_firing_order_may_be_the_strongest(
    rpm: float, orders: dict[float, float], known: bool
) -> None:
    """As where metal bridges a mount: order 6 of a four is too high a harmonic to be tried as such, and is no
    order 3 of twice the speed, nor a firing order of three or four times it."""
    crank = Crank(rpm / 60, 24.0, swing_hz=0.1, period_s=3.7)
    track = found(heard(orders, crank), FOUR, IDLE if known else Condition())
    assert track is None or track.mean_rpm == pytest.approx(rpm, rel=WRONG)


# What is out of balance turns once a revolution and forces that order alone (den Hartog, Mechanical
# Vibrations, 4th ed., 1956, ch. 2.2, from memory); beside it stands what firing makes.
@pytest.mark.parametrize("rpm", [618.0, 1114.0])
def test_a_crank_out_of_balance_raises_no_other_whole_order(rpm: float) -> None:
    orders = {1.0: 0.42, 2.0: 0.115, 4.0: 0.026, 6.0: 0.007}
    sound = heard(orders, Crank(rpm / 60, 24.0, swing_hz=0.12), fs_hz=400.0, noise_rms=0.02)
    assert sure(sound, FOUR, Condition()).mean_rpm == pytest.approx(sound.mean_rpm, rel=2e-3)


@pytest.mark.parametrize("fan_hz", [18.7, 31.0, 43.0])
def test_a_fan_stronger_than_any_order(fan_hz: float) -> None:
    fan = line(4800, 200.0, fan_hz, 0.35, wander_hz=0.1)
    sound = heard(SOUND_FOUR, WANDERING, extra=fan)
    assert sure(sound, FOUR).mean_rpm == pytest.approx(sound.mean_rpm, rel=2e-3)


def test_noise_as_strong_as_the_firing_order() -> None:
    sound = heard(SOUND_FOUR, WANDERING, noise_rms=0.2)
    track = found(sound, FOUR, replace(IDLE, tachometer_rpm=740.0))
    assert track is not None
    assert track.mean_rpm == pytest.approx(sound.mean_rpm, rel=2e-3)

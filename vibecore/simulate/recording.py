"""One recording of a simulated car, with its truth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vibecore.model import Condition, Floats
from vibecore.simulate.car import Car
from vibecore.simulate.draw import uniform
from vibecore.simulate.phone import Hand, Phone, Taping, draw_hand, draw_taping, sample
from vibecore.simulate.truth import Truth, tell
from vibecore.simulate.vibration import Vibration, vibrate


@dataclass(frozen=True, eq=False)
class SimulatedRecording:
    """What the phone's file holds, and what is true. t_s (n,), accel_m_s2 (n, 3)."""

    name: str
    t_s: Floats
    accel_m_s2: Floats
    condition: Condition
    gravity_included: bool
    truth: Truth
    phone: Phone


def simulate_recording(
    car: Car,
    condition: Condition,
    phone: Phone,
    seed: int | list[int],
    *,
    duration_s: float | None = None,
    name: str = "recording",
    hand: Hand | None = None,
    taping: Taping | None = None,
    road_m_s: float | None = None,
) -> SimulatedRecording:
    """Record `car` in `condition` with `phone`. Equal arguments give equal samples.

    duration_s: of the file, 10 to 60 s if not given. hand, taping: drawn if not given. road_m_s: road
    speed, for a car with wheels. The condition's tachometer reading is filled in with the truth good to a
    few percent."""
    rng = np.random.default_rng(seed)
    duration = duration_s or _draw_duration(rng)
    hand = hand if hand is not None else draw_hand(rng, duration)
    taping = taping or draw_taping(rng, car.place_sd_db)
    if condition.gear == "reverse":
        car = replace(car, drive_bridging=car.reverse_bridging)
    vibration = vibrate(car, condition, duration, rng, road_m_s)
    vibration = replace(vibration, shake=taping.factor * vibration.shake, rest=taping.factor * vibration.rest)
    t_s, accel = sample(phone, hand, taping, vibration.shake + vibration.rest, vibration.step_s, rng)
    truth = _truth(vibration, car, condition, hand, duration)
    if truth.mean_rpm is not None and condition.tachometer_rpm is None:
        read = truth.mean_rpm * (1 + 0.03 * float(np.clip(rng.standard_normal(), -3, 3)))
        condition = replace(condition, tachometer_rpm=float(10 * round(read / 10)))
    return SimulatedRecording(
        name=name,
        t_s=t_s,
        accel_m_s2=accel,
        condition=condition,
        gravity_included=phone.gravity,
        truth=truth,
        phone=phone,
    )


def _draw_duration(rng: np.random.Generator) -> float:
    """Most people stop after half a minute."""
    kind = rng.random()
    if kind < 0.15:
        return uniform(rng, 10.0, 15.0)
    return uniform(rng, 15.0, 30.0) if kind < 0.85 else uniform(rng, 30.0, 60.0)


def _truth(vibration: Vibration, car: Car, condition: Condition, hand: Hand, duration_s: float) -> Truth:
    knocks = hand.knocks_s + (() if hand.door_s is None else (hand.door_s,))
    truth = tell(vibration, car.engine, (hand.start_s, duration_s - hand.end_s), knocks)
    return replace(truth, other_lines=_other_lines(car, condition, truth.mean_rpm))


def _other_lines(car: Car, condition: Condition, mean_rpm: float | None) -> dict[str, float]:
    """What turns at its own rate, by name, in hertz; a fan that was not running is among them."""
    lines = {"fan": car.fan.hz} if car.fan else {}
    if mean_rpm is not None:
        on = [u for u in car.accessories if not u.switched or u.name in condition.accessories]
        lines |= {u.name: u.ratio * mean_rpm / 60.0 for u in on}
        lines |= {"belt": car.belt.order * mean_rpm / 60.0} if car.belt else {}
    return lines

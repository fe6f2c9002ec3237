"""Recordings of one car in the conditions of a job, each with its truth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from vibecore.engine import Engine, Vehicle
from vibecore.model import Condition, Floats, Gear, Place, Symptoms
from vibecore.simulate.car import Car
from vibecore.simulate.draw import draw_car, uniform
from vibecore.simulate.fault import Fault
from vibecore.simulate.faults import ROAD_CAUSES, draw_fault
from vibecore.simulate.faults_other import draw_wheels
from vibecore.simulate.felt import Plan, can_be_felt
from vibecore.simulate.phone import (
    Hand,
    Phone,
    Taping,
    draw_hand,
    draw_phone,
    draw_taping,
    same_phone,
    sample,
)
from vibecore.simulate.truth import Truth, tell
from vibecore.simulate.vibration import Vibration, vibrate

Repair = Literal["cured", "improved", "unchanged", "worse"]
WORSE_FROM = 1.41  # a fault that cannot grow by 3 dB cannot be made worse in a way that anybody would feel
FELT_TRIES = 40
FAULTS_A_CAR = 8  # tries before another car is drawn
STRENGTH_AFTER: dict[str, float] = {"cured": 0.0, "improved": 0.5, "unchanged": 1.0, "worse": 1.8}


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


@dataclass(frozen=True, eq=False)
class SimulatedJob:
    """A job with its recordings. `cause` is what is the matter, `second_cause` another fault at the same
    time, `verdict` what became of it in the recordings made after, None without any."""

    title: str
    vehicle: Vehicle
    symptoms: Symptoms
    recordings: tuple[SimulatedRecording, ...]
    cause: str
    detail: str
    second_cause: str | None
    verdict: str | None
    car: Car
    seed: int


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
    return SimulatedRecording(name, t_s, accel, condition, phone.gravity, truth, phone)


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


def simulate_job(
    cause: str,
    engine: Engine | None = None,
    *,
    seed: int,
    transmission: str | None = None,
    strength: float = 1.0,
    repair: Repair | None = None,
    second_cause: str | None = None,
    rate_hz: float | None = None,
    place: Place | None = None,
    duration_s: float | None = None,
    tachometer: bool = True,
    plan: tuple[Plan, ...] | None = None,
    phone: Phone | None = None,
    felt: bool = False,
) -> SimulatedJob:
    """A whole job on a car drawn from `seed`. With `repair` the job holds a recording made after it.

    strength scales the fault as drawn. rate_hz fixes the phone's nominal rate, place where it is taped,
    `plan` the recordings made. tachometer False leaves the readings out. felt: car and fault are drawn
    again until the fault can be felt (`felt.can_be_felt`), at most FELT_TRIES times.
    """
    rng = np.random.default_rng([seed, 1])
    wanted = felt and cause != "normal"
    for attempt in range(FELT_TRIES if wanted else 1):
        if attempt % FAULTS_A_CAR == 0:
            car = _draw_car(cause, engine, transmission, rng)
        drawn = _draw(cause, car, place, plan, phone, rate_hz, repair is not None, rng)
        fault = drawn.fault
        if not wanted or can_be_felt(fault.lay(car, 0.0), fault.lay(car, strength), drawn.plans, seed):
            break
    plans = drawn.plans
    if repair == "worse" and fault.most < WORSE_FROM * strength:
        repair = "unchanged"  # what is quite gone cannot get worse
    second = draw_fault(second_cause, car, rng) if second_cause else None
    strengths = {"before": strength, "after": strength * (STRENGTH_AFTER[repair] if repair else 1.0)}
    states = {stage: fault.lay(car, size) for stage, size in strengths.items()}
    if second:
        states = {stage: second.lay(there, strength) for stage, there in states.items()}
    made = _record_all(states, plans, drawn.phone, seed, duration_s, rng)
    if not tachometer:
        made = [replace(r, condition=replace(r.condition, tachometer_rpm=None)) for r in made]
    return SimulatedJob(
        title=f"Simulated car {seed}: data invented",
        vehicle=_vehicle(car, fault, rng),
        symptoms=_symptoms(fault, plans, rng),
        recordings=tuple(made),
        cause=cause,
        detail=fault.detail,
        second_cause=second_cause,
        verdict=repair,
        car=car,
        seed=seed,
    )


@dataclass(frozen=True, eq=False)
class _Drawn:
    """A fault not yet laid on its car, the phone, and the recordings to make."""

    fault: Fault
    phone: Phone
    plans: tuple[Plan, ...]


def _draw_car(cause: str, engine: Engine | None, transmission: str | None, rng: np.random.Generator) -> Car:
    if transmission is None and cause == "driveline":
        transmission = "automatic"
    car = draw_car(rng, engine, transmission)
    return replace(car, wheels=draw_wheels(rng) if cause in ROAD_CAUSES else None)


def _draw(
    cause: str,
    car: Car,
    place: Place | None,
    plan: tuple[Plan, ...] | None,
    phone: Phone | None,
    rate_hz: float | None,
    after: bool,
    rng: np.random.Generator,
) -> _Drawn:
    fault = draw_fault(cause, car, rng)
    place = place or ("seat" if rng.random() < 0.25 else "steering wheel")
    phone = phone or draw_phone(rng, rate_hz)
    return _Drawn(fault, phone, plan or _draw_plan(car, fault, place, after, rng))


def _record_all(
    states: dict[str, Car],
    plans: tuple[Plan, ...],
    phone: Phone,
    seed: int,
    duration_s: float | None,
    rng: np.random.Generator,
) -> list[SimulatedRecording]:
    """One phone, taped on anew before and after the repair; some people do it anew for each recording."""
    sd_db = states["before"].place_sd_db
    tapings = {stage: draw_taping(rng, sd_db) for stage in states}
    fresh = rng.random() < 0.4
    return [
        simulate_recording(
            states[p.stage],
            Condition(p.place, p.gear, p.hold, p.stage, None, p.accessories),
            same_phone(phone, rng),
            [seed, 2, i],
            duration_s=duration_s,
            name=p.name,
            taping=None if fresh else tapings[p.stage],
            road_m_s=p.road_m_s,
        )
        for i, p in enumerate(plans)
    ]


def _draw_plan(
    car: Car, fault: Fault, place: Place, after: bool, rng: np.random.Generator
) -> tuple[Plan, ...]:
    """What a mechanic would record: neutral, in gear with the brake held, raised; the rest when it suits."""
    if fault.cause in ROAD_CAUSES:
        speeds = (uniform(rng, 18, 24), uniform(rng, 26, 33))
        plans = [
            Plan(f"road-{i}", "drive", "raised", place=place, road_m_s=v) for i, v in enumerate(speeds, 1)
        ]
        return (*plans, replace(plans[-1], name="after-road", stage="after")) if after else tuple(plans)
    neutral: Gear = "park" if car.transmission == "automatic" and rng.random() < 0.2 else "neutral"
    plans = [Plan("neutral-idle", neutral, "idle", place=place)]
    if car.transmission == "automatic":
        plans.append(Plan("drive-idle", "drive", "idle", place=place))
        if rng.random() < 0.12:
            plans.append(Plan("reverse-idle", "reverse", "idle", place=place))
    if rng.random() < 0.92:
        swept = rng.random() < 0.08
        raised = Plan("raised-idle", neutral, "raised", place=place)
        plans.append(Plan("sweep", neutral, "sweep", place=place) if swept else raised)
    if fault.accessory or rng.random() < 0.25:
        plans.append(
            Plan("air-conditioning-on", neutral, "idle", place=place, accessories=("air conditioning",))
        )
    if rng.random() < (0.5 if fault.cause == "cooling-fan" else 0.15):
        plans.append(Plan("engine-off", neutral, "engine off", place=place))
    if rng.random() < (0.2 if fault.cause == "engine-mount" else 0.06):
        plans.append(Plan("on-the-engine", "drive" if car.transmission == "automatic" else neutral, "idle",
                          place="engine"))  # fmt: skip
    if after:
        felt = next((p for p in plans if p.gear == "drive" and fault.felt_in_gear), plans[0])
        if fault.accessory:
            felt = next(p for p in plans if p.accessories)
        plans.append(replace(felt, name=f"after-{felt.name}", stage="after"))
    return tuple(plans)


def _vehicle(car: Car, fault: Fault, rng: np.random.Generator) -> Vehicle:
    idle = car.idle.drive_rpm if fault.cause == "idle-resonance" else car.idle.neutral_rpm
    spec = None
    if rng.random() < 0.4:
        low = round((idle - uniform(rng, 20, 80)) / 10) * 10
        if fault.cause == "idle-resonance":
            low = round((car.idle.neutral_rpm + uniform(rng, 0, 40)) / 10) * 10
        spec = (float(low), float(low + 100))
    pulleys = {}
    if rng.random() < 0.4:
        crank = round(uniform(rng, 130, 190))
        pulleys = {"crank": float(crank), **{u.name: float(round(crank / u.ratio)) for u in car.accessories}}
    return Vehicle(car.engine, "automatic" if car.transmission == "automatic" else "manual", spec, pulleys)


def _symptoms(fault: Fault, plans: tuple[Plan, ...], rng: np.random.Generator) -> Symptoms:
    if rng.random() < 0.5:
        return Symptoms()
    lamp = bool(fault.codes) and rng.random() < 0.6
    codes = (fault.codes[int(rng.integers(len(fault.codes)))],) if lamp and rng.random() < 0.8 else ()
    when = ["in gear"] if fault.felt_in_gear else ["in gear", "neutral"]
    if any(p.road_m_s for p in plans):
        when = ["moving"]
    return Symptoms(lamp, codes, tuple(when) if rng.random() < 0.7 and fault.cause != "normal" else ())

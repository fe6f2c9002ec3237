"""Recordings of one car in the conditions of a job, each with its truth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from vibecore.engine import Engine, Vehicle
from vibecore.model import Condition, Place, Symptoms
from vibecore.simulate.car import Car
from vibecore.simulate.draw import draw_car
from vibecore.simulate.fault import Fault
from vibecore.simulate.faults import ROAD_CAUSES, draw_fault
from vibecore.simulate.faults_other import draw_wheels
from vibecore.simulate.felt import Plan, can_be_felt
from vibecore.simulate.phone import Phone, draw_phone, draw_taping, same_phone
from vibecore.simulate.recording import SimulatedRecording, simulate_recording
from vibecore.simulate.workshop import draw_plan, told_symptoms, told_vehicle

RepairOutcome = Literal["cured", "improved", "unchanged", "worse"]
WORSE_FROM = 1.41  # a fault that cannot grow by 3 dB cannot be made worse in a way that anybody would feel
FELT_TRIES = 40
FAULTS_A_CAR = 8  # tries before another car is drawn
STRENGTH_AFTER: dict[str, float] = {"cured": 0.0, "improved": 0.5, "unchanged": 1.0, "worse": 1.8}


@dataclass(frozen=True)
class Wanted:
    """What is fixed of a job; what is None is drawn.

    strength scales the fault as drawn. repair: the job holds a recording made after it. rate_hz: the phone's
    nominal rate. place: where it is taped. duration_s: of each file. tachometer False leaves the readings
    out. plan: the recordings made. felt: car and fault are drawn again until the fault can be felt
    (`felt.can_be_felt`), at most FELT_TRIES times."""

    engine: Engine | None = None
    transmission: str | None = None
    strength: float = 1.0
    repair: RepairOutcome | None = None
    second_cause: str | None = None
    rate_hz: float | None = None
    place: Place | None = None
    duration_s: float | None = None
    tachometer: bool = True
    plan: tuple[Plan, ...] | None = None
    phone: Phone | None = None
    felt: bool = False


ANY = Wanted()


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


def simulate_job(cause: str, wanted: Wanted = ANY, *, seed: int) -> SimulatedJob:
    """A whole job on a car drawn from `seed`. Equal arguments give equal samples."""
    rng = np.random.default_rng([seed, 1])
    car, drawn = _draw(cause, wanted, seed, rng)
    fault, strength, repair = drawn.fault, wanted.strength, wanted.repair
    if repair == "worse" and fault.most < WORSE_FROM * strength:
        repair = "unchanged"  # what is quite gone cannot get worse
    second = draw_fault(wanted.second_cause, car, rng) if wanted.second_cause else None
    strengths = {"before": strength, "after": strength * (STRENGTH_AFTER[repair] if repair else 1.0)}
    states = {stage: fault.lay(car, size) for stage, size in strengths.items()}
    if second:
        states = {stage: second.lay(there, strength) for stage, there in states.items()}
    made = _record_all(states, drawn, wanted.duration_s, seed, rng)
    if not wanted.tachometer:
        made = [replace(r, condition=replace(r.condition, tachometer_rpm=None)) for r in made]
    return SimulatedJob(
        title=f"Simulated car {seed}: data invented",
        vehicle=told_vehicle(car, fault, rng),
        symptoms=told_symptoms(fault, drawn.plans, rng),
        recordings=tuple(made),
        cause=cause,
        detail=fault.detail,
        second_cause=wanted.second_cause,
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


def _draw(cause: str, wanted: Wanted, seed: int, rng: np.random.Generator) -> tuple[Car, _Drawn]:
    """A sound car and its fault, drawn again until it can be felt if that is wanted."""
    must_be_felt = wanted.felt and cause != "normal"
    for attempt in range(FELT_TRIES if must_be_felt else 1):
        if attempt % FAULTS_A_CAR == 0:
            car = _draw_car(cause, wanted, rng)
        drawn = _draw_once(cause, car, wanted, rng)
        twin, faulty = drawn.fault.lay(car, 0.0), drawn.fault.lay(car, wanted.strength)
        if not must_be_felt or can_be_felt(twin, faulty, drawn.plans, seed):
            break
    return car, drawn


def _draw_car(cause: str, wanted: Wanted, rng: np.random.Generator) -> Car:
    transmission = wanted.transmission or ("automatic" if cause == "driveline" else None)
    car = draw_car(rng, wanted.engine, transmission)
    return replace(car, wheels=draw_wheels(rng) if cause in ROAD_CAUSES else None)


def _draw_once(cause: str, car: Car, wanted: Wanted, rng: np.random.Generator) -> _Drawn:
    fault = draw_fault(cause, car, rng)
    place = wanted.place or ("seat" if rng.random() < 0.25 else "steering wheel")
    phone = wanted.phone or draw_phone(rng, wanted.rate_hz)
    return _Drawn(fault, phone, wanted.plan or draw_plan(car, fault, place, wanted.repair is not None, rng))


def _record_all(
    states: dict[str, Car], drawn: _Drawn, duration_s: float | None, seed: int, rng: np.random.Generator
) -> list[SimulatedRecording]:
    """One phone, taped on anew before and after the repair; some people do it anew for each recording."""
    sd_db = states["before"].place_sd_db
    tapings = {stage: draw_taping(rng, sd_db) for stage in states}
    fresh = rng.random() < 0.4
    return [
        simulate_recording(
            states[p.stage],
            Condition(
                place=p.place,
                gear=p.gear,
                speed_hold=p.hold,
                stage=p.stage,
                accessories=p.accessories,
            ),
            same_phone(drawn.phone, rng),
            [seed, 2, i],
            duration_s=duration_s,
            name=p.name,
            taping=None if fresh else tapings[p.stage],
            road_m_s=p.road_m_s,
        )
        for i, p in enumerate(drawn.plans)
    ]

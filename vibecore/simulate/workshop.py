"""What a mechanic records of a simulated car, and what is told of it. Shares: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vibecore.engine import Vehicle
from vibecore.model import Gear, Place, Symptoms
from vibecore.simulate.car import Car
from vibecore.simulate.draw import uniform
from vibecore.simulate.fault import Fault
from vibecore.simulate.faults import ROAD_CAUSES
from vibecore.simulate.felt import Plan


def draw_plan(
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


def told_vehicle(car: Car, fault: Fault, rng: np.random.Generator) -> Vehicle:
    """The car as its case tells it: the maker's idle and the pulleys are not always looked up."""
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


def told_symptoms(fault: Fault, plans: tuple[Plan, ...], rng: np.random.Generator) -> Symptoms:
    """Lamp, codes and when it shakes, as far as the owner says anything."""
    if rng.random() < 0.5:
        return Symptoms()
    lamp = bool(fault.codes) and rng.random() < 0.6
    codes = (fault.codes[int(rng.integers(len(fault.codes)))],) if lamp and rng.random() < 0.8 else ()
    when = ["in gear"] if fault.felt_in_gear else ["in gear", "neutral"]
    if any(p.road_m_s for p in plans):
        when = ["moving"]
    return Symptoms(lamp, codes, tuple(when) if rng.random() < 0.7 and fault.cause != "normal" else ())

"""Faults of what hangs on the engine or turns behind it."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from vibecore.simulate.car import LEVELS_AT_M_S, Accessory, Belt, Car, Contact, Driveline, Fan, Wheels
from vibecore.simulate.draw import log_uniform, off_half_orders, uniform
from vibecore.simulate.fault import Fault, firing_level

FAN_HABITS: tuple[Literal["always", "sometimes", "cycles", "engine off too"], ...] = (
    "engine off too", "engine off too", "sometimes", "always", "cycles",
)  # fmt: skip


def accessory(car: Car, rng: np.random.Generator) -> Fault:
    level = firing_level(car) * log_uniform(rng, 0.25, 2.5)
    if rng.random() < 0.3:
        order = off_half_orders(uniform(rng, 0.2, 0.45))
        harmonics = (1.0, *(uniform(rng, 0.0, 1.0) for _ in range(int(rng.integers(1, 4)))))

        def belt(c: Car, strength: float) -> Car:
            there = c.belt or Belt(order, 0.0)
            return replace(c, belt=Belt(order, there.level + level * strength, harmonics))

        return Fault("accessory-drive", belt, f"the belt, order {order:.2f}")
    names = {"alternator": (2.2, 3.2), "water pump": (0.85, 1.6), "power steering": (0.85, 1.6),
             "air conditioning": (1.0, 1.8), "idler": (1.6, 2.6)}  # fmt: skip
    name = str(rng.choice(list(names)))
    ratio = off_half_orders(uniform(rng, *names[name]), 0.07)
    wobble = uniform(rng, 0.0, 0.6)
    strong = (1.0, uniform(rng, 0.0, 0.6), uniform(rng, 0.0, 0.3))

    def unit(c: Car, strength: float) -> Car:
        others = tuple(u for u in c.accessories if u.name != name)
        old = next((u.level for u in c.accessories if u.name == name), 0.002)
        switched = name == "air conditioning"
        bad = Accessory(
            name=name,
            ratio=ratio,
            level=old + level * strength,
            harmonics=strong,
            switched=switched,
            wobble=wobble * strength,
            load=0.15 if switched else 0.0,
        )
        return replace(c, accessories=(*others, bad))

    return Fault("accessory-drive", unit, f"{name} at {ratio:.2f} turns a crank turn",
                 accessory=name if name == "air conditioning" else None)  # fmt: skip


def fan(car: Car, rng: np.random.Generator) -> Fault:
    firing_hz = np.array([car.idle.neutral_rpm, car.idle.drive_rpm]) / 60.0 * car.engine.firing_order
    hz = uniform(rng, 16, 56)
    while np.min(np.abs(hz / firing_hz - 1)) < 0.03:
        hz = uniform(rng, 16, 56)
    level = firing_level(car) * log_uniform(rng, 0.3, 2.5)
    blades = level * uniform(rng, 0.0, 0.2) if rng.random() < 0.5 else 0.0
    runs = FAN_HABITS[int(rng.integers(len(FAN_HABITS)))]
    drift, count = log_uniform(rng, 0.0005, 0.012), int(rng.integers(4, 10))

    def lay(c: Car, strength: float) -> Car:
        sound = c.fan.level if c.fan else 0.003
        return replace(
            c,
            fan=Fan(
                hz=hz,
                level=sound + level * strength,
                drift=drift,
                blade_level=blades * strength,
                blades=count,
                runs=runs,
            ),
        )

    return Fault("cooling-fan", lay, f"electric fan out of balance at {hz:.1f} Hz")


def exhaust(car: Car, rng: np.random.Generator) -> Fault:
    level = firing_level(car) * log_uniform(rng, 0.8, 5.0)
    contact = Contact(
        level=0.0,
        gap=uniform(rng, -0.1, 0.8),
        natural_hz=uniform(rng, 6.0, 22.0),
        damping=log_uniform(rng, 0.05, 0.2),
        ring_hz=uniform(rng, 40, 180),
        in_gear_shift=uniform(rng, -0.3, 0.6),
        ring_damping=log_uniform(rng, 0.06, 0.4),
    )

    def lay(c: Car, strength: float) -> Car:
        if strength == 0:
            return c
        return replace(c, contacts=(*c.contacts, replace(contact, level=level * strength)))

    return Fault("exhaust-contact", lay, "the exhaust touches the body")


def driveline(car: Car, rng: np.random.Generator) -> Fault:
    size = firing_level(car)
    kind = rng.choice(["judder", "order one", "slip", "both"], p=[0.4, 0.2, 0.15, 0.25])
    drawn = Driveline(
        judder_level=size * log_uniform(rng, 0.5, 4.0) if kind in ("judder", "both") else 0.0,
        judder_hz=uniform(rng, 4.0, 14.0),
        judder_width=uniform(rng, 0.05, 0.3),
        order_one_level=size * log_uniform(rng, 0.4, 3.0) if kind in ("order one", "both") else 0.0,
        slip_level=size * log_uniform(rng, 0.4, 2.5) if kind == "slip" else 0.0,
        slip_order=uniform(rng, 0.6, 0.93),
    )

    def lay(c: Car, strength: float) -> Car:
        return replace(c, driveline=replace(
            drawn,
            judder_level=drawn.judder_level * strength,
            order_one_level=drawn.order_one_level * strength,
            slip_level=drawn.slip_level * strength,
        ))  # fmt: skip

    return Fault("driveline", lay, f"converter or gearbox: {kind}", felt_in_gear=True)


def draw_wheels(rng: np.random.Generator) -> Wheels:
    """Wheels of a sound car on the road."""
    gear = uniform(rng, 0.65, 1.05)
    return Wheels(
        rolling_radius_m=uniform(rng, 0.28, 0.37),
        level=log_uniform(rng, 0.01, 0.05),
        gear_ratio=gear,
        final_ratio=uniform(rng, 2.8, 4.3),
        propshaft_level=log_uniform(rng, 0.003, 0.02),
        road_level=log_uniform(rng, 0.15, 0.6),
        harmonic=uniform(rng, 0.1, 0.5),
    )


def wheel(_car: Car, rng: np.random.Generator) -> Fault:
    level = log_uniform(rng, 0.12, 0.9)

    def lay(c: Car, strength: float) -> Car:
        assert c.wheels is not None
        return replace(c, wheels=replace(c.wheels, level=c.wheels.level + level * strength))

    return Fault("wheel-imbalance", lay, f"a wheel shakes by {level:.2f} m/s2 at {LEVELS_AT_M_S:.0f} m/s")


def propshaft(_car: Car, rng: np.random.Generator) -> Fault:
    level = log_uniform(rng, 0.1, 0.8)

    def lay(c: Car, strength: float) -> Car:
        assert c.wheels is not None
        return replace(
            c, wheels=replace(c.wheels, propshaft_level=c.wheels.propshaft_level + level * strength)
        )

    return Fault(
        "propshaft", lay, f"the propeller shaft shakes by {level:.2f} m/s2 at {LEVELS_AT_M_S:.0f} m/s"
    )

"""Faults laid on a sound car, each as the physics has it, in any strength from barely felt to violent.

A fault is drawn once (which cylinder, which frequency, how it behaves in gear) and laid on with a strength: 1 as drawn,
0 mended, a half half mended. So a car before and after its repair differs by the strength alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from vibecore.simulate.car import (
    ROLL,
    Accessory,
    Belt,
    Car,
    Contact,
    Driveline,
    Fan,
    Path,
    Wheels,
    gain,
)
from vibecore.simulate.crank import strongest_order
from vibecore.simulate.draw import log_uniform, off_half_orders, uniform

Lay = Callable[[Car, float], Car]


@dataclass(frozen=True)
class Fault:
    """A drawn fault. `lay(car, strength)` gives the car that has it. `felt_in_gear`: it is (mostly) felt in gear.
    `detail`: what is the matter, in words. `codes`: codes that a control unit may store for it."""

    cause: str
    lay: Lay
    detail: str
    felt_in_gear: bool = False
    codes: tuple[str, ...] = ()
    accessory: str | None = None


def _misfire(car: Car, rng: np.random.Generator) -> Fault:
    which = int(rng.integers(car.engine.cylinders))
    lost = 1.0 if rng.random() < 0.5 else uniform(rng, 0.25, 0.95)
    squeezed = (
        uniform(rng, 0.0, 0.6) if rng.random() < 0.2 else 0.0
    )  # a valve that leaks takes compression with it

    def lay(c: Car, strength: float) -> Car:
        burn, squeeze = list(c.burn), list(c.squeeze)
        burn[which] *= max(1 - lost * strength, 0.0)
        squeeze[which] *= max(1 - squeezed * strength, 0.0)
        idle = replace(c.idle, sd_rpm=c.idle.sd_rpm * (1 + 0.5 * strength))
        return replace(c, burn=tuple(burn), squeeze=tuple(squeeze), idle=idle)

    return Fault("cylinder-misfire", lay, f"cylinder {which + 1} burns {100 * (1 - lost):.0f} %",
                 codes=(f"P03{which + 1:02d}", "P0300"))  # fmt: skip


def _uneven(car: Car, rng: np.random.Generator) -> Fault:
    cycle, common = log_uniform(rng, 0.08, 0.35), log_uniform(rng, 0.03, 0.15)
    skips = log_uniform(rng, 0.002, 0.06) if rng.random() < 0.5 else 0.0
    hunting = log_uniform(rng, 6.0, 60.0) if rng.random() < 0.6 else 0.0
    wander = uniform(rng, 1.0, 3.0)

    def lay(c: Car, strength: float) -> Car:
        idle = replace(
            c.idle,
            sd_rpm=c.idle.sd_rpm * (1 + wander * strength),
            hunting_rpm=max(c.idle.hunting_rpm, hunting * strength),
        )
        return replace(
            c,
            idle=idle,
            cycle_spread=float(np.hypot(c.cycle_spread, cycle * strength)),
            common_spread=float(np.hypot(c.common_spread, common * strength)),
            skip_share=skips * strength,
        )

    return Fault("uneven-combustion", lay, f"burning varies by {100 * cycle:.0f} % from cycle to cycle",
                 codes=("P0171", "P0300", "P0101", "P0507"))  # fmt: skip


def _mount(car: Car, rng: np.random.Generator) -> Fault:
    rise_db = uniform(rng, 6.0, 20.0)
    softer = uniform(rng, 1.0, 1.35)
    in_gear = uniform(rng, 1.3, 3.0)
    touches = rng.random() < 0.4
    firing_hz = car.idle.drive_rpm / 60.0 * car.engine.firing_order
    from_hz = firing_hz * uniform(rng, 0.55, 0.85)
    share = [uniform(rng, 0.6, 1.0), *(uniform(rng, 0.0, 0.7) for _ in range(3))]
    metal = Contact(0.0, uniform(rng, 0.3, 1.0), car.mounts[ROLL].natural_hz, car.mounts[ROLL].damping,
                    uniform(rng, 60, 180), uniform(rng, 0.2, 0.8), log_uniform(rng, 0.06, 0.4))  # fmt: skip
    metal_level = firing_level(car) * log_uniform(rng, 0.5, 4.0)

    def lay(c: Car, strength: float) -> Car:
        mounts = list(c.mounts)
        for k in range(4):
            bridge = (10 ** (rise_db * strength * share[k] / 20) - 1) / in_gear**0.5
            natural = c.mounts[k].natural_hz * (1 + (softer - 1) * strength)
            mounts[k] = replace(c.mounts[k], natural_hz=natural, bridge=bridge, bridge_from_hz=from_hz)
        contacts = (
            (*c.contacts, replace(metal, level=metal_level * strength))
            if touches and strength
            else c.contacts
        )
        return replace(c, mounts=tuple(mounts), drive_bridging=in_gear, contacts=contacts)

    return Fault("engine-mount", lay, f"a mount has collapsed, {rise_db:.0f} dB", felt_in_gear=True)


def _imbalance(car: Car, rng: np.random.Generator) -> Fault:
    level = firing_level(car) * log_uniform(rng, 0.35, 4.0)
    shared = uniform(rng, 0.2, 1.0)

    def lay(c: Car, strength: float) -> Car:
        return replace(c, unbalance=c.unbalance + level * strength, unbalance_shared=shared)

    return Fault("rotating-imbalance", lay, f"order 1 of {level:.2f} m/s2 at the wheel at idle")


def _accessory(car: Car, rng: np.random.Generator) -> Fault:
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
        bad = Accessory(name, ratio, old + level * strength, strong, switched, wobble * strength,
                        0.15 if switched else 0.0)  # fmt: skip
        return replace(c, accessories=(*others, bad))

    return Fault("accessory-drive", unit, f"{name} at {ratio:.2f} turns a crank turn",
                 accessory=name if name == "air conditioning" else None)  # fmt: skip


def _fan(car: Car, rng: np.random.Generator) -> Fault:
    firing_hz = np.array([car.idle.neutral_rpm, car.idle.drive_rpm]) / 60.0 * car.engine.firing_order
    hz = uniform(rng, 20, 48)
    while np.min(np.abs(hz / firing_hz - 1)) < 0.03:
        hz = uniform(rng, 20, 48)
    level = firing_level(car) * log_uniform(rng, 0.3, 2.5)
    blades = level * uniform(rng, 0.0, 0.2) if rng.random() < 0.5 else 0.0
    runs = str(rng.choice(["engine off too", "engine off too", "sometimes", "always"]))
    drift, count = log_uniform(rng, 0.0005, 0.012), int(rng.integers(4, 10))

    def lay(c: Car, strength: float) -> Car:
        sound = c.fan.level if c.fan else 0.003
        return replace(c, fan=Fan(hz, sound + level * strength, drift, blades * strength, count, runs))

    return Fault("cooling-fan", lay, f"electric fan out of balance at {hz:.1f} Hz")


def _resonance(car: Car, rng: np.random.Generator) -> Fault:
    """A lively mode sits on the firing frequency at idle, often because idle has sunk."""
    in_gear = car.transmission == "automatic" and rng.random() < 0.7
    rpm = car.idle.drive_rpm if in_gear else car.idle.neutral_rpm
    order = car.engine.firing_order
    hz = rpm / 60.0 * order * uniform(rng, 0.97, 1.03)
    damping, rise_db = log_uniform(rng, 0.015, 0.06), uniform(rng, 6.0, 18.0)
    shape = rng.standard_normal(3)

    def lay(c: Car, strength: float) -> Car:
        if strength == 0:
            return c
        paths = dict(c.paths)
        for place, share in (("steering wheel", 1.0), ("seat", 0.7), ("floor", 0.3), ("body", 0.2)):
            path = c.paths[place]  # type: ignore[index]
            level = gain(c, ROLL, hz, place) * 10 ** (rise_db * strength / 20) * share  # type: ignore[arg-type]
            passed = gain(replace(c, paths={place: _only_rigid()}), ROLL, hz, place)  # type: ignore[arg-type, dict-item]
            drive = np.zeros((1, 5))
            drive[0, :] = level * 2 * damping / passed
            unit = shape[None, :] / np.linalg.norm(shape)
            paths[place] = Path(  # type: ignore[index]
                path.rigid,
                np.append(path.hz, hz),
                np.append(path.damping, damping),
                np.vstack([path.drive, drive]),
                np.vstack([path.shape, unit]),
            )
        return replace(c, paths=paths)

    return Fault(
        "idle-resonance", lay, f"wheel and column ring at {hz:.1f} Hz, on the idle", felt_in_gear=in_gear
    )


def _only_rigid() -> Path:
    rigid = np.zeros((5, 3))
    rigid[:, 0] = 1.0
    return Path(rigid, np.zeros(0), np.zeros(0), np.zeros((0, 5)), np.zeros((0, 3)))


def _exhaust(car: Car, rng: np.random.Generator) -> Fault:
    level = firing_level(car) * log_uniform(rng, 0.3, 2.5)
    contact = Contact(0.0, uniform(rng, -0.2, 0.8), uniform(rng, 6.0, 22.0), log_uniform(rng, 0.05, 0.2),
                      uniform(rng, 40, 200), uniform(rng, -0.3, 0.6), log_uniform(rng, 0.06, 0.4))  # fmt: skip

    def lay(c: Car, strength: float) -> Car:
        if strength == 0:
            return c
        return replace(c, contacts=(*c.contacts, replace(contact, level=level * strength)))

    return Fault("exhaust-contact", lay, "the exhaust touches the body")


def _driveline(car: Car, rng: np.random.Generator) -> Fault:
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
    return Wheels(uniform(rng, 0.28, 0.37), log_uniform(rng, 0.01, 0.05), gear, uniform(rng, 2.8, 4.3),
                  log_uniform(rng, 0.003, 0.02), log_uniform(rng, 0.15, 0.6), uniform(rng, 0.1, 0.5))  # fmt: skip


def _wheel(car: Car, rng: np.random.Generator) -> Fault:
    level = log_uniform(rng, 0.12, 0.9)

    def lay(c: Car, strength: float) -> Car:
        assert c.wheels is not None
        return replace(c, wheels=replace(c.wheels, level=c.wheels.level + level * strength))

    return Fault("wheel-imbalance", lay, f"a wheel shakes by {level:.2f} m/s2 at 25 m/s")


def _propshaft(car: Car, rng: np.random.Generator) -> Fault:
    level = log_uniform(rng, 0.1, 0.8)

    def lay(c: Car, strength: float) -> Car:
        assert c.wheels is not None
        return replace(
            c, wheels=replace(c.wheels, propshaft_level=c.wheels.propshaft_level + level * strength)
        )

    return Fault("propshaft", lay, f"the propeller shaft shakes by {level:.2f} m/s2 at 25 m/s")


def firing_level(car: Car) -> float:
    """rms at the steering wheel of the strongest torque order of the sound car at neutral idle."""
    order, amplitude = strongest_order(car)
    return car.roll_gain * amplitude / np.sqrt(2) * gain(car, ROLL, order * car.idle.neutral_rpm / 60.0)


_DRAW: dict[str, Callable[[Car, np.random.Generator], Fault]] = {
    "cylinder-misfire": _misfire,
    "uneven-combustion": _uneven,
    "engine-mount": _mount,
    "rotating-imbalance": _imbalance,
    "accessory-drive": _accessory,
    "cooling-fan": _fan,
    "idle-resonance": _resonance,
    "exhaust-contact": _exhaust,
    "driveline": _driveline,
    "wheel-imbalance": _wheel,
    "propshaft": _propshaft,
}
CAUSES: tuple[str, ...] = ("normal", *_DRAW)
ROAD_CAUSES = ("wheel-imbalance", "propshaft")


def draw_fault(cause: str, car: Car, rng: np.random.Generator) -> Fault:
    """A fault of this cause that fits the car; 'normal' gives one that does nothing."""
    if cause == "normal":
        return Fault("normal", lambda c, _strength: c, "a sound car")
    if cause not in _DRAW:
        raise ValueError(f"there is no cause {cause!r} to simulate; known: {', '.join(CAUSES)}")
    return _DRAW[cause](car, rng)


def add_fault(car: Car, cause: str, seed: int, strength: float = 1.0) -> Car:
    """A car with a fault of this cause, drawn from `seed`."""
    return draw_fault(cause, car, np.random.default_rng(seed)).lay(car, strength)

"""Faults of the engine and of what carries it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vibecore.model import Floats, Place
from vibecore.simulate.car import ROLL, SOURCES, TILT_HZ, Car, Contact, gain, mount_response
from vibecore.simulate.draw import log_uniform, uniform
from vibecore.simulate.fault import Fault, firing_level


def misfire(car: Car, rng: np.random.Generator) -> Fault:
    which = int(rng.integers(car.engine.cylinders))
    lost = 1.0 if rng.random() < 0.5 else uniform(rng, 0.25, 0.95)
    # A valve that leaks takes compression with it.
    squeezed = uniform(rng, 0.0, 0.6) if rng.random() < 0.2 else 0.0

    def lay(c: Car, strength: float) -> Car:
        burn, squeeze = list(c.burn), list(c.squeeze)
        burn[which] *= max(1 - lost * strength, 0.0)
        squeeze[which] *= max(1 - squeezed * strength, 0.0)
        idle = replace(c.idle, sd_rpm=c.idle.sd_rpm * (1 + 0.5 * strength))
        return replace(c, burn=tuple(burn), squeeze=tuple(squeeze), idle=idle)

    return Fault("cylinder-misfire", lay, f"cylinder {which + 1} burns {100 * (1 - lost):.0f} %",
                 codes=(f"P03{which + 1:02d}", "P0300"), most=1.0 / lost)  # fmt: skip


def uneven(_car: Car, rng: np.random.Generator) -> Fault:
    cycle, common = log_uniform(rng, 0.08, 0.35), log_uniform(rng, 0.02, 0.08)
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


def mount(car: Car, rng: np.random.Generator) -> Fault:
    rise_db = uniform(rng, 6.0, 20.0)
    softer = uniform(rng, 1.0, 1.35)
    in_gear = uniform(rng, 1.3, 3.0)
    reversing = uniform(rng, 0.3, in_gear)  # reverse leans on the other side: often less
    touches = rng.random() < 0.4
    firing_hz = car.idle.drive_rpm / 60.0 * car.engine.firing_order
    from_hz = firing_hz * uniform(rng, 0.55, 0.85)
    share = [uniform(rng, 0.6, 1.0), *(uniform(rng, 0.0, 0.7) for _ in range(3))]
    metal = Contact(
        level=0.0,
        gap=uniform(rng, 0.3, 1.0),
        natural_hz=car.mounts[ROLL].natural_hz,
        damping=car.mounts[ROLL].damping,
        ring_hz=uniform(rng, 60, 180),
        in_gear_shift=uniform(rng, 0.2, 0.8),
        ring_damping=log_uniform(rng, 0.06, 0.4),
    )
    metal_level = firing_level(car) * log_uniform(rng, 0.3, 2.0)

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
        changed = replace(c, mounts=tuple(mounts), contacts=contacts)
        return replace(changed, drive_bridging=in_gear, reverse_bridging=reversing)

    return Fault("engine-mount", lay, f"a mount has collapsed, {rise_db:.0f} dB", felt_in_gear=True)


def imbalance(car: Car, rng: np.random.Generator) -> Fault:
    level = firing_level(car) * log_uniform(rng, 0.35, 4.0)
    shared = uniform(rng, 0.2, 1.0)

    def lay(c: Car, strength: float) -> Car:
        total = c.unbalance + level * strength
        mixed = (c.unbalance * c.unbalance_shared + level * strength * shared) / total
        return replace(c, unbalance=total, unbalance_shared=mixed)

    return Fault("rotating-imbalance", lay, f"order 1 of {level:.2f} m/s2 at the wheel at idle")


def resonance(car: Car, rng: np.random.Generator) -> Fault:
    """A lively mode sits on the firing frequency at idle: it has come loose, or the idle has sunk onto it."""
    in_gear = car.transmission == "automatic" and rng.random() < 0.7
    sinks = rng.random() < 0.35 and (in_gear or car.transmission == "manual")
    sunk_rpm = uniform(rng, 60.0, 150.0) if sinks else 0.0
    rpm = (car.idle.drive_rpm if in_gear else car.idle.neutral_rpm) - sunk_rpm
    hz = rpm / 60.0 * car.engine.firing_order * uniform(rng, 0.97, 1.03)
    damping, rise_db = log_uniform(rng, 0.015, 0.06), uniform(rng, 6.0, 18.0)
    direction = rng.standard_normal(3)
    direction /= np.linalg.norm(direction)

    def lay(c: Car, strength: float) -> Car:
        if sunk_rpm:
            lower = c.idle.neutral_rpm - sunk_rpm * strength, c.idle.drive_rpm - sunk_rpm * strength
            idle = replace(c.idle, neutral_rpm=lower[0], drive_rpm=lower[1])
            return replace(_ringing(c, hz, damping, rise_db, direction), idle=idle)
        return _ringing(c, hz, damping, rise_db * strength, direction) if strength else c

    why = f"idle sunk by {sunk_rpm:.0f} rpm" if sunk_rpm else "loose"
    return Fault("idle-resonance", lay, f"wheel and column ring at {hz:.1f} Hz: {why}", felt_in_gear=in_gear)


RINGS_AT: dict[Place, float] = {"steering wheel": 1.0, "seat": 0.7, "floor": 0.3, "body": 0.2}


def _ringing(c: Car, hz: float, damping: float, rise_db: float, direction: Floats) -> Car:
    """The car with one more mode in its wheel, seat and body, that lifts the engine's roll by rise_db at
    `hz`."""
    paths = dict(c.paths)
    passed = abs(mount_response(c.mounts[ROLL], np.array([hz]), False, c)[0])
    for place, share in RINGS_AT.items():
        path = c.paths[place]
        level = gain(c, ROLL, hz, place) * 10 ** (rise_db / 20) * share
        drive = np.full((1, SOURCES), level * 2 * damping / passed / (hz / TILT_HZ) ** path.tilt)
        paths[place] = replace(
            path,
            hz=np.append(path.hz, hz),
            damping=np.append(path.damping, damping),
            drive=np.vstack([path.drive, drive]),
            shape=np.vstack([path.shape, direction[None, :]]),
        )
    return replace(c, paths=paths)

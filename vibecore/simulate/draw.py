"""Sound cars drawn at random, wide in structure as well as in numbers.

Ranges are the general ones of textbooks and trade (mounts 5-18 Hz, seat 4-20 Hz, body 20-35 Hz, column
25-67 Hz, wheel at idle 0.03-0.3 m/s2): Gillespie, Fundamentals of Vehicle Dynamics; Griffin, Handbook of
Human Vibration; both from memory. The rest is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vibecore.balance import EngineLayout, balance_table
from vibecore.engine import Engine
from vibecore.model import Place
from vibecore.simulate.calm import nobody_complains
from vibecore.simulate.car import (
    ROLL,
    SOURCES,
    Accessory,
    Belt,
    Car,
    Fan,
    Idle,
    Mount,
    Path,
    gain,
)
from vibecore.simulate.crank import strongest_order
from vibecore.simulate.physics import Combustion

# Commonness of cylinder counts on the road, roughly; common practice, no source.
CYLINDERS = {1: 0.01, 2: 0.03, 3: 0.16, 4: 0.43, 5: 0.04, 6: 0.18, 8: 0.11, 10: 0.01, 12: 0.03}
TWO_STROKE_SHARE = 0.04  # of the engines of up to four cylinders
# Bands in which a place has its modes, hertz, and how many: (low, high, fewest, most)
MODE_BANDS: dict[Place, tuple[tuple[float, float, int, int], ...]] = {
    "steering wheel": ((9, 20, 0, 1), (20, 35, 0, 2), (27, 67, 1, 2), (60, 130, 0, 2)),
    "seat": ((4, 6, 0, 1), (10, 20, 1, 2), (20, 35, 0, 2), (35, 80, 0, 2)),
    "floor": ((10, 20, 0, 1), (20, 35, 0, 2), (40, 120, 0, 3)),
    "body": ((10, 20, 0, 1), (20, 35, 0, 2), (40, 120, 0, 3)),
    "engine": (),
}
CALM_TRIES = 30
CLEAR_OF_IDLE = 0.15  # a sound car keeps its lively modes this share away from the firing frequency at idle


def uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.uniform(low, high))


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def draw_engine(rng: np.random.Generator) -> Engine:
    """Cylinders as often as cars have them; a few of the small ones are two-strokes."""
    counts = np.array(list(CYLINDERS))
    cylinders = int(rng.choice(counts, p=np.array(list(CYLINDERS.values())) / sum(CYLINDERS.values())))
    strokes = 2 if cylinders <= 4 and rng.random() < TWO_STROKE_SHARE else 4
    return Engine(cylinders, strokes)


def draw_layout(engine: Engine, rng: np.random.Generator) -> EngineLayout:
    """A layout that fits the engine; evenly firing and without a name where the table has none."""
    rows = list(engine.layouts)
    if engine.arrangement is None:
        like = [r for r in balance_table() if (r.cylinders, r.strokes) == (engine.cylinders, engine.strokes)]
        rows += [r for r in like if r.usual and rng.random() < 0.3]
    if not rows:
        return EngineLayout(
            "evenly firing", engine.cylinders, engine.arrangement or "inline", "", engine.strokes
        )
    return rows[int(rng.integers(len(rows)))]


def draw_car(rng: np.random.Generator, engine: Engine | None = None, transmission: str | None = None) -> Car:
    """A sound car, drawn again until it is one that nobody complains of (the last one if none is found)."""
    engine = engine or draw_engine(rng)
    for _ in range(CALM_TRIES):
        car = _draw_once(rng, engine, transmission)
        if nobody_complains(car, rng):
            break
    return car


def _draw_once(rng: np.random.Generator, engine: Engine, transmission: str | None) -> Car:
    layout = draw_layout(engine, rng)
    if transmission is None:
        transmission = "automatic" if rng.random() < 0.75 else "manual"
    idle = _draw_idle(engine, rng)
    diesel = rng.random() < 0.2 and engine.strokes == 4 and engine.cylinders >= 3
    firing_hz = idle.drive_rpm / 60.0 * engine.firing_order
    car = Car(
        engine=engine,
        layout=layout,
        transmission=transmission,
        combustion=_draw_combustion(diesel, rng),
        idle=idle,
        burn=tuple(1 + log_uniform(rng, 0.008, 0.05) * rng.standard_normal(engine.cylinders)),
        squeeze=tuple(1 + log_uniform(rng, 0.002, 0.01) * rng.standard_normal(engine.cylinders)),
        cycle_spread=log_uniform(rng, 0.01, 0.06),
        common_spread=log_uniform(rng, 0.003, 0.02),
        skip_share=0.0,
        inertia_share=log_uniform(rng, 0.002, 0.02),
        drive_load=uniform(rng, 1.0, 2.0),
        mounts=_draw_mounts(firing_hz, rng),
        drive_stiffening=uniform(rng, 1.0, 1.15),
        drive_bridging=1.0,
        reverse_bridging=1.0,
        paths={place: _draw_path(place, idle, engine, rng) for place in MODE_BANDS},
        roll_gain=1.0,
        force_1=0.0,
        couple_1=0.0,
        force_2=0.0,
        couple_2=0.0,
        unbalance=0.0,
        unbalance_shared=uniform(rng, 0.3, 1.0),
        floor_level=log_uniform(rng, 0.008, 0.08),
        floor_colour=uniform(rng, 0.0, 1.0),
        place_sd_db=1.06,  # two tapings then differ by 1.5 dB
    )
    return _with_levels(car, rng)


def _draw_idle(engine: Engine, rng: np.random.Generator) -> Idle:
    high = 950 if engine.cylinders <= 4 else 820
    neutral = uniform(rng, 560 if engine.cylinders > 3 else 650, high)
    if rng.random() < 0.05:
        neutral = uniform(rng, 500, 600)
    if engine.strokes == 2:
        neutral = uniform(rng, 700, 1300)
    drive = max(neutral - uniform(rng, 20, 120), 480.0)
    raised = uniform(rng, max(850.0, neutral * 1.25), max(1600.0, neutral * 1.6))
    return Idle(
        neutral_rpm=neutral,
        drive_rpm=drive,
        raised_rpm=raised,
        sd_rpm=neutral * log_uniform(rng, 0.0015, 0.012),
        tau_s=log_uniform(rng, 0.4, 4.0),
        hunting_rpm=log_uniform(rng, 1.0, 10.0) if rng.random() < 0.5 else 0.0,
        hunting_period_s=log_uniform(rng, 1.5, 9.0),
        governor_s=log_uniform(rng, 0.08, 0.4),
    )


def _draw_combustion(diesel: bool, rng: np.random.Generator) -> Combustion:
    return Combustion(
        compression_ratio=uniform(rng, 15, 18) if diesel else uniform(rng, 8.5, 12.5),
        rod_ratio=uniform(rng, 0.22, 0.34),
        manifold_bar=uniform(rng, 0.95, 1.05) if diesel else uniform(rng, 0.3, 0.5),
        polytropic=uniform(rng, 1.28, 1.36),
        burn_start_deg=uniform(rng, -8, 4) if diesel else uniform(rng, -25, -2),
        burn_length_deg=uniform(rng, 35, 60) if diesel else uniform(rng, 40, 85),
        heat=uniform(rng, 3.0, 6.5),
    )


def _draw_mounts(firing_hz: float, rng: np.random.Generator) -> tuple[Mount, ...]:
    """Roll well below the firing frequency, the others in the usual band; body loads pass none."""
    roll = uniform(rng, 4.0, float(np.clip(firing_hz / 1.4, 4.5, 14.0)))
    others = [uniform(rng, 5.5, 16.0) for _ in range(3)]
    damping = [log_uniform(rng, 0.07, 0.3) for _ in range(4)]
    mounts = [Mount(f, d) for f, d in zip([roll, *others], damping, strict=True)]
    return (*mounts, Mount(1e-3, 0.1))


def _draw_path(place: Place, idle: Idle, engine: Engine, rng: np.random.Generator) -> Path:
    firing = np.array([idle.neutral_rpm, idle.drive_rpm]) / 60.0 * engine.firing_order
    hz: list[float] = []
    for low, high, fewest, most in MODE_BANDS[place]:
        for _ in range(int(rng.integers(fewest, most + 1))):
            f = uniform(rng, low, high)
            if np.all(np.abs(f / firing - 1) > CLEAR_OF_IDLE):
                hz.append(f)
    m = len(hz)
    liveliness = np.exp(rng.normal(-1.0, 0.6, m))
    return Path(
        rigid=rng.standard_normal((SOURCES, 3)) * np.exp(rng.normal(0, 0.4, (SOURCES, 1))) + 0.05,
        hz=np.array(hz),
        damping=np.exp(rng.uniform(np.log(0.02), np.log(0.15), m)),
        drive=rng.standard_normal((m, SOURCES)) * liveliness[:, None],
        shape=rng.standard_normal((m, 3)),
        tilt=float(np.clip(rng.normal(0.15, 0.4), -0.6, 1.2)),
    )


def _with_levels(car: Car, rng: np.random.Generator) -> Car:
    """Scale the paths so that the wheel shakes as a car's does, then hang the rest on that scale."""
    idle_hz = car.idle.neutral_rpm / 60.0
    order, amplitude = strongest_order(car)
    firing_rms = log_uniform(rng, 0.03, 0.3)
    car = replace(car, roll_gain=np.sqrt(2) / amplitude)
    paths = {}
    share = {"steering wheel": 1.0, "seat": 0.55, "floor": 0.5, "body": 0.5, "engine": 6.0}
    for place, path in car.paths.items():
        level = firing_rms * share[place] * (1.0 if place == "steering wheel" else log_uniform(rng, 0.5, 2.0))
        scale = level / gain(car, ROLL, order * idle_hz, place)
        paths[place] = replace(path, rigid=path.rigid * scale, shape=path.shape * scale)
    car = replace(car, paths=paths)
    layout, counterweights = car.layout, uniform(rng, 0.0, 0.15) if car.layout.balanced_1 else 1.0
    shafts = 0.1 if rng.random() < 0.3 else 1.0

    def part(size: float, biggest: float) -> float:
        """Inertia's part for a layout factor, at most about `biggest` of the firing order."""
        return firing_rms * uniform(rng, 0.3, 1.0) * biggest * min(size / 2.0, 1.0)

    return replace(
        car,
        force_1=part(layout.force_1 * counterweights, 0.5),
        couple_1=part(layout.couple_1 * counterweights * shafts, 0.5),
        force_2=part(layout.force_2 * shafts, 0.8),
        couple_2=part(layout.couple_2, 0.2),
        unbalance=log_uniform(rng, 0.001, 0.02),
        accessories=_draw_accessories(rng),
        belt=Belt(uniform(rng, 0.2, 0.45), log_uniform(rng, 0.0003, 0.006)),
        fan=_draw_fan(rng) if rng.random() < 0.6 else None,
    )


def _draw_accessories(rng: np.random.Generator) -> tuple[Accessory, ...]:
    names = ["alternator", "water pump", "power steering", "air conditioning"]
    ratios = {"alternator": (2.2, 3.2), "water pump": (0.9, 1.5), "power steering": (0.9, 1.6),
              "air conditioning": (1.0, 1.7)}  # fmt: skip
    units = []
    for name in names:
        if rng.random() < 0.75:
            units.append(
                Accessory(
                    name,
                    off_half_orders(uniform(rng, *ratios[name])),
                    log_uniform(rng, 0.0005, 0.008),
                    harmonics=(1.0, uniform(rng, 0.0, 0.5)),
                    switched=name == "air conditioning",
                    load=uniform(rng, 0.08, 0.3) if name == "air conditioning" else 0.0,
                )
            )
    return tuple(units)


def _draw_fan(rng: np.random.Generator) -> Fan:
    fan = Fan(uniform(rng, 18, 55), log_uniform(rng, 0.001, 0.012))
    return (fan, replace(fan, runs="cycles"), replace(fan, runs="engine off too"))[int(rng.integers(3))]


def off_half_orders(ratio: float, clear: float = 0.04) -> float:
    """Makers choose pulley ratios off the half orders; so do we."""
    nearest = round(ratio * 2) / 2
    if abs(ratio - nearest) < clear:
        return nearest + clear * (1 if ratio >= nearest else -1)
    return ratio

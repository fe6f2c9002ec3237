"""A simulated car stripped bare, so that closed forms can be held against it."""

from dataclasses import replace

import numpy as np

from vibecore.engine import Engine
from vibecore.simulate.car import Car, Mount, Path
from vibecore.simulate.draw import draw_car

NO_MODES = {"hz": np.zeros(0), "damping": np.zeros(0), "drive": np.zeros((0, 5)), "shape": np.zeros((0, 3))}


def plain_car(
    cylinders: int = 4, seed: int = 1, arrangement: str | None = "inline", neutral_rpm: float = 720.0
) -> Car:
    """Even cylinders, steady speed, four equal mounts, a rigid path, nothing on the belt, no floor."""
    car = draw_car(np.random.default_rng(seed), Engine(cylinders, 4, arrangement), "automatic")  # type: ignore[arg-type]
    steady = replace(car.idle, sd_rpm=0.0, hunting_rpm=0.0, settles=0.0)
    idle = replace(steady, neutral_rpm=neutral_rpm, drive_rpm=640.0, raised_rpm=1440.0)
    rigid = np.zeros((5, 3))
    rigid[:, 2] = 1.0
    return replace(
        car,
        idle=idle,
        burn=(1.0,) * cylinders,
        squeeze=(1.0,) * cylinders,
        cycle_spread=0.0,
        common_spread=0.0,
        inertia_share=1e-9,
        mounts=(Mount(8.0, 0.1),) * 4 + (Mount(1e-3, 0.1),),
        drive_stiffening=1.0,
        paths={place: Path(rigid=rigid, **NO_MODES) for place in car.paths},
        force_1=0.0,
        couple_1=0.0,
        force_2=0.0,
        couple_2=0.0,
        unbalance=0.0,
        floor_level=1e-9,
        accessories=(),
        belt=None,
        fan=None,
    )

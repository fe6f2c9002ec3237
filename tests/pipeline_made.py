"""What the tests of the whole way share: a recording of known contents, the demo jobs diagnosed once."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from tests.speed.closed_form import GRAVITY, Crank, as_recording, noise, shake
from vibecore import diagnose, load_case, read_recording
from vibecore.case import Case
from vibecore.engine import Engine
from vibecore.model import Condition, Diagnosis, Recording

ROOT = Path(__file__).resolve().parents[1]
DEMOS = sorted(p.parent for p in (ROOT / "recordings").glob("*/case.toml"))
FOUR = Engine(4)
IDLE = Condition("steering wheel", "neutral", "idle")
SOUND = {0.5: 0.02, 1.0: 0.06, 1.5: 0.015, 2.0: 0.2, 4.0: 0.05}


def recorded(seconds: float = 60.0, fs_hz: float = 400.0) -> Recording:
    """A crank at 720 rpm that wanders a little, its orders as in SOUND, 0.05 m/s2 rms of noise."""
    t_s = np.arange(round(seconds * fs_hz)) / fs_hz
    crank = Crank(12.0, seconds, swing_hz=0.1)
    accel = shake(crank.angle_rev(t_s), SOUND) + noise(len(t_s), 0.05)
    return as_recording(t_s, accel, fs_hz, gravity=(3.0, -4.0, np.sqrt(GRAVITY**2 - 25)))


@cache
def loaded(folder: Path) -> tuple[Case, tuple[tuple[Recording, Condition], ...]]:
    case = load_case(folder / "case.toml")
    return case, tuple((read_recording(case.file_of(r)), r.condition) for r in case.recordings)


@cache
def diagnosed(folder: Path) -> Diagnosis:
    return diagnose(*loaded(folder))

"""vibecore: why a car shakes at idle, from a phone's accelerometer, and the proof that it was mended.

In the order data flow:

    read_recording   a phone's file -> Recording
    analyze          Recording -> Analysis: speed, orders, overall shake
    load_case        case.toml -> Case: the car, its symptoms, its recordings
    diagnose         Case and recordings -> Diagnosis: ranked causes, next checks, proof of repair
    compare          Analysis before, Analysis after -> Repair

Names are loaded when first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from vibecore.case import load_case as load_case
    from vibecore.engine import Engine as Engine
    from vibecore.errors import VibecoreError as VibecoreError
    from vibecore.model import Condition as Condition
    from vibecore.pipeline import analyze as analyze
    from vibecore.pipeline import diagnose as diagnose
    from vibecore.reading import read_recording as read_recording
    from vibecore.repair.compare import compare as compare

_HOME = {
    "read_recording": "vibecore.reading",
    "Engine": "vibecore.engine",
    "Condition": "vibecore.model",
    "analyze": "vibecore.pipeline",
    "load_case": "vibecore.case",
    "diagnose": "vibecore.pipeline",
    "compare": "vibecore.repair",
    "VibecoreError": "vibecore.errors",
}

__all__ = [*_HOME]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'vibecore' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOME])

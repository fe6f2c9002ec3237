"""Analyses put together from invented levels, so that the truth of a change is known exactly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from vibecore.engine import Engine
from vibecore.model import (
    Analysis,
    Condition,
    Line,
    OrderLevel,
    OrderTable,
    Overall,
    Recording,
    Signal,
    Spectrum,
    SpeedTrack,
)
from vibecore.repair import FaultLines, FaultSignature

FOUR = Engine(4)
REFERENCE = Path(__file__).parent / "reference"
SOUND = {0.5: 0.02, 1.0: 0.03, 1.5: 0.01, 2.0: 0.12, 2.5: 0.005, 3.0: 0.005, 3.5: 0.004, 4.0: 0.02}
WHEEL = Condition("steering wheel", "drive", "idle", "before")
AFTER = replace(WHEEL, stage="after")


def made(
    levels: dict[float, float],
    condition: Condition = WHEEL,
    *,
    name: str = "invented",
    rpm: float = 700.0,
    fs_hz: float = 200.0,
    error: float = 0.05,
    other: tuple[Line, ...] = (),
    floor: float = 1e-6,
    seconds: float = 30.0,
    gravity: tuple[float, float, float] = (0.0, 0.0, 9.81),
    weighted: float | None = None,
    in_hertz: bool = False,
) -> Analysis:
    """An analysis with these order levels (m/s2), each known to `error` (share, one standard deviation).
    in_hertz: the orders stand in the spectrum over hertz as well."""
    n = 64
    good, t = np.ones(n, bool), np.arange(n) / fs_hz
    everything = [*levels.values(), *(ln.rms_m_s2 for ln in other)]
    ms = float(np.sum(np.square(everything)))
    in_orders = _spectrum("order", np.arange(0, 12, 0.01), floor, [(ln.order, ln.rms_m_s2) for ln in other])
    hertz = [(o * rpm / 60, v) for o, v in levels.items() if in_hertz and o * rpm / 60 < fs_hz / 2]
    hertz += [(ln.frequency_hz, ln.rms_m_s2) for ln in other]
    return Analysis(
        Recording(name, t, np.tile(gravity, (n, 1)), fs_hz, True, n, 0),
        Signal(fs_hz, 0.0, np.zeros((n, 3)), good, (0.0, seconds), True, 0.0),
        SpeedTrack(t, np.full(n, rpm), rpm, rpm - 1, rpm + 1, 3.0, 0.99, "vibration", t * rpm / 60),
        OrderTable(_table(levels, rpm, fs_hz, error), other, in_orders, ms, 0.0, 0.0, ms),
        other,
        _spectrum("hertz", np.arange(0, fs_hz / 2, 0.1), floor, hertz),
        Overall(ms**0.5, weighted, None if weighted is None else "ISO 2631-1 Wk, Wd", None),
        condition,
    )


def _table(levels: dict[float, float], rpm: float, fs_hz: float, error: float) -> tuple[OrderLevel, ...]:
    return tuple(
        OrderLevel(o, o * rpm / 60, v, v * max(1 - 1.96 * error, 0), v * (1 + 1.96 * error), 20.0, 1.0, True)
        if o * rpm / 60 < 0.475 * fs_hz
        else OrderLevel(o, o * rpm / 60, None, None, None, None, None, False, "above half the rate")
        for o, v in levels.items()
    )


def _spectrum(
    unit: Literal["hertz", "order"],
    x: np.ndarray,
    floor: float,
    lines: Sequence[tuple[float | None, float]],
) -> Spectrum:
    """All of a line's power in the nearest step; a line that stands nowhere is left out."""
    psd, step = np.full(len(x), floor), float(x[1] - x[0])
    for at, rms in lines:
        if at is not None:
            psd[np.argmin(np.abs(x - at))] += rms**2 / step
    return Spectrum(x, psd, unit, 20.0)


def scaled(factor_db: float, orders: tuple[float, ...]) -> dict[float, float]:
    return {o: v * 10 ** (factor_db / 20) if o in orders else v for o, v in SOUND.items()}


def on(*orders: float) -> FaultSignature:
    """A fault whose own lines are these orders."""
    return FaultSignature(FaultLines(orders))


def within(**where: Any) -> FaultSignature:
    """A fault that shows between half orders, in a band of hertz or on lines of its own frequency."""
    return FaultSignature(FaultLines(**where))

"""What speeds are likely before listening: common idle speeds, how the engine was held, the tachometer.

Idle speeds of petrol cars run from 600 to 900 rpm by plate (common practice; SAE 850996 uses 600-750); faults
and cold engines stretch that. All numbers without another source here are common practice.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np

from vibecore import normal
from vibecore.drives import ON_ROAD_RPM
from vibecore.model import Condition

LOWEST_RPM = 330.0  # an engine barely turning over by itself
HIGHEST_RPM = 6000.0
# Chance that none of the strongest lines is the engine's: nothing said; said how it was held or read from the
# tachometer; firing order above what can be seen, where a sound engine hardly shows; on the road, where the
# road's shake hides the engine's.
NO_ENGINE, NO_ENGINE_KNOWN, NO_ENGINE_UNDER, NO_ENGINE_ON_ROAD = 0.1, 0.03, 0.15, 0.7
HELD_RPM = 2000.0  # above it the car is likely on the road, whatever was said
TACHOMETER_SIGMA = 0.045  # of the reading: good to about 10 % (two standard deviations and rounding)
TACHOMETER_TRUSTED = 0.12
TACHOMETER_WRONG = 0.02  # chance that the reading has nothing to do with this recording
# Mixture parts: weight, middle (rpm), spread of the natural logarithm below and above the middle. A warm
# engine does not run much below 450 rpm nor idle much above 950.
_IDLE, _IN_GEAR = (710.0, 0.17, 0.16), (650.0, 0.17, 0.17)
_RAISED, _DRIVING = (1200.0, 0.20, 0.30), (2100.0, 0.35, 0.5)
IDLE = ((0.965, *_IDLE), (0.025, *_RAISED), (0.01, *_DRIVING))
IDLE_IN_GEAR = ((0.98, *_IN_GEAR), (0.01, *_RAISED), (0.01, *_DRIVING))
RAISED = ((0.05, *_IDLE), (0.90, *_RAISED), (0.05, *_DRIVING))
ANY = ((0.75, *_IDLE), (0.20, *_RAISED), (0.05, *_DRIVING))
# Where a sweep begins: it is asked for from the idle up, yet some feet are on the pedal before it starts.
SWEPT_FROM = ((0.88, *_IDLE), (0.10, *_RAISED), (0.02, *_DRIVING))
SWEPT_OVER = (1.7, 0.3, 0.3)  # its mean over its low end: it goes up to twice to four times the idle
ON_ROAD = ((0.05, *_IDLE), (0.35, *_RAISED), (0.60, *_DRIVING))
HINT_WRONG = 0.1  # chance that what the other recordings say does not hold for this one


class Expected(Protocol):
    """A density over the natural logarithm of speed that is expected from elsewhere."""

    def density(self, rpm: float) -> float: ...


def borne_out(rpm: float, condition: Condition) -> bool:
    """Whether the tachometer was read and shows about this speed."""
    said = condition.tachometer_rpm
    return bool(said) and abs(rpm / (said or rpm) - 1) <= TACHOMETER_TRUSTED


def log_prior(
    rpm: float, condition: Condition, hint: Expected | None = None, low_rpm: float | None = None
) -> float:
    """Natural log of the prior density of log speed under what the person said about the recording. low_rpm:
    the low end of the speed's path, of which a sweep's hold and hint tell: there it is about the idle."""
    idle = IDLE_IN_GEAR if condition.in_gear else IDLE
    parts = {"idle": idle, "raised": RAISED, "sweep": SWEPT_FROM}.get(condition.speed_hold or "", ANY)
    parts = ON_ROAD if condition.on_road else parts
    told = low_rpm if low_rpm and parts is SWEPT_FROM else rpm
    density = sum(
        weight * _split_normal(np.log(told / middle), low, high) for weight, middle, low, high in parts
    )
    if hint:
        density = HINT_WRONG * density + (1 - HINT_WRONG) * hint.density(told)
    if parts is SWEPT_FROM:
        middle, low, high = SWEPT_OVER
        density *= _split_normal(np.log(rpm / told / middle), low, high)
    said = condition.tachometer_rpm
    if said:
        close = _split_normal(np.log(rpm / said), TACHOMETER_SIGMA, TACHOMETER_SIGMA)
        density = (1 - TACHOMETER_WRONG) * close + TACHOMETER_WRONG * density
    return float(np.log(density + 1e-12))


def log_no_engine(condition: Condition, firing_order: float, highest_hz: float) -> float:
    """Natural log of the chance that the lines seen are none of the engine's. highest_hz: up to where lines
    can be seen."""
    if _on_road(condition):
        return float(np.log(NO_ENGINE_ON_ROAD))
    said = condition.tachometer_rpm
    if firing_order * (said or _usual_rpm(condition)) / 60 > highest_hz:
        return float(np.log(NO_ENGINE_UNDER))
    return float(np.log(NO_ENGINE_KNOWN if said or condition.speed_hold else NO_ENGINE))


def _on_road(condition: Condition) -> bool:
    if condition.on_road:
        return True
    limit = ON_ROAD_RPM if condition.speed_hold is None else HELD_RPM
    return (condition.tachometer_rpm or 0.0) > limit


def _usual_rpm(condition: Condition) -> float:
    return _RAISED[0] if condition.speed_hold in ("raised", "sweep") else _IDLE[0]


def _split_normal(x: float, below: float, above: float) -> float:
    """Density of two half normal distributions that meet at 0, of these standard deviations."""
    return float(normal.density(x, below if x < 0 else above, 0.5 * (below + above)))

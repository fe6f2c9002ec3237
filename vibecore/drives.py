"""Is a recording a drive on the road, where nobody said how the engine was held?

Held at idle against the brake or driven: nothing in the case file tells the two apart but what was said of
the hold. Where nothing was, the tachometer tells, or the phone that feels the car speed up and slow down, or
the complaint itself: who says that the car shakes on the move, and not at rest, records it there.
"""

from __future__ import annotations

import re

import numpy as np

from vibecore.blocks import cut
from vibecore.model import Condition, Signal, Symptoms, Warn

ON_ROAD_RPM = 1250.0  # held in gear no engine turns as fast, cold and warm; common practice, no source
AT_REST = {"in gear", "neutral"}  # of the complaints
IDLE_WORDS = r"idle|idling|ralenti|standgas"  # in a file's name
# Median change of the mean over two seconds to the next: 0.22 in a real phone's recording of a drive through
# town, up to 0.05 in simulated standing cars.
MOVING_M_S2 = 0.12
MOVING_STEP_S = 2.0
LEAST_STEPS = 6

TAKEN_IN_GEAR = Warn(
    "taken-for-drive",
    "In gear, and nobody said how the engine was held: taken for a drive on the road. If the car stood, say "
    "that it was held at idle.",
)
TAKEN_MOVING = Warn(
    "taken-for-drive",
    "Nobody said which gear the car was in nor how the engine was held, and it speeds up and slows down: "
    "taken for a drive on the road. If the car stood, say that it was held at idle.",
)


def told(condition: Condition) -> tuple[Warn, ...]:
    """That a recording is taken for a drive though nobody said so."""
    if not condition.on_road or condition.speed_hold is not None:
        return ()
    return (TAKEN_IN_GEAR if condition.in_gear else TAKEN_MOVING,)


def may_be_drive(name: str, tachometer_rpm: float | None, symptoms: Symptoms) -> bool:
    """Is it on the move alone that the car shakes, and does neither the file's name nor a reading say that it
    idled?"""
    said = {word.casefold() for word in symptoms.shakes_when}
    on_the_move = "moving" in said and said.isdisjoint(AT_REST)
    return on_the_move and tachometer_rpm is None and not re.search(IDLE_WORDS, name.casefold())


def is_drive(condition: Condition, signal: Signal) -> bool:
    """Whether a recording whose hold nobody told is one, by its tachometer and by what it feels. Where the
    gear was not told either a fast engine may be revved at rest: then the car must be felt to move."""
    if condition.speed_hold is not None:
        return False
    read = condition.tachometer_rpm
    if condition.gear is None:
        may = condition.place != "engine" and (read is None or read > ON_ROAD_RPM)  # an engine rocks at rest
        return may and is_moving(signal)
    return condition.in_gear and ((read or 0.0) > ON_ROAD_RPM or is_moving(signal))


def is_moving(signal: Signal) -> bool:
    """Does it accelerate slowly all the time, as only a driven car does? One slip of the phone is none."""
    size = round(MOVING_STEP_S * signal.fs_hz)
    means = cut(signal.accel_m_s2, size).mean(axis=1)
    if len(means) < LEAST_STEPS:
        return False
    return float(np.median(np.linalg.norm(np.diff(means, axis=0), axis=1))) > MOVING_M_S2

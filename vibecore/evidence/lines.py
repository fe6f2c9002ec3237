"""Lines on no multiple of one half order, followed from recording to recording.

A line that keeps its order while the engine's speed changes turns with the engine (belt and what it drives). One
that keeps its hertz, or is there with the engine off, has its own motor. One that is there in gear only comes with
the load.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

from vibecore.evidence.scene import Scene
from vibecore.model import Analysis, Line

Keeps = Literal["order", "hertz"]

SAME_ORDER = 0.02  # share: two lines this near in order are one; belts creep by less than 1 %
SAME_HERTZ = 0.02  # share: electric fans hold their speed within about 2 %; common practice, no source
SPEEDS_APART = 0.03  # share: below this difference in speed, order and hertz cannot be told apart
CLEAR_OF_HALF_ORDER = 0.04  # orders; nearer lines may be the skirt of a half order
STANDS_OUT_DB = 8.0  # over the floor, to be followed at all
LEAST_LINE_M_S2 = 0.006  # about the noise of a coarse phone in a narrow band


class Followed(NamedTuple):
    """A line with what it keeps. level_db: 20 log10 of its rms in m/s2, mean over the recordings."""

    keeps: Keeps
    order: float | None
    hertz: float
    level_db: float
    seen_in: tuple[str, ...]
    compared: int  # recordings at other speeds in which it could have been seen


def strongest_kept(scene: Scene, keeps: Keeps) -> Followed | None:
    """The strongest line that keeps its order (or hertz) over recordings at different speeds; None if none."""
    running = scene.running
    best: Followed | None = None
    for i, first in enumerate(running):
        for line in _clear(first):
            found = _follow(line, first, [a for j, a in enumerate(running) if j != i], keeps)
            if found and (best is None or found.level_db > best.level_db):
                best = found
    return best


def can_compare(scene: Scene) -> bool:
    """Whether two recordings are far enough apart in speed to tell order from hertz."""
    speeds = [a.speed.mean_rpm for a in scene.running if a.speed]
    return len(speeds) > 1 and max(speeds) / min(speeds) > 1 + SPEEDS_APART


def with_engine_off(scene: Scene) -> tuple[Line, Analysis] | None:
    """The strongest line of the recordings with the engine off."""
    found = [
        (line, a)
        for a in scene.role("engine off")
        for line in a.lines
        if line.above_floor_db >= STANDS_OUT_DB and line.rms_m_s2 >= LEAST_LINE_M_S2
    ]
    return max(found, key=lambda pair: pair[0].rms_m_s2, default=None)


def in_gear_only(scene: Scene) -> tuple[Line, Analysis] | None:
    """The strongest line in gear that has no fellow in neutral, by order or by hertz."""
    neutral = [a for a in scene.role("neutral") if a.orders]
    drive = [a for a in scene.role("drive") if a.orders]
    if not neutral or not drive:
        return None
    others = [line for a in neutral for line in (a.orders.other_lines if a.orders else ())]
    found = [(line, a) for a in drive for line in _clear(a) if not any(_alike(line, o) for o in others)]
    return max(found, key=lambda pair: pair[0].rms_m_s2, default=None)


def level_db(rms_m_s2: float) -> float:
    return 20 * math.log10(max(rms_m_s2, LEAST_LINE_M_S2))


def _clear(analysis: Analysis) -> list[Line]:
    lines = analysis.orders.other_lines if analysis.orders else ()
    return [
        line
        for line in lines
        if line.order is not None
        and abs(line.order * 2 - round(line.order * 2)) / 2 >= CLEAR_OF_HALF_ORDER
        and line.above_floor_db >= STANDS_OUT_DB
        and line.rms_m_s2 >= LEAST_LINE_M_S2
    ]


def _alike(a: Line, b: Line) -> bool:
    same_order = a.order is not None and b.order is not None and abs(a.order / b.order - 1) < SAME_ORDER
    return same_order or abs(a.frequency_hz / b.frequency_hz - 1) < SAME_HERTZ


def _follow(line: Line, first: Analysis, others: Sequence[Analysis], keeps: Keeps) -> Followed | None:
    """The line with its fellows in recordings at other speeds; alone it counts by how it drifts."""
    members, names, compared = [line], [first.name], 0
    for other in others:
        if not first.speed or not other.speed:
            continue
        if abs(other.speed.mean_rpm / first.speed.mean_rpm - 1) < SPEEDS_APART:
            continue
        compared += 1
        fellow = _fellow(line, other, keeps)
        if fellow is not None:
            members.append(fellow)
            names.append(other.name)
    told = "engine" if keeps == "order" else "clock"
    alone = len(members) == 1
    if alone and (compared > 0 or line.drifts_with != told):
        return None
    power = sum(m.rms_m_s2**2 for m in members) / len(members)
    return Followed(keeps, line.order, line.frequency_hz, level_db(math.sqrt(power)), tuple(names), compared)


def _fellow(line: Line, other: Analysis, keeps: Keeps) -> Line | None:
    def apart(candidate: Line) -> float:
        if keeps == "hertz":
            return abs(candidate.frequency_hz / line.frequency_hz - 1) / SAME_HERTZ
        assert candidate.order is not None and line.order is not None
        return abs(candidate.order / line.order - 1) / SAME_ORDER

    near = [c for c in _clear(other) if apart(c) < 1.0]
    return min(near, key=apart, default=None)

"""Lines on no engine order that one recording, or recordings of one kind, show and no other."""

from __future__ import annotations

import re

from vibecore.constants import SAME_HERTZ
from vibecore.evidence.lines import (
    MAKES_THE_SHAKE_DB,
    alike,
    cannot_be_followed,
    clear,
    gone_in_gear,
    may_be,
    of_a_motor,
    share_db,
    standing,
    strongest_kept,
)
from vibecore.evidence.scene import Role, Scene
from vibecore.evidence.told_apart import turns
from vibecore.model import Analysis, Line

# A line with nothing to compare it with counts above the car's own low modes, or where it is narrower.
ABOVE_MODES_HZ = 8.0
ONES_TOLD: tuple[Role, ...] = ("drive", "unit on")  # what comes there only is told of by itself
FAN_WORD = r"\bfans?\b"  # in a unit's name


def strongest_alone(scene: Scene) -> tuple[Line, Analysis] | None:
    """The strongest line on no half order that a belt's unit or a fan can make; none that came when a fan was
    switched on, whose it is."""
    found = [
        (line, a)
        for a in standing(scene)
        for line in of_units(a, scene)
        if not (only_fans_on(a) and can_tell(scene, "unit on") and not _in_neutral(line, scene))
    ]
    return max(found, key=lambda pair: pair[0].rms_m_s2, default=None)


def strongest_not_followed(scene: Scene) -> tuple[Line, Analysis] | None:
    """The strongest such line that keeps no hertz, and of which no other recording can show whether it keeps
    its order, for there it would lie above what the phone can see; or that is most of the shake in one
    recording and in no other: a fan starts and stops with the coolant's heat."""
    motor = strongest_kept(scene, "hertz")
    found = [
        (line, a)
        for a in standing(scene)
        for line in of_units(a, scene)
        if (may_be(line, "order", a) and cannot_be_followed(line, a, scene)) or _by_itself(line, a, scene)
        if motor is None or abs(line.frequency_hz - motor.hertz) > SAME_HERTZ * motor.hertz
    ]
    return max(found, key=lambda pair: share_db(pair[0], pair[1], scene), default=None)


def _by_itself(line: Line, analysis: Analysis, scene: Scene) -> bool:
    """Whether it is most of the shake where it is, and elsewhere there is none like it, although nothing was
    switched on and no gear was in."""
    told = any(can_tell(scene, role) and analysis in scene.role(role) for role in ONES_TOLD)
    most = not told and share_db(line, analysis, scene) >= MAKES_THE_SHAKE_DB
    return most and all(a is analysis for _, a in fellows(line, scene))


def of_units(analysis: Analysis, scene: Scene) -> list[Line]:
    """The lines on no half order that a belt's unit or a fan can make, and neither a mode of the car nor a
    turbine; where the engine's speed is not known, of those that are most of the shake."""
    return [
        line
        for line in of_a_motor(analysis)
        if (line.frequency_hz >= ABOVE_MODES_HZ or _turns(line, analysis))
        and (may_be(line, "order", analysis) or may_be(line, "hertz", analysis))
        and not gone_in_gear(line, analysis, scene)
    ]


def _turns(line: Line, analysis: Analysis) -> bool:
    order, table = line.order, analysis.orders
    return table is not None and order is not None and turns(table.spectrum, order)


def fellows(line: Line, scene: Scene) -> list[tuple[Line, Analysis]]:
    """It in every recording that shows it, by order or by hertz."""
    return [(other, a) for a in standing(scene) for other in clear(a) if alike(line, other)]


def only_in(scene: Scene, role: Role) -> tuple[Line, Analysis] | None:
    """The strongest line of the recordings of `role` that has no fellow in neutral."""
    found = [(line, a) for a in scene.role(role) for line in clear(a) if not _in_neutral(line, scene)]
    return max(found, key=lambda pair: pair[0].rms_m_s2, default=None)


def strongest_gone(scene: Scene) -> tuple[Line, Analysis] | None:
    """The strongest line in neutral that a converter's turbine makes, gone where the car is held in gear."""
    found = [(line, a) for a in scene.role("neutral") for line in clear(a) if gone_in_gear(line, a, scene)]
    return max(found, key=lambda pair: pair[0].rms_m_s2, default=None)


def only_fans_on(analysis: Analysis) -> bool:
    """Whether all that was switched on is a fan, by its name."""
    units = analysis.condition.accessories
    return bool(units) and all(re.search(FAN_WORD, unit.casefold()) for unit in units)


def can_tell(scene: Scene, role: Role) -> bool:
    """Whether what comes with a gear or a unit can be told: with it and without it orders are known."""
    return all(any(a.orders for a in scene.role(one)) for one in (role, "neutral"))


def _in_neutral(line: Line, scene: Scene) -> bool:
    """Whether it has a fellow in neutral, by order or by hertz."""
    known = (a for a in scene.role("neutral") if a.orders)
    return any(alike(line, o) for a in known if a.orders for o in (*a.orders.other_lines, *a.lines))

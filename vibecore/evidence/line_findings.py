"""Findings from lines on no engine order: belt and units, electric fan, gearbox.

A line has a chance to be found and a level, in sound cars and under each cause. The numbers are the physics
of the design put in figures: common practice, no source, set with simulated cars of the tuning seeds in
view.
"""

from __future__ import annotations

import math
import re

from vibecore.constants import SOUND
from vibecore.drifting import narrower_in_hertz_db
from vibecore.engine import Vehicle
from vibecore.evidence import lines, lone_lines
from vibecore.evidence.likelihood import Finding, Presence, log_t
from vibecore.evidence.scene import Role, Scene
from vibecore.model import Analysis, Line
from vibecore.units import level_text

# Chance that such a line is found, and its share of the shake that is felt (`lines.share_db`): a fault's
# line is most of it, whatever the car and the place pass on; lines of sound cars are a small part of it.
KEEPS_ORDER = Presence((0.12, -17.0, 8.0), {"accessory-drive": (0.78, -4.0, 3.5)})
# A manual gearbox's second shaft turns with the crank while the clutch is up, out of gear too; its gears let
# it turn slower by a half at most. Common practice, no source.
SECOND_SHAFT_ORDERS = (0.5, 0.95)
SECOND_SHAFT = Presence(KEEPS_ORDER.normal, {**KEEPS_ORDER.causes, "driveline": (0.25, -4.0, 3.5)})
KEEPS_HERTZ = Presence((0.22, -16.0, 8.0), {"cooling-fan": (0.70, -3.5, 3.5)})
OFF_ORDER = Presence(
    (0.35, -14.0, 7.0), {"accessory-drive": (0.85, -4.5, 4.0), "cooling-fan": (0.80, -4.0, 4.0)}
)
# Of such a line, `drifting.narrower_in_hertz_db`: centre and spread, as in 100 such lines of
# simulated cars.
NARROWER_IN_HERTZ_DB = {"accessory-drive": (-3.5, 3.0), "cooling-fan": (3.5, 3.0)}
KEEPS_FROM_DB = 2.0  # said from here: belt or fan is then three times as likely as the other
# With the engine off nothing should turn; a fan may, sound or not, and it may also just then be still.
WHEN_OFF = Presence((0.1, -16.0, 8.0), {"cooling-fan": (0.45, -3.5, 3.5)})
BATTERY_SLOWS = 0.85  # a motor at 12 V on the battery against 14 V from the alternator: 12 / 14
# A line in gear only: chance and share of some 200 simulated cars of six worlds without such a fault and of
# 26 with it. Behind the converter nothing turns much faster than the crank; a fan may just then have started,
# and burning that is uneven rings a low mode harder under load.
BEHIND_ORDERS = (0.3, 1.5)
GEAR_ONLY = Presence(
    (0.44, -20.0, 5.5),
    {"driveline": (0.85, -4.0, 4.0), "uneven-combustion": (0.6, -9.0, 5.0)},
    {"driveline": 0.55, "uneven-combustion": 0.3},
)
FAST_IN_GEAR = Presence((0.44, -20.0, 5.5), {"cooling-fan": (0.5, -4.0, 4.0)}, {"cooling-fan": 0.15})
# A turbine that shakes in neutral and stands in gear, among other faults of the driveline; of 333 simulated
# cars of six worlds one showed such a line by chance.
GONE_IN_GEAR = Presence((0.005, -17.0, 9.0), {"driveline": (0.1, -4.0, 4.0)})
UNIT_ONLY = Presence(
    (0.36, -18.0, 8.0), {"accessory-drive": (0.45, -9.0, 8.0), "cooling-fan": (0.45, -15.0, 9.0)}
)
# A fan that is switched on shows its line in sound cars as well; none of the belt's comes with it.
FAN_ONLY = Presence((0.6, -18.0, 8.0), {"cooling-fan": (0.9, -4.5, 4.0)})
TURBINE = {"converter": "a turbine turns a little slower than the crank and stands in gear"}
BELT = "belt"  # as the catalogue calls that part
CRANK_NAMES = ("crank", "crankshaft", "crankpulley", "crankshaftpulley")  # letters only


def line_that_turns_with_engine(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """A line on no half order that keeps its order."""
    return _kept(scene, "order", KEEPS_ORDER, vehicle)


def line_of_its_own_speed(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """A line that keeps its hertz while the engine's speed changes."""
    return _kept(scene, "hertz", KEEPS_HERTZ, vehicle)


def line_on_no_order(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """Where all recordings are at one speed, or none at another could show it, a line on no order may be belt
    or fan."""
    compared = lines.can_compare(scene)
    found = _not_followed(scene) if compared else lone_lines.strongest_alone(scene)
    if not scene.running or (compared and found is None):
        return None
    names = tuple(a.name for a in scene.running)
    if found is None:
        return Finding(
            "line alone",
            f"no line stands off the orders in {names[0]}",
            OFF_ORDER.log_likelihood(None),
            names,
        )
    line, analysis = found
    text = f"{line_words(line)} stands on no engine order in {analysis.name}"
    logs = OFF_ORDER.log_likelihood(lines.share_db(line, analysis, scene))
    kept, how = _keeps(line, scene)
    text += how
    return Finding("line alone", text, {c: log + kept[c] for c, log in logs.items()}, (analysis.name,))


def _not_followed(scene: Scene) -> tuple[Line, Analysis] | None:
    """A line that may turn with the engine, too high elsewhere to be followed, if none that is followed makes
    more of the shake."""
    found = lone_lines.strongest_not_followed(scene)
    kept = lines.strongest_kept(scene, "order")
    if found is None or (kept is not None and kept.share_db >= lines.share_db(*found, scene)):
        return None
    return found


def _keeps(line: Line, scene: Scene) -> tuple[dict[str, float], str]:
    """What the line keeps to while the idle wanders tells of belt and fan, and of a sound car's line as if it
    were either's; and in words."""
    seen = lone_lines.fellows(line, scene)
    narrower = [narrower_in_hertz_db(a.signal, a.speed, ln.frequency_hz) for ln, a in seen if a.speed]
    mean = sum(narrower) / len(narrower)
    logs = {cause: log_t(mean, *row) for cause, row in NARROWER_IN_HERTZ_DB.items()}
    either = math.log(sum(math.exp(log) for log in logs.values()) / len(logs))
    how = "hertz" if mean > 0 else "order"
    said = f", and keeps its {how} as the idle wanders" if abs(mean) > KEEPS_FROM_DB else ""
    return {SOUND: either, **logs}, said


def _kept(scene: Scene, keeps: lines.Keeps, presence: Presence, vehicle: Vehicle) -> Finding | None:
    if not scene.running:
        return None
    found = lines.strongest_kept(scene, keeps)
    name = "line keeps order" if keeps == "order" else "line keeps hertz"
    if (keeps == "order" or found is None) and lines.can_compare(scene) and _not_followed(scene) is not None:
        return None  # it is told of as one alone
    if found is None:
        # A unit that was on in one recording only cannot be followed to another: that is no proof of calm.
        if not lines.can_compare(scene) or lone_lines.only_in(scene, "unit on") is not None:
            return None
        return Finding(
            name, f"no line keeps its {keeps} from speed to speed", presence.log_likelihood(None), ()
        )
    what = f"{level_text(10 ** (found.level_db / 20))} m/s2"
    where = " and ".join(found.seen_in)
    units = _units(found.order, vehicle) if keeps == "order" else {}
    if keeps == "order":
        text = f"a line of {what} at order {found.order:.2f} keeps its order in {where}"
        text += f"; {' and '.join(units.values())}" if units else ""
    else:
        text = f"a line of {what} at {found.hertz:.1f} Hz keeps its hertz in {where}"
    whatever = keeps == "hertz" and found.raised_too
    if keeps == "order" and vehicle.transmission == "manual" and _in(SECOND_SHAFT_ORDERS, found.order):
        presence = SECOND_SHAFT
    logs = presence.log_likelihood(found.share_db)
    points_at = {unit: f"{turns}, as the line does" for unit, turns in units.items()}
    return Finding(name, text, logs, found.seen_in, points_at=points_at, any_speed=whatever)


def _in(band: tuple[float, float], order: float | None) -> bool:
    return order is not None and band[0] <= order <= band[1]


def _units(order: float | None, vehicle: Vehicle) -> dict[str, str]:
    """Which pulleys turn at that order, and whether the belt does, in words, if the sizes were given."""
    own = crank_pulley(vehicle)
    crank = vehicle.pulleys_mm.get(own, 0.0) if own is not None else 0.0
    if order is None or not crank:
        return {}
    turns = {
        name: (crank / diameter, f"the {name} turns at")
        for name, diameter in vehicle.pulleys_mm.items()
        if name != own
    }
    if vehicle.belt_length_mm:
        turns[BELT] = math.pi * crank / vehicle.belt_length_mm, "the belt itself goes round at"
    return {
        unit: f"{words} {at:.2f}"
        for unit, (at, words) in turns.items()
        if abs(order / at - 1) < lines.SAME_ORDER
    }


def crank_pulley(vehicle: Vehicle) -> str | None:
    """The name that the crank's own pulley goes by among those given; None if it is not among them."""
    return next((name for name in vehicle.pulleys_mm if _letters(name) in CRANK_NAMES), None)


def _letters(name: str) -> str:
    return re.sub("[^a-z]", "", name.casefold())


def line_words(line: Line) -> str:
    return f"a line of {level_text(line.rms_m_s2)} m/s2 at {line.frequency_hz:.1f} Hz"


def line_with_engine_off(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """What shakes with the engine off."""
    off = scene.role("engine off")
    if not off:
        return None
    found = lines.with_engine_off(scene)
    names = tuple(a.name for a in off)
    if found is None:
        if any(a.overall.rms_m_s2 > lines.STILL_M_S2 for a in off):
            return None  # something stirs, though no line that this rate can show
        return Finding("engine off", f"no line stands in {names[0]}", WHEN_OFF.log_likelihood(None), names)
    line, analysis = found
    text = f"{line_words(line)} stands in {analysis.name}"
    kept = lines.strongest_kept(scene, "hertz")
    if kept is not None and BATTERY_SLOWS < line.frequency_hz / kept.hertz < 1 / BATTERY_SLOWS:
        # How strong it is was weighed there; left is how often what is heard there is heard here too.
        logs = {c: math.log(WHEN_OFF.chance(c) / KEEPS_HERTZ.chance(c)) for c in (SOUND, "cooling-fan")}
    else:
        logs = WHEN_OFF.log_likelihood(lines.share_db(line, analysis, scene))
    return Finding("engine off", text, logs, (analysis.name,))


def line_in_gear_only(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """A line that comes with the load in gear."""
    found = lone_lines.only_in(scene, "drive")
    fast = found is not None and not behind_converter(found[0])
    return _only("gear only", scene, "drive", "in gear only", found, FAST_IN_GEAR if fast else GEAR_ONLY)


def behind_converter(line: Line) -> bool:
    """Whether what is driven by the converter may turn so."""
    return _in(BEHIND_ORDERS, line.order)


def line_gone_in_gear(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """A line a little under order 1 that is gone where the car is held in gear, as a turbine is."""
    held = [a for a in scene.role("drive") if a.orders]
    if not held or not any(a.orders for a in scene.role("neutral")):
        return None
    found = lone_lines.strongest_gone(scene)
    names = tuple(a.name for a in held)
    if found is None:
        text = f"no line a little under order 1 is gone in {names[0]}"
        return Finding("gone in gear", text, GONE_IN_GEAR.log_likelihood(None), names)
    line, analysis = found
    text = f"{line_words(line)}, order {line.order:.2f}, in {analysis.name} is gone in {names[0]}"
    logs = GONE_IN_GEAR.log_likelihood(lines.share_db(line, analysis, scene))
    return Finding("gone in gear", text, logs, (analysis.name, *names), points_at=TURBINE)


def line_with_unit_only(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """A line that comes when a unit is switched on: the unit, its belt, or the fan that starts with it; the
    fan's alone where it is a fan that was switched on."""
    on = scene.role("unit on")
    units = {name for a in on for name in a.condition.accessories}
    when = f"only with {' and '.join(sorted(units))} on"
    found = lone_lines.only_in(scene, "unit on")
    if all(lone_lines.only_fans_on(a) for a in on):
        return _only("fan only", scene, "unit on", when, found, FAN_ONLY)
    return _only("unit only", scene, "unit on", when, found, UNIT_ONLY)


def _only(
    name: str, scene: Scene, role: Role, when: str, found: tuple[Line, Analysis] | None, presence: Presence
) -> Finding | None:
    if not lone_lines.can_tell(scene, role):
        return None
    if found is None:
        names = tuple(a.name for a in scene.role(role) if a.orders)
        return Finding(name, f"no line is there {when}, in {names[0]}", presence.log_likelihood(None), names)
    line, analysis = found
    text = f"{line_words(line)} is there {when}, in {analysis.name}"
    return Finding(
        name, text, presence.log_likelihood(lines.share_db(line, analysis, scene)), (analysis.name,)
    )

"""Findings beside the levels: steadiness of phase, hunting, lines on no order, engine off, idle against its
figure.

Each finding reads one quantity and hands back its log likelihood under every cause. A quantity with a value
has a centre and a spread for sound cars and for each cause that moves it; one that is there or not has a
chance. Tails are those of Student's t. Centres, spreads and chances are the physics of the design put in
numbers; they are common practice, no source, and were checked on simulated cars of the tuning seeds.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from vibecore.engine import Vehicle
from vibecore.evidence import lines
from vibecore.evidence.ground import JUDDER_HZ, judder_db
from vibecore.evidence.levels import orders_of
from vibecore.evidence.likelihood import Finding, Presence, Spread
from vibecore.evidence.scene import Role, Scene
from vibecore.model import Analysis, Line

COHERENCE_FROM_DB = 6.0  # a line must stand this far over its floor before its phase means anything
# logit of the half orders' coherence: a dead cylinder fails every cycle, unsteady burning does not.
HALF_COHERENCE = Spread(
    (0.0, 1.5), {"cylinder-misfire": (2.2, 1.2, 0.9), "uneven-combustion": (-1.0, 1.2, 0.9)}
)
# 20 log10 of the idle's standard deviation in percent. Sound idles wander by 0.3-1.3 %.
HUNTING_DB = Spread((-1.0, 5.0), {"uneven-combustion": (9.0, 6.0, 0.75), "cylinder-misfire": (1.5, 5.0, 0.5)})
# Lines that turn with the engine: sound cars show faint ones.
KEEPS_ORDER = Presence((0.22, -35.0, 5.5), {"accessory-drive": (0.85, -18.0, 7.0)})
KEEPS_HERTZ = Presence((0.09, -37.0, 5.0), {"cooling-fan": (0.65, -22.0, 8.0)})
OFF_ORDER = Presence(
    (0.45, -34.0, 6.0), {"accessory-drive": (0.85, -18.0, 7.0), "cooling-fan": (0.75, -21.0, 8.0)}
)
# With the engine off nothing should turn; a fan may, and it may also just then be still.
ENGINE_OFF = Presence((0.04, -38.0, 4.0), {"cooling-fan": (0.40, -22.0, 8.0)})
GEAR_ONLY = Presence((0.45, -31.0, 8.0), {"driveline": (0.50, -22.0, 8.0)})
JUDDER_RISE_DB = Spread((1.5, 3.0), {"driveline": (10.0, 6.0, 0.6), "uneven-combustion": (1.5, 4.0, 0.5)})
# Percent by which the idle lies below the maker's figure (its lower end).
BELOW_FIGURE = Spread((-6.0, 5.0), {"idle-resonance": (3.0, 5.0, 0.6)})
# Firing order on the engine over that on the body, dB: a sound mount holds back 20 dB and more (rule of
# thumb).
ISOLATION_DB = Spread((20.0, 7.0), {"engine-mount": (9.0, 6.0, 0.9), "idle-resonance": (11.0, 6.0, 0.8)})

# Wheels of 0.55-0.75 m across at 60-130 km/h turn 7-21 times a second; shafts turn 2.5-4.5 times as fast.
ROAD_HZ = {"wheel-imbalance": (7.0, 21.0), "propshaft": (21.0, 85.0)}
IN_BAND = 0.85  # of these faults the strongest line lies in its own band
ROAD_OWN = 0.9  # of the road's faults are recorded there
ROAD_ONLY, ROAD_TOO = 0.003, 0.1  # of the others recorded there only, and there as well as standing
SAID_CENTRE_LIMIT = 1e-3  # coherence is kept this far from 0 and 1 for its logit


def half_order_steadiness(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """Whether the half orders keep their phase from block to block."""
    best: tuple[float, float, float, Analysis] | None = None
    for analysis in (*scene.role("neutral"), *scene.role("drive")):
        for order in orders_of("half", vehicle.engine):
            row = analysis.orders.level(order) if analysis.orders else None
            if row is None or row.rms_m_s2 is None or row.coherence is None or math.isnan(row.coherence):
                continue
            if (row.above_floor_db or 0.0) >= COHERENCE_FROM_DB and (best is None or row.rms_m_s2 > best[0]):
                best = (row.rms_m_s2, order, row.coherence, analysis)
    if best is None:
        return None
    _, order, coherence, analysis = best
    kept = min(max(coherence, SAID_CENTRE_LIMIT), 1 - SAID_CENTRE_LIMIT)
    steady = (
        "keeps its phase"
        if coherence > 0.6
        else "wanders in phase"
        if coherence < 0.4
        else "half keeps its phase"
    )
    text = f"engine order {order:g} {steady} (steadiness {coherence:.2f} of 1) in {analysis.name}"
    return Finding(
        "steadiness", text, HALF_COHERENCE.log_likelihood(math.log(kept / (1 - kept))), (analysis.name,)
    )


def hunting(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """How much the idle wanders."""
    idle = [
        a for a in (*scene.role("neutral"), *scene.role("drive")) if a.speed and a.speed.steadiness_rpm > 0
    ]
    if not idle:
        return None
    shares = [100 * a.speed.steadiness_rpm / a.speed.mean_rpm for a in idle if a.speed]
    share = sum(shares) / len(shares)
    text = f"the idle wanders by {share:.1f} % of its speed in {' and '.join(a.name for a in idle)}"
    level = 20 * math.log10(max(share, 0.05))
    return Finding("hunting", text, HUNTING_DB.log_likelihood(level), tuple(a.name for a in idle))


def line_that_turns_with_engine(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """A line on no half order that keeps its order."""
    return _kept(scene, "order", KEEPS_ORDER, vehicle)


def line_of_its_own_speed(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """A line that keeps its hertz while the engine's speed changes."""
    return _kept(scene, "hertz", KEEPS_HERTZ, vehicle)


def line_on_no_order(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """Where all recordings are at one speed, nothing tells belt from fan; a line on no order is one of them."""
    if lines.can_compare(scene) or not scene.running:
        return None
    found = lines.strongest_alone(scene)
    names = tuple(a.name for a in scene.running)
    if found is None:
        return Finding(
            "line alone",
            f"no line stands off the orders in {names[0]}",
            OFF_ORDER.log_likelihood(None),
            names,
        )
    line, analysis = found
    text = f"{_line_words(line)} stands on no engine order in {analysis.name}"
    return Finding(
        "line alone", text, OFF_ORDER.log_likelihood(lines.level_db(line.rms_m_s2)), (analysis.name,)
    )


def _kept(scene: Scene, keeps: lines.Keeps, presence: Presence, vehicle: Vehicle) -> Finding | None:
    if not scene.running:
        return None
    found = lines.strongest_kept(scene, keeps)
    name = "line keeps order" if keeps == "order" else "line keeps hertz"
    if found is None:
        if not lines.can_compare(scene):
            return None
        return Finding(
            name, f"no line keeps its {keeps} from speed to speed", presence.log_likelihood(None), ()
        )
    what = f"{10 ** (found.level_db / 20):.2f} m/s2"
    where = " and ".join(found.seen_in)
    if keeps == "order":
        unit = _unit(found.order, vehicle)
        text = f"a line of {what} at order {found.order:.2f} keeps its order in {where}{unit}"
    else:
        text = f"a line of {what} at {found.hertz:.1f} Hz keeps its hertz in {where}"
    return Finding(name, text, presence.log_likelihood(found.level_db), found.seen_in)


def _unit(order: float | None, vehicle: Vehicle) -> str:
    """Which pulley turns at that order, if the diameters were given."""
    crank = vehicle.pulleys_mm.get("crank")
    if order is None or not crank:
        return ""
    for name, diameter in vehicle.pulleys_mm.items():
        if name != "crank" and diameter > 0 and abs(order * diameter / crank - 1) < lines.SAME_ORDER:
            return f"; the {name} turns at {crank / diameter:.2f}"
    if (
        vehicle.belt_length_mm
        and abs(order * vehicle.belt_length_mm / (math.pi * crank) - 1) < lines.SAME_ORDER
    ):
        return "; the belt itself goes round at that order"
    return ""


def _line_words(line: Line) -> str:
    return f"a line of {line.rms_m_s2:.2f} m/s2 at {line.frequency_hz:.1f} Hz"


def line_with_engine_off(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """What shakes with the engine off."""
    off = scene.role("engine off")
    if not off:
        return None
    found = lines.with_engine_off(scene)
    names = tuple(a.name for a in off)
    if found is None:
        return Finding(
            "engine off", f"no line with the engine off in {names[0]}", ENGINE_OFF.log_likelihood(None), names
        )
    line, analysis = found
    text = f"{_line_words(line)} with the engine off in {analysis.name}"
    level = lines.level_db(line.rms_m_s2)
    return Finding("engine off", text, ENGINE_OFF.log_likelihood(level), (analysis.name,))


def line_in_gear_only(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """A line that comes with the load in gear."""
    if not scene.role("neutral") or not any(a.orders for a in scene.role("drive")):
        return None
    found = lines.in_gear_only(scene)
    if found is None:
        names = tuple(a.name for a in scene.role("drive"))
        return Finding(
            "gear only", f"no line comes in gear only in {names[0]}", GEAR_ONLY.log_likelihood(None), names
        )
    line, analysis = found
    text = f"{_line_words(line)} is there in gear only, in {analysis.name}"
    return Finding(
        "gear only", text, GEAR_ONLY.log_likelihood(lines.level_db(line.rms_m_s2)), (analysis.name,)
    )


def judder_in_gear(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """Broad low shake that comes with the load in gear."""
    sides = []
    roles: tuple[Role, Role] = ("neutral", "drive")
    for role in roles:
        read = [(judder_db(a), a.name) for a in scene.role(role)]
        known = [(level, name) for level, name in read if level is not None]
        if not known:
            return None
        sides.append((sum(level for level, _ in known) / len(known), known[0][1]))
    (neutral, neutral_name), (drive, drive_name) = sides
    change = drive - neutral
    verb = "rises" if change >= 0 else "falls"
    text = (
        f"the shake between the orders under {JUDDER_HZ[1]:.0f} Hz {verb} by {abs(change):.0f} dB "
        f"from {neutral_name} to {drive_name}"
    )
    return Finding("judder", text, JUDDER_RISE_DB.log_likelihood(change), (neutral_name, drive_name))


def idle_against_figure(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """Idle speed against the maker's figure."""
    idle = [a for a in scene.role("neutral") if a.speed]
    if not idle or not vehicle.idle_spec_rpm or not idle[0].speed:
        return None
    rpm, low = idle[0].speed.mean_rpm, vehicle.idle_spec_rpm[0]
    below = 100 * (low - rpm) / low
    side = "below" if below > 0 else "above"
    text = f"idle in {idle[0].name} is {rpm:.0f} rpm, {abs(below):.0f} % {side} the lower figure of {low:.0f}"
    return Finding("idle speed", text, BELOW_FIGURE.log_likelihood(below), (idle[0].name,))


def on_the_road(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """Whether the recordings were made on the road: people record there what shakes there."""
    road = scene.role("road")
    if not road:
        return None
    standing = len(scene.before) > len(road)
    others = ROAD_TOO if standing else ROAD_ONLY
    log_likelihood = {"normal": math.log(others)} | {cause: math.log(ROAD_OWN) for cause in ROAD_HZ}
    names = tuple(a.name for a in road)
    return Finding("road", f"recorded on the road ({' and '.join(names)})", log_likelihood, names)


def strongest_line_on_the_road(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """Where in hertz the strongest line lies: wheels and shafts turn in bands of their own."""
    lowest, highest = min(low for low, _ in ROAD_HZ.values()), max(high for _, high in ROAD_HZ.values())
    road = scene.role("road")
    found = [(line, a) for a in road for line in a.lines if lowest <= line.frequency_hz <= highest]
    best = max(found, key=lambda pair: pair[0].rms_m_s2, default=None)
    if best is None:
        return None
    line, analysis = best
    chances = {"normal": 1 / len(ROAD_HZ)}
    for cause, (low, high) in ROAD_HZ.items():
        chances[cause] = IN_BAND if low <= line.frequency_hz <= high else 1 - IN_BAND
    text = f"the strongest on the road is {_line_words(line)} in {analysis.name}"
    return Finding("road line", text, {c: math.log(p) for c, p in chances.items()}, (analysis.name,))


def isolation(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """Firing order on the engine against that at another place, in the same gear and hold."""
    order = vehicle.engine.firing_order
    on_engine = [a for a in scene.before if a.condition.place == "engine" and a.orders]
    for engine_side in on_engine:
        for other in scene.before:
            same = (other.condition.gear, other.condition.speed_hold) == (
                engine_side.condition.gear,
                engine_side.condition.speed_hold,
            )
            if (
                not same
                or other.condition.place in (None, "engine")
                or not other.orders
                or not engine_side.orders
            ):
                continue
            near, far = engine_side.orders.level(order), other.orders.level(order)
            if near and far and near.rms_m_s2 and far.rms_m_s2:
                kept = 20 * math.log10(near.rms_m_s2 / far.rms_m_s2)
                where = f"in {other.name} than on the engine in {engine_side.name}"
                text = f"the firing order is {kept:.0f} dB less {where}"
                names = (engine_side.name, other.name)
                return Finding("isolation", text, ISOLATION_DB.log_likelihood(kept), names)
    return None


FINDINGS: tuple[Callable[[Scene, Vehicle], Finding | None], ...] = (
    half_order_steadiness,
    hunting,
    line_that_turns_with_engine,
    line_of_its_own_speed,
    line_on_no_order,
    line_with_engine_off,
    line_in_gear_only,
    judder_in_gear,
    idle_against_figure,
    isolation,
    on_the_road,
    strongest_line_on_the_road,
)

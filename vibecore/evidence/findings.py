"""Findings beside the levels: steadiness of phase, hunting, judder, idle against its figure, isolation.

Each finding reads one quantity and hands back its log likelihood under every cause. A quantity with a value
has a centre and a spread for sound cars and for each cause that moves it. The numbers are the physics of the
design put in figures: common practice, no source, set with simulated cars of the tuning seeds in view.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

from vibecore.constants import SOUND
from vibecore.engine import Vehicle
from vibecore.evidence import blows, line_findings, lines, near_mode, rattle, road_findings
from vibecore.evidence.ground import JUDDER_HZ, judder_db
from vibecore.evidence.levels import strangers_in, usable_rows
from vibecore.evidence.likelihood import Finding, Spread, log_t
from vibecore.evidence.scene import Role, Scene
from vibecore.model import Analysis
from vibecore.sound_cars import WORST_WHOLE, SoundLevel
from vibecore.units import level_text, signed, times_against
from vibecore.wander import order_slope, phase_slope

COHERENCE_FROM_DB = 6.0  # a line must stand this far over its floor before its phase means anything
# logit of the half orders' coherence: a dead cylinder fails every cycle, unsteady burning does not.
HALF_COHERENCE = Spread(
    (0.8, 1.8), {"cylinder-misfire": (4.0, 1.8, 0.9), "uneven-combustion": (-1.0, 1.8, 0.8)}
)
# 20 log10 of the idle's standard deviation in percent. Sound idles wander by 0.3-1.3 %.
HUNTING_DB = Spread((-1.0, 5.0), {"uneven-combustion": (9.0, 6.0, 0.75), "cylinder-misfire": (1.5, 5.0, 0.5)})
JUDDER_RISE_DB = Spread((1.5, 3.0), {"driveline": (10.0, 6.0, 0.6), "uneven-combustion": (1.5, 4.0, 0.5)})
# Percent by which the idle lies below the maker's figure (its lower end).
BELOW_FIGURE = Spread((-6.0, 5.0), {"idle-resonance": (3.0, 5.0, 0.6)})
TOO_LOW = "idle-too-low"  # as the catalogue calls it
# Firing order on the engine over that on the body, dB: sound mounts hold back 20 dB or so (rule of thumb).
ISOLATION_DB = Spread((20.0, 7.0), {"engine-mount": (9.0, 6.0, 0.9), "idle-resonance": (11.0, 6.0, 0.8)})
MOST_BESIDE = 4  # orders that the firing order's phase is told beside
# The whole shake of the worst recording, 20 log10 of m/s2, of cars that are complained of: 0.5 of poor ones
# (order of magnitude, from memory). Causes with levels of their own have part of it counted there.
COMPLAINED_OF = SoundLevel(-9.5, 6.0)
SHAKE_COUNTS = dict.fromkeys(("accessory-drive", "cooling-fan"), 1.0) | dict.fromkeys(
    (
        *("cylinder-misfire", "uneven-combustion", "engine-mount", "rotating-imbalance"),
        *("idle-resonance", "exhaust-contact", "driveline"),
    ),
    0.5,
)
LEAST_SHAKE_M_S2 = 1e-3  # under it there is only the phone
CALLED_STEADY = (0.4, 0.8)  # coherence below which it is said to wander, above which to keep its phase
LEAST_WANDER_PERCENT = 0.05  # finer than any idle stands, and than a track tells
LOGIT_EDGE = 1e-3  # coherence is kept this far from 0 and 1 for its logit


def half_order_steadiness(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """Whether the strongest half order keeps its phase from block to block."""
    strangers = strangers_in(scene)
    found = [
        (row, row.coherence, analysis)
        for analysis in (*scene.role("neutral"), *scene.role("drive"))
        for row in usable_rows("half", analysis, vehicle.engine, strangers)
        if row.coherence is not None
        and not math.isnan(row.coherence)
        and (row.above_floor_db or 0.0) >= COHERENCE_FROM_DB
    ]
    if not found:
        return None
    row, coherence, analysis = max(found, key=lambda item: item[0].rms_m_s2 or 0.0)
    kept = min(max(coherence, LOGIT_EDGE), 1 - LOGIT_EDGE)
    text = f"engine order {row.order:g} {_steady_words(coherence)} in {analysis.name}"
    logs = HALF_COHERENCE.log_likelihood(math.log(kept / (1 - kept)))
    return Finding("steadiness", text, logs, (analysis.name,))


def _steady_words(coherence: float) -> str:
    wanders, keeps = CALLED_STEADY
    kept = "keeps" if coherence > keeps else "partly keeps" if coherence >= wanders else ""
    words = f"{kept} its phase" if kept else "wanders in phase"
    return f"{words} (steadiness {coherence:.2f} of 1)"


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
    level = 20 * math.log10(max(share, LEAST_WANDER_PERCENT))
    return Finding("hunting", text, HUNTING_DB.log_likelihood(level), tuple(a.name for a in idle))


def judder_in_gear(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """Broad low shake that comes with the load in gear."""
    neutral, drive = _judder(scene, "neutral"), _judder(scene, "drive")
    if not neutral or not drive:
        return None
    change = sum(drive.values()) / len(drive) - sum(neutral.values()) / len(neutral)
    averaged = " on average" if len(neutral) + len(drive) > 2 else ""
    text = (
        f"the shake between the orders under {JUDDER_HZ[1]:.0f} Hz in {' and '.join(drive)} is{averaged} "
        f"{times_against(change)} in {' and '.join(neutral)} ({signed(change, 0)} dB)"
    )
    return Finding("judder", text, JUDDER_RISE_DB.log_likelihood(change), (*neutral, *drive))


def _judder(scene: Scene, role: Role) -> dict[str, float]:
    """Level (dB) of the broad low shake in each recording of a role that shows it, by name."""
    levels = {a.name: judder_db(a) for a in scene.role(role)}
    return {name: level for name, level in levels.items() if level is not None}


def idle_against_figure(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """Idle speed against the maker's figure."""
    idle = [a for a in scene.role("neutral") if a.speed]
    if not idle or not vehicle.idle_spec_rpm or not idle[0].speed:
        return None
    rpm, low = idle[0].speed.mean_rpm, vehicle.idle_spec_rpm[0]
    below = 100 * (low - rpm) / low
    side = "below" if below > 0 else "above"
    text = f"{rpm:.0f} rpm in {idle[0].name} is {abs(below):.0f} % {side} the lower figure of {low:.0f}"
    points_at = {TOO_LOW: f"{rpm:.0f} rpm is below the maker's figure"} if below > 0 else {}
    logs = BELOW_FIGURE.log_likelihood(below)
    return Finding("idle speed", text, logs, (idle[0].name,), points_at=points_at)


def isolation(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """Firing order on the engine against that on the body, or else at another place, in the same gear and
    hold."""
    order = vehicle.engine.firing_order
    read = [
        (a, level.rms_m_s2)
        for a in scene.before
        if a.orders and (level := a.orders.level(order)) and level.rms_m_s2
    ]
    on_engine = [(a, rms) for a, rms in read if a.condition.place == "engine"]
    elsewhere = [(a, rms) for a, rms in read if a.condition.place not in (None, "engine")]
    pairs = itertools.product(on_engine, elsewhere)
    # Wheel and seat have modes of their own: beside the body they do not count.
    body_first = sorted(pairs, key=lambda pair: pair[1][0].condition.place != "body")
    for (near, near_rms), (far, far_rms) in body_first:
        how, other = near.condition, far.condition
        if (how.gear, how.speed_hold) == (other.gear, other.speed_hold):
            kept = 20 * math.log10(near_rms / far_rms)
            there = f"the firing order on the {other.place}"
            text = f"{there} is {times_against(-kept)} on the engine ({signed(-kept, 0)} dB)"
            return Finding("isolation", text, ISOLATION_DB.log_likelihood(kept), (near.name, far.name))
    return None


def firing_order_over_speed(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """How level and phase of the firing order go with the idle's own wander, where it is strongest."""
    analysis, order = _strongest_firing(scene, vehicle), vehicle.engine.firing_order
    if analysis is None or analysis.speed is None:
        return None
    level = order_slope(analysis.signal, analysis.speed, order)
    turn = phase_slope(analysis.signal, analysis.speed, order, _beside(analysis, order))
    if level is None and turn is None:
        return None
    said = []
    if level is not None:
        said.append(f"{abs(level.value):.0f} % {'stronger' if level.value >= 0 else 'weaker'}")
    if turn is not None:
        degrees = abs(math.degrees(turn.value)) / 100
        said.append(f"{'lag' if turn.value < 0 else 'lead'} by {degrees:.0f} degrees more")
    text = f"a percent more speed makes the firing order {' and '.join(said)} in {analysis.name}"
    return Finding("firing over speed", text, near_mode.log_likelihood(level, turn), (analysis.name,))


def _beside(analysis: Analysis, order: float) -> list[float]:
    """The clearest other orders, beside whose phases its own is told."""
    rows = analysis.orders.levels if analysis.orders is not None else ()
    clear = [
        row
        for row in rows
        if row.order != order and row.rms_m_s2 and (row.above_floor_db or 0.0) >= COHERENCE_FROM_DB
    ]
    clear.sort(key=lambda row: row.order * (row.rms_m_s2 or 0.0), reverse=True)
    return [row.order for row in clear[:MOST_BESIDE]]


def _strongest_firing(scene: Scene, vehicle: Vehicle) -> Analysis | None:
    """The idle in which the firing order is strongest."""
    order = vehicle.engine.firing_order
    idle = [a for a in (*scene.role("neutral"), *scene.role("drive")) if a.orders and a.speed]
    read = [(row.rms_m_s2, a) for a in idle if a.orders and (row := a.orders.level(order)) and row.rms_m_s2]
    return max(read, key=lambda r: r[0])[1] if read else None


def whole_shake(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """Whether it shakes at idle as much as what people complain of, whatever the lines."""
    idle = [a for role in lines.IDLE for a in scene.role(role)]
    if not idle or scene.place in (None, "engine"):
        return None
    worst = max(idle, key=lambda a: a.overall.rms_m_s2)
    level = 20 * math.log10(max(worst.overall.rms_m_s2, LEAST_SHAKE_M_S2))
    sound, poor = (log_t(level, c.median_db, c.spread_db) for c in (WORST_WHOLE, COMPLAINED_OF))
    logs = {cause: sound + counts * (poor - sound) for cause, counts in SHAKE_COUNTS.items()}
    text = f"the {scene.place} shakes by {level_text(worst.overall.rms_m_s2)} m/s2 in all in {worst.name}"
    return Finding("whole shake", text, logs | {SOUND: sound}, (worst.name,), any_speed=True)


FINDINGS: tuple[Callable[[Scene, Vehicle], Finding | None], ...] = (
    half_order_steadiness,
    hunting,
    line_findings.line_that_turns_with_engine,
    line_findings.line_of_its_own_speed,
    line_findings.line_on_no_order,
    line_findings.line_with_engine_off,
    line_findings.line_in_gear_only,
    line_findings.line_gone_in_gear,
    line_findings.line_with_unit_only,
    judder_in_gear,
    rattle.rattle_with_gear,
    blows.bursts,
    blows.reach,
    idle_against_figure,
    isolation,
    firing_order_over_speed,
    whole_shake,
    road_findings.on_the_road,
    road_findings.strongest_line_on_the_road,
)

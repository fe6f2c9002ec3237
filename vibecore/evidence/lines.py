"""Lines on no multiple of one half order, followed from recording to recording.

A line that keeps its order while the engine's speed changes turns with the engine (belt and what it
drives). One that keeps its hertz, or is there with the engine off, has its own motor. One that is there in
gear only comes with the load.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal, NamedTuple

from vibecore.constants import LINE_HALF_WIDTH_ORDERS, PEAK_FLOOR_HZ, SAME_HERTZ, SAME_LINE_HZ, USABLE_SHARE
from vibecore.engine import fold
from vibecore.evidence.scene import RAISED_TIMES, Role, Scene
from vibecore.evidence.told_apart import beside_orders
from vibecore.model import Analysis, Condition, Line
from vibecore.sound_cars import WHOLE
from vibecore.spectra import band_rms, straying
from vibecore.speed import LEAST_CONFIDENCE

Keeps = Literal["order", "hertz"]

IDLE: tuple[Role, ...] = ("neutral", "drive", "unit on")  # in these it shakes as is complained of

SAME_ORDER = 0.01  # share: two lines this near in order may be one; belts creep by less than 1 %
STEADY_HERTZ = SAME_HERTZ / 2**0.5  # share: standard deviation of what swings so far to either side
CLEARLY = 0.35  # of the change in speed: a line that moved by less than this kept its place
SPEEDS_APART = 0.03  # share: SAME_ORDER and SAME_HERTZ together; below it the two cannot be told apart
# A line that changes by more is another line: a fan's stays, one that turns with the engine grows with speed
# squared (an unbalance's force) and meets modes besides.
SAME_LEVEL_DB: dict[Keeps, float] = {"order": 18.0, "hertz": 6.0}
STILL_M_S2 = 0.1  # a whole shake above it without a line: something else goes on
STANDS_OUT_DB = 8.0  # over the floor, to be followed at all
LEAST_LINE_M_S2 = 0.006  # about the noise of a coarse phone in a narrow band
# What can turn: belts go round 0.2-0.5 times a crank turn, pulleys 0.8-3.3 times, and their second multiples;
# electric fans 900-3600 times a minute. Common practice, no source. Humps of the car's own modes lie lower.
BELT_ORDERS = (0.15, 7.0)
FAN_HZ = (14.0, 62.0)
# A converter's turbine that nothing holds is dragged along, by some percent slower than the crank.
TURBINE_ORDERS = (0.85, 1.0)
FOLDED_FROM_HZ = 4.0  # a slow phone folds the fan's line down to anywhere above the sway of the body
FOLDED_STANDS_OUT_DB = 15.0  # down there the car's own modes stand up too, but not as sharply
MAKES_THE_SHAKE_DB = -6.0  # of a recording's whole shake: half of its rms


class FollowedLine(NamedTuple):
    """A line with what it keeps. level_db: 20 log10 of its rms in m/s2, mean over the recordings. share_db:
    see `share_db`, where that is most."""

    keeps: Keeps
    order: float | None
    hertz: float
    level_db: float
    share_db: float
    seen_in: tuple[str, ...]
    raised_too: bool  # seen at idle and at a raised idle, so at two speeds whatever they were


def strongest_kept(scene: Scene, keeps: Keeps) -> FollowedLine | None:
    """The line that keeps its order (or hertz) from speed to speed and makes most of its recording's shake;
    None if none."""
    recorded = standing(scene) if keeps == "order" else _recorded(scene)
    found = (
        _follow(line, first, [a for a in recorded if a is not first], keeps, scene)
        for first in recorded
        for line in (clear(first) if keeps == "order" else of_a_motor(first))
        if may_be(line, keeps, first) and (keeps == "order" or _narrow(line, first))
    )
    return max((f for f in found if f), key=lambda f: f.share_db, default=None)


def may_be(line: Line, keeps: Keeps, analysis: Analysis) -> bool:
    """Whether a unit on the belt (or an electric fan) can make such a line."""
    if keeps == "order":
        return BELT_ORDERS[0] <= (line.order or 0.0) <= BELT_ORDERS[1]
    if FAN_HZ[0] <= line.frequency_hz <= FAN_HZ[1]:
        return True
    folds = analysis.recording.sample_rate_hz < 2 * FAN_HZ[1]
    return folds and line.frequency_hz >= FOLDED_FROM_HZ and line.above_floor_db >= FOLDED_STANDS_OUT_DB


def _narrow(line: Line, analysis: Analysis) -> bool:
    """Whether it holds its hertz as a motor does. A mode that an unsteady engine rings is 2 x damping wide:
    3 to 20 % of its hertz."""
    if not len(analysis.spectrum_hz.x):
        return True
    strays = straying(analysis.spectrum_hz, line.frequency_hz, floor_width=PEAK_FLOOR_HZ)
    return strays <= STEADY_HERTZ * _true_hz(line, analysis)


def _true_hz(line: Line, analysis: Analysis) -> float:
    """Of a fan, the highest that it can turn at: a slow phone folds its line down."""
    unfolded = analysis.recording.sample_rate_hz - line.frequency_hz
    return max(line.frequency_hz, unfolded if unfolded <= FAN_HZ[1] else 0.0)


def _recorded(scene: Scene) -> list[Analysis]:
    """Every recording of the running car that stands, its engine's speed known or not."""
    return [a for role, group in scene.by_role.items() if role not in ("engine off", "road") for a in group]


def of_a_motor(analysis: Analysis) -> list[Line]:
    """Lines that may be no order of the engine: clear of its half orders, or, where its speed is not known,
    most of the shake."""
    if analysis.speed is None:
        most = analysis.overall.rms_m_s2 * 10 ** (MAKES_THE_SHAKE_DB / 20)
        return [line for line in analysis.lines if line.rms_m_s2 >= most]
    return clear(analysis)


def standing(scene: Scene) -> list[Analysis]:
    """The recordings of the running car that stands, its engine's speed known."""
    road = scene.role("road")  # there the wheels keep their order too, while the gear stays
    return [a for a in scene.running if a not in road]


def can_compare(scene: Scene) -> bool:
    """Whether two recordings are far enough apart in speed to tell order from hertz."""
    speeds = [a.speed.mean_rpm for a in standing(scene) if a.speed]
    return len(speeds) > 1 and max(speeds) / min(speeds) > 1 + SPEEDS_APART


def with_engine_off(scene: Scene) -> tuple[Line, Analysis] | None:
    """The strongest line of the recordings with the engine off."""
    found = [
        (line, a)
        for a in scene.role("engine off")
        for line in a.lines
        if line.above_floor_db >= STANDS_OUT_DB
        and line.rms_m_s2 >= LEAST_LINE_M_S2
        and line.frequency_hz >= FOLDED_FROM_HZ
        and _narrow(line, a)
    ]
    return max(found, key=lambda pair: pair[0].rms_m_s2, default=None)


def cannot_be_followed(line: Line, first: Analysis, scene: Scene) -> bool:
    """Whether, if it keeps its order, it lies too high to be seen in every recording at another speed."""
    changes = [(other, _change(first, other)) for other in standing(scene) if other is not first]
    moved = [(o, change) for o, change in changes if change and abs(change) >= math.log1p(SPEEDS_APART)]
    return all(
        line.frequency_hz * math.exp(change) > USABLE_SHARE * other.recording.sample_rate_hz
        for other, change in moved
    )


def gone_in_gear(line: Line, analysis: Analysis, scene: Scene) -> bool:
    """Whether it turns a little slower than the crank, and stands where the car is held in gear."""
    held = [a.orders.spectrum for a in scene.role("drive") if a.orders and len(a.orders.spectrum.x) > 1]
    order, least = line.order or 0.0, line.rms_m_s2 * 10 ** (-SAME_LEVEL_DB["order"] / 20)
    band = order * (1 - SAME_ORDER), order * (1 + SAME_ORDER)
    turbine = TURBINE_ORDERS[0] <= order < TURBINE_ORDERS[1]
    free = analysis in (*scene.role("neutral"), *scene.role("raised"))
    return free and turbine and bool(held) and all(band_rms(s, *band) < least for s in held)


def level_db(rms_m_s2: float) -> float:
    """dB re 1 m/s2; what is below the least line is taken for the least line."""
    return 20 * math.log10(max(rms_m_s2, LEAST_LINE_M_S2))


def share_db(line: Line, analysis: Analysis, scene: Scene) -> float:
    """20 log10 of a line's rms over the shake that it must be most of to be felt: that of its recording, of
    the worst idle, or what most sound cars show if that is more. No fan is bad for being all that stirs."""
    idle = [a.overall.rms_m_s2 for role in IDLE for a in scene.role(role)]
    sound = WHOLE.at(scene.place).band_m_s2[0]
    return 20 * math.log10(max(line.rms_m_s2, 1e-6) / max(analysis.overall.rms_m_s2, sound, *idle))


def clear(analysis: Analysis) -> list[Line]:
    """Lines on no half order that stand out: those of the order table, and those read in hertz that it
    lacks.
    """
    if analysis.orders is None or analysis.speed is None:
        return []
    turns_hz = analysis.speed.turns_hz
    apart = beside_orders(analysis)
    found = list(analysis.orders.other_lines)
    for line in analysis.lines:
        if all(abs(line.frequency_hz - other.frequency_hz) > SAME_LINE_HZ for other in found):
            found.append(replace(line, order=line.frequency_hz / turns_hz))
    least = max(LINE_HALF_WIDTH_ORDERS, SAME_LINE_HZ / turns_hz)
    return [
        line
        for line in (*found, *apart)
        if line.order is not None
        and (line in apart or abs(line.order * 2 - round(line.order * 2)) / 2 >= least)
        and line.above_floor_db >= STANDS_OUT_DB
        and line.rms_m_s2 >= LEAST_LINE_M_S2
    ]


def alike(a: Line, b: Line) -> bool:
    """Whether they may be one line, by order or by hertz."""
    same_order = a.order is not None and b.order is not None and abs(a.order / b.order - 1) < SAME_ORDER
    return same_order or abs(a.frequency_hz / b.frequency_hz - 1) < SAME_HERTZ


def _follow(
    line: Line, first: Analysis, others: Sequence[Analysis], keeps: Keeps, scene: Scene
) -> FollowedLine | None:
    """The line with its fellows in recordings at other speeds; None if it has none. Only a line of which
    nothing shows that it keeps its order may stand on the engine's orders elsewhere and be a motor's."""
    on_orders = keeps == "hertz" and _follow(line, first, others, "order", scene) is None
    members = [(line, first)]
    for other in others:
        change = _change(first, other)
        if change is None or abs(change) < math.log1p(SPEEDS_APART):
            continue
        there_hz = line.frequency_hz * (math.exp(change) if keeps == "order" else 1.0)
        if there_hz > USABLE_SHARE * other.recording.sample_rate_hz:
            fellow = _folded_fellow(line, there_hz, other, change) if keeps == "order" else None
        else:
            among = (*clear(other), *other.lines) if on_orders else clear(other)
            fellow = _fellow(line, first, among, keeps, change)
        if fellow is not None:
            members.append((fellow, other))
    if len(members) == 1 or (keeps == "order" and any(gone_in_gear(m, a, scene) for m, a in members)):
        return None
    power = sum(m.rms_m_s2**2 for m, _ in members) / len(members)
    share = max(share_db(m, a, scene) for m, a in members)
    names = tuple(a.name for _, a in members)
    both = {"idle", "raised"} <= {a.condition.speed_hold for _, a in members}
    return FollowedLine(
        keeps=keeps,
        order=line.order,
        hertz=line.frequency_hz,
        level_db=level_db(math.sqrt(power)),
        share_db=share,
        seen_in=names,
        raised_too=both,
    )


def _change(first: Analysis, other: Analysis) -> float | None:
    """Log ratio of the engine's speeds; where one is not known, at least what raising the idle does; None if
    they may be alike. Two idles in one gear are: where they seem not to be, the speed that is not sure is
    wrong, and all that shakes seems to keep its hertz."""
    if first.speed is not None and other.speed is not None:
        unsure = min(first.speed.confidence, other.speed.confidence) < LEAST_CONFIDENCE
        if unsure and _idle_alike(first.condition, other.condition):
            return None
        return math.log(other.speed.mean_rpm / first.speed.mean_rpm)
    holds = first.condition.speed_hold, other.condition.speed_hold
    if holds in (("idle", "raised"), ("raised", "idle")):
        return math.log(RAISED_TIMES) * (1 if holds[0] == "idle" else -1)
    return None


def _idle_alike(one: Condition, two: Condition) -> bool:
    """Both at idle in one gear, whatever was switched on."""
    return one.speed_hold == two.speed_hold == "idle" and one.gear == two.gear


def _fellow(line: Line, first: Analysis, among: Sequence[Line], keeps: Keeps, change: float) -> Line | None:
    """Which of another recording's lines is the same one, if any."""

    def apart(candidate: Line) -> float:
        if keeps == "hertz":
            return abs(candidate.frequency_hz - line.frequency_hz) / _true_hz(line, first)
        return abs(math.log((candidate.order or 1.0) / (line.order or 1.0)))

    limit = min(SAME_ORDER if keeps == "order" else SAME_HERTZ, CLEARLY * abs(change))
    near = [c for c in among if apart(c) < limit and _as_strong(line, c, keeps, change)]
    return min(near, key=apart, default=None)


def _folded_fellow(line: Line, there_hz: float, other: Analysis, change: float) -> Line | None:
    """Which of another recording's lines is the same one where a slow phone folds it down, if any."""
    seen_hz = fold(there_hz, other.recording.sample_rate_hz).seen_at_hz
    limit_hz = SAME_ORDER * there_hz
    near = [
        c
        for c in clear(other)
        if abs(c.frequency_hz - seen_hz) < limit_hz and _as_strong(line, c, "order", change)
    ]
    found = min(near, key=lambda c: abs(c.frequency_hz - seen_hz), default=None)
    return None if found is None else replace(found, order=line.order)


def _as_strong(line: Line, fellow: Line, keeps: Keeps, change: float) -> bool:
    """Whether it is about as strong. What turns with the engine may push as its speed squared (an unbalance)
    or the same at any speed (a lump in the belt, a shaft that is not straight)."""
    grown = 40 * change / math.log(10) if keeps == "order" else 0.0
    level, room = _level_change(line, fellow), SAME_LEVEL_DB[keeps]
    return min(grown, 0.0) - room < level < max(grown, 0.0) + room


def _level_change(a: Line, b: Line) -> float:
    return 20 * math.log10(b.rms_m_s2 / a.rms_m_s2)

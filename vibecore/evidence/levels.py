"""The levels that the causes are told apart by: five families of shake in three conditions, in decibels.

Families: the half orders below the firing order (what one weak cylinder raises), order 1 (what turns with
the crank), the firing order, its multiples (second to fourth), and the ground between the orders.
Conditions: neutral idle, idle in gear, raised idle. Levels are 20 log10 of m/s2; each has a spread from the
recording's own interval.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from vibecore.constants import LINE_HALF_WIDTH_ORDERS, SAME_LINE_HZ, SPEED_SD_DB_PER_OCTAVE, Z_95
from vibecore.engine import Engine, what_can_be_seen
from vibecore.evidence import lines
from vibecore.evidence.ground import ground_db, multiples_power
from vibecore.evidence.scene import Role, Scene
from vibecore.evidence.told_apart import beside_orders, is_anothers
from vibecore.model import Analysis, OrderLevel
from vibecore.sound_cars import Family, Held

FAMILIES: tuple[Family, ...] = ("firing", "half", "one", "second", "ground")
HELDS: tuple[Held, ...] = ("neutral", "drive", "raised")

LEAST_LEVEL_M_S2 = 0.002  # phones' noise in a line's width after a minute (data sheets: 70-230 ug/sqrt(Hz))
GROUND_SPREAD_DB = 0.5  # thousands of samples make it
SUNK_SHARE = 0.4  # of the upper end of its interval: where a line that sinks in its floor is taken to lie
UNSURE_DB = 5.0  # spread given to a line that sinks in its floor
# Warmth, load and battery are not alike from one visit to the next; common practice, no source.
AGAIN_DB = 2.0


@dataclass(frozen=True)
class LevelReading:
    """One level: dB re 1 m/s2, the spread of reading it, and where it was read. lead: the order that is
    strongest. most_m_s2: the most it can be, where no more is known; level_db is a guess then. turns_hz: mean
    speed of the crank. again_db: of a level read again after a repair, how far it may be off without one.
    """

    family: Family
    held: Held
    level_db: float
    spread_db: float
    lead: float | None
    confidence: float  # that the engine's speed, and so every order, is right
    seen_in: tuple[str, ...]
    most_m_s2: float | None = None
    turns_hz: float = 0.0
    again_db: float | None = None


def read_levels(scene: Scene, engine: Engine, strangers: Sequence[Stranger] = ()) -> tuple[LevelReading, ...]:
    """Every level that the recordings can show, in the order FAMILIES x HELDS. strangers: lines that
    are none of the engine's, beside those that the scene shows."""
    readings = []
    strangers = (*strangers, *strangers_in(scene))
    for family in FAMILIES:
        for held in HELDS:
            role: Role = held
            reading = _reading(family, held, scene.role(role), engine, strangers)
            if reading:
                readings.append(reading)
    return tuple(readings)


def read_again(
    before: Sequence[LevelReading], mended: Scene, engine: Engine, strangers: Sequence[Stranger]
) -> tuple[LevelReading, ...]:
    """The levels after a repair that were read before it too. A line lost in its floor both times tells
    nothing: what it may be is guessed from the floor."""
    was = {(r.family, r.held): r for r in before}
    found = read_levels(mended, engine, strangers)
    pairs = [(r, was[r.family, r.held]) for r in found if (r.family, r.held) in was]
    return tuple(
        replace(r, again_db=_again_db(r, first))
        for r, first in pairs
        if r.most_m_s2 is None or first.most_m_s2 is None
    )


def _again_db(reading: LevelReading, first: LevelReading) -> float:
    octaves = math.log2(reading.turns_hz / first.turns_hz) if reading.turns_hz and first.turns_hz else 0.0
    return math.hypot(AGAIN_DB, SPEED_SD_DB_PER_OCTAVE * octaves)


def orders_of(family: Family, engine: Engine) -> tuple[float, ...]:
    """The orders of a family in this engine; empty if it has none that stands alone.

    Orders that a sound engine of uneven firing shows are left out of the half orders.
    """
    firing = engine.firing_order
    if family == "firing":
        return (firing,)
    if family == "second":
        return (2 * firing,)
    if family == "one":
        return (1.0,) if firing != 1.0 and firing != 0.5 and engine.cycle_order < 1.0 else ()
    if family == "half":
        normal = engine.normal_orders()
        below = (order for order in engine.orders if order < firing and order % 1.0 == 0.5)
        return tuple(order for order in below if order not in normal) if engine.cycle_order == 0.5 else ()
    return ()


class Stranger(NamedTuple):
    """A line that is none of the engine's: where it stands, and how strong it is."""

    hertz: float
    rms_m_s2: float

    def spoils(self, row: OrderLevel, turns_hz: float) -> bool:
        """Whether it stands on the order, or is most of what the order's band holds."""
        off = abs(row.frequency_hz - self.hertz)
        inside = off <= LINE_HALF_WIDTH_ORDERS * turns_hz + SAME_LINE_HZ
        return off <= SAME_LINE_HZ or (inside and 2 * self.rms_m_s2**2 > (row.rms_m_s2 or 0.0) ** 2)


def strangers_in(scene: Scene) -> tuple[Stranger, ...]:
    """Lines that are none of the engine's, wherever they may fall among its orders: a fan's."""
    kept, off = lines.strongest_kept(scene, "hertz"), lines.with_engine_off(scene)
    found = [Stranger(kept.hertz, 10 ** (kept.level_db / 20))] if kept else []
    return (*found, *([Stranger(off[0].frequency_hz, off[0].rms_m_s2)] if off else []))


def usable_rows(
    family: Family, analysis: Analysis, engine: Engine, strangers: Sequence[Stranger]
) -> list[OrderLevel]:
    """The family's orders that can be seen and that no folded firing order, no stranger and no line of a
    rate of its own sits on."""
    if analysis.orders is None or analysis.speed is None:
        return []
    turns_hz, fs_hz = analysis.speed.turns_hz, analysis.recording.sample_rate_hz
    loud = set(engine.firing_orders(2))
    hidden = {v.order for v in what_can_be_seen(engine, turns_hz, fs_hz) if loud & set(v.hidden_by)}
    rows = [analysis.orders.level(order) for order in orders_of(family, engine)]
    beside = beside_orders(analysis)
    return [
        row
        for row in rows
        if row is not None
        and row.rms_m_s2 is not None
        and row.order not in hidden
        and not is_anothers(row, beside)
        and not any(stranger.spoils(row, turns_hz) for stranger in strangers)
    ]


def _reading(
    family: Family, held: Held, analyses: Sequence[Analysis], engine: Engine, strangers: Sequence[Stranger]
) -> LevelReading | None:
    found = [(a, _level(family, a, engine, strangers)) for a in analyses if a.orders is not None]
    levels = [(a, value) for a, value in found if value is not None]
    if not levels:
        return None
    return LevelReading(
        family=family,
        held=held,
        level_db=sum(v.level_db for _, v in levels) / len(levels),
        spread_db=max(v.spread_db for _, v in levels) / math.sqrt(len(levels)),
        lead=max(levels, key=lambda pair: pair[1].level_db)[1].lead,
        confidence=min(a.speed.confidence if a.speed else 0.0 for a, _ in levels),
        seen_in=tuple(a.name for a, _ in levels),
        most_m_s2=_most([v.most_m_s2 for _, v in levels]),
        turns_hz=sum(a.speed.turns_hz for a, _ in levels if a.speed) / len(levels),
    )


def _most(most_m_s2: Sequence[float | None]) -> float | None:
    """Of several recordings, where each tells no more."""
    told = [most for most in most_m_s2 if most is not None]
    return max(told) if len(told) == len(most_m_s2) else None


class _Level(NamedTuple):
    level_db: float
    spread_db: float
    lead: float | None
    most_m_s2: float | None = None


def _level(
    family: Family, analysis: Analysis, engine: Engine, strangers: Sequence[Stranger]
) -> _Level | None:
    table = analysis.orders
    assert table is not None
    if family == "ground":
        level = ground_db(analysis, engine.orders[-1], [stranger.hertz for stranger in strangers])
        return None if level is None else _Level(level, GROUND_SPREAD_DB, None)
    seen = usable_rows(family, analysis, engine, strangers)
    if not seen or seen[0].order != orders_of(family, engine)[0]:
        return None  # without the lowest order of the family its level would mean something else
    beyond = multiples_power(table, engine.firing_order) if family == "second" else 0.0
    power = sum(_power(row) for row in seen) + beyond
    lead = max(seen, key=_power)
    most = None
    if lead.low_m_s2 == 0.0:
        most = math.sqrt(sum((row.high_m_s2 or 0.0) ** 2 for row in seen) + beyond)
    return _Level(10 * math.log10(max(power, LEAST_LEVEL_M_S2**2)), _spread_db(lead), lead.order, most)


def _power(row: OrderLevel) -> float:
    """Mean square of one line; of one that sinks in its floor, a share of the most it can be."""
    most = row.high_m_s2 or 0.0
    return max(row.line_m_s2 or 0.0, most * SUNK_SHARE) ** 2


def _spread_db(row: OrderLevel) -> float:
    """Standard deviation of one line's level in dB, from its 95 % interval."""
    if not row.low_m_s2 or not row.high_m_s2:
        return UNSURE_DB
    low, high = max(row.low_m_s2, LEAST_LEVEL_M_S2), max(row.high_m_s2, LEAST_LEVEL_M_S2)
    return min(20 * math.log10(high / low) / (2 * Z_95), UNSURE_DB)

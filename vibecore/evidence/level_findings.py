"""The fit of the levels, split into the findings that a mechanic would name, each with its sentence."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from vibecore.engine import Engine
from vibecore.evidence.fit import fit_levels
from vibecore.evidence.levels import HELDS, LevelReading, orders_of
from vibecore.evidence.likelihood import Finding
from vibecore.evidence.patterns import NOTHING, PATTERNS
from vibecore.evidence.words import FAULT_WORDS, LEANS, NEAR_DB, over_sound
from vibecore.model import Place
from vibecore.sound_cars import Family, joined, sound_level, sound_level_db
from vibecore.units import level_text, signed, times_against

CAUSES = tuple(FAULT_WORDS)
CHANGES = ("gear", "raised")  # findings that tell a change, not a level


class Beside(NamedTuple):
    """Causes by how a reading stands beside what they usually show, as a `Finding` has them."""

    more_than: frozenset[str]
    less_than: frozenset[str]
    other_way: frozenset[str] = frozenset()
    as_much: frozenset[str] = frozenset()


def level_findings(readings: Sequence[LevelReading], engine: Engine, place: Place | None) -> list[Finding]:
    """The fit of the level patterns, split into the findings a mechanic would name."""
    if not readings:
        return []
    steps = fit_levels(readings, engine, place)
    groups = _groups(readings)
    findings = []
    for name in dict.fromkeys(groups):
        members = np.array([g == name for g in groups])
        mine = [r for r, m in zip(readings, members, strict=True) if m]
        logs = {cause: float(step[members].sum()) for cause, step in steps.items()}
        names = tuple(dict.fromkeys(n for r in mine for n in r.seen_in))
        text = _level_text(name, mine, readings, engine, place)
        if name in CHANGES:
            beside = _beside_usual_change(name, mine[0], _from(readings), engine, place)
        else:
            beside = _beside_usual(mine, engine, place)
        findings.append(Finding(name, text, logs, names, **beside._asdict()))
    return findings


def _beside_usual(mine: Sequence[LevelReading], engine: Engine, place: Place | None) -> Beside:
    """Causes that usually show clearly less, clearly more, and about as much as the reading that stands out
    most, if it does; none the other way."""
    most = _standing_out(mine, engine, place)
    over = most.level_db - _sound(most, engine, place)
    usual = {
        cause: max(way.adds.get(most.family, NOTHING)[HELDS.index(most.held)] for way in ways)
        for cause, ways in PATTERNS.items()
    }
    usual = {cause: usual.get(cause, 0.0) for cause in CAUSES}
    less = frozenset(c for c, adds in usual.items() if over > adds + NEAR_DB)
    more = frozenset(c for c, adds in usual.items() if NEAR_DB < over < adds - NEAR_DB)
    as_much = frozenset(c for c, adds in usual.items() if over > NEAR_DB and abs(over - adds) <= NEAR_DB)
    return Beside(more_than=less, less_than=more, as_much=as_much)


def _beside_usual_change(
    name: str, here: LevelReading, first: LevelReading, engine: Engine, place: Place | None
) -> Beside:
    """Causes under which the firing order usually changes less, and more, from one reading to the other, the
    way that it did; and those under which it goes the other way."""
    over = _change(here, first) - _usual_change(here, first, engine, place)
    less: set[str] = set()
    more: set[str] = set()
    other_way: set[str] = set()
    for (finding, cause), side in LEANS.items():
        if finding != name or not over:
            continue
        ways = [way.adds.get("firing", NOTHING) for way in PATTERNS[cause]]
        adds = max(side * (way[HELDS.index(here.held)] - way[HELDS.index(first.held)]) for way in ways)
        if side * over > 0:
            (more if side * over < adds else less).add(cause)
        else:
            other_way.add(cause)
    return Beside(frozenset(less), frozenset(more), frozenset(other_way))


def _from(readings: Sequence[LevelReading]) -> LevelReading:
    """The reading that changes of the firing order are told from."""
    return next(r for r in readings if r.family == "firing")


def _change(here: LevelReading, first: LevelReading) -> float:
    return here.level_db - first.level_db


def _usual_change(here: LevelReading, first: LevelReading, engine: Engine, place: Place | None) -> float:
    return _sound(here, engine, place) - _sound(first, engine, place)


def _standing_out(mine: Sequence[LevelReading], engine: Engine, place: Place | None) -> LevelReading:
    return max(mine, key=lambda r: r.level_db - _sound(r, engine, place))


def _groups(readings: Sequence[LevelReading]) -> list[str]:
    """The finding each level belongs to: firing splits into its level, its rise in gear and its fall when
    raised.
    """
    has_firing = {r.held for r in readings if r.family == "firing"}
    groups: list[str] = []
    for r in readings:
        if r.family != "firing":
            groups.append(r.family)
        elif r.held == "drive" and "neutral" in has_firing:
            groups.append("gear")
        elif r.held == "raised" and len(has_firing) > 1:
            groups.append("raised")
        else:
            groups.append("firing")
    return groups


def _level_text(
    name: str,
    mine: Sequence[LevelReading],
    readings: Sequence[LevelReading],
    engine: Engine,
    place: Place | None,
) -> str:
    if name in CHANGES:
        firing = family_words("firing", engine)
        here, first = mine[0], _from(readings)
        if sunk := next((r for r in (here, first) if r.most_m_s2 is not None), None):
            return _lost(firing, sunk)
        change, usual = _change(here, first), _usual_change(here, first, engine, place)
        return (
            f"{firing} in {_where(here)} is {times_against(change)} in {_where(first)} "
            f"({signed(change, 0)} dB; usual: {signed(usual, 0)} dB)"
        )
    most = _standing_out(mine, engine, place)
    what = family_words(most.family, engine)
    if most.most_m_s2 is not None:
        return _lost(what, most)
    if name == "half" and len(orders_of("half", engine)) > 1:
        what += f" (mostly {most.lead:g})"
    over = most.level_db - _told_usual(most, engine, place)
    level = f"{level_text(10 ** (most.level_db / 20))} m/s2{' on average' if len(most.seen_in) > 1 else ''}"
    return f"{what} is {over_sound(over, engine)}, {level} in {_where(most)}"


def family_words(family: Family, engine: Engine) -> str:
    """What the levels of a family are of, as a person calls it."""
    if family == "half":
        halves = orders_of("half", engine)
        return "the shake on the half orders" if len(halves) > 1 else f"engine order {halves[0]:g}"
    return {
        "firing": f"the firing order ({engine.firing_order:g})",
        "one": "engine order 1",
        "second": f"what lies on multiples of the firing order ({2 * engine.firing_order:g} and up)",
        "ground": "the shake between the orders",
    }[family]


def _lost(what: str, reading: LevelReading) -> str:
    """Of a line that sinks in its floor no strength is known."""
    return (
        f"{what} does not stand out in {_where(reading)}, {level_text(reading.most_m_s2 or 0.0)} m/s2 at most"
    )


def _sound(reading: LevelReading, engine: Engine, place: Place | None) -> float:
    return sound_level_db(reading.family, reading.held, engine, place)


def _told_usual(reading: LevelReading, engine: Engine, place: Place | None) -> float:
    """What a person is told that sound cars show, which is what a proof of repair asks; for the shake between
    the orders, of which a proof has none, where evidence weighs it from."""
    orders = orders_of(reading.family, engine)
    if not orders:
        return _sound(reading, engine, place)
    return joined([sound_level(order, engine, place) for order in orders]).median_db


def _where(reading: LevelReading) -> str:
    return " and ".join(reading.seen_in)

"""All evidence of a job: what its recordings, taken together, say about each cause."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vibecore.constants import SOUND
from vibecore.engine import Engine, Vehicle
from vibecore.evidence.findings import FINDINGS
from vibecore.evidence.fit import fit_levels
from vibecore.evidence.levels import HELDS, LevelReading, orders_of, read_levels
from vibecore.evidence.likelihood import Finding
from vibecore.evidence.line_findings import crank_pulley
from vibecore.evidence.patterns import NOTHING, PATTERNS
from vibecore.evidence.records import CauseEvidence
from vibecore.evidence.scene import Scene, scene_of
from vibecore.evidence.words import FAULT_WORDS, LEANS, NEAR_DB, meaning, over_sound
from vibecore.model import Analysis, Evidence, Place, Says
from vibecore.sound_cars import joined, sound_level, sound_level_db
from vibecore.speed import LEAST_CONFIDENCE
from vibecore.spoken import spoken_names
from vibecore.units import DB_PER_LOG_POWER, signed, times_against

FINDING_CAP_DB = 20.0  # no single finding counts for more than a hundred to one against or for a sound car
CAUSES = tuple(FAULT_WORDS)
CHANGES = ("gear", "raised")  # findings that tell a change, not a level


def gather(analyses: Sequence[Analysis], vehicle: Vehicle) -> tuple[CauseEvidence, ...]:
    """What the recordings of a job say about every cause, finding by finding.

    Recordings made after a repair are left out if there are others. The orders of a recording whose speed is
    not known, or that its rate cannot show, give no evidence, and a note says so.
    """
    apart = _told_apart(analyses)
    scene = scene_of(apart)
    readings = read_levels(scene, vehicle.engine)
    found = _level_findings(readings, vehicle.engine, scene.place)
    sure = {a.name: a.speed.confidence for a in scene.before if a.speed}
    others = (finding(scene, vehicle) for finding in FINDINGS)
    found += [_if_speed_right(f, sure) for f in others if f is not None]
    said = [item for finding in found for item in _said(finding)]
    plain = {a.name: analysis.name for a, analysis in zip(apart, analyses, strict=True)}
    return tuple(_named(item, plain) for item in (*said, *_notes(scene, readings, vehicle)))


def _told_apart(analyses: Sequence[Analysis]) -> list[Analysis]:
    """The recordings under the names that a person gives them, which is what the sentences then say."""
    names = spoken_names(analyses)
    return [
        replace(a, recording=replace(a.recording, name=name)) for a, name in zip(analyses, names, strict=True)
    ]


def _named(item: CauseEvidence, plain: Mapping[str, str]) -> CauseEvidence:
    """The evidence with the files' own names in `seen_in`, by which others find the recordings."""
    seen_in = tuple(dict.fromkeys(plain.get(name, name) for name in item.evidence.seen_in))
    return replace(item, evidence=replace(item.evidence, seen_in=seen_in))


def _if_speed_right(finding: Finding, sure: Mapping[str, float]) -> Finding:
    """The finding as far as the speeds it leans on are sure: with the rest of the chance it tells nothing."""
    chance = math.prod(sure.get(name, 1.0) for name in set(finding.seen_in))
    if chance >= 1.0 or finding.any_speed:
        return finding
    sound = finding.log_likelihood[SOUND]
    logs = {
        cause: sound + math.log(chance * math.exp(log - sound) + 1.0 - chance)
        for cause, log in finding.log_likelihood.items()
    }
    return replace(finding, log_likelihood=logs)


def _said(finding: Finding) -> list[CauseEvidence]:
    """The finding's word on each cause."""
    sound = finding.log_likelihood[SOUND]
    logs = {cause: finding.log_likelihood.get(cause, sound) for cause in CAUSES}
    ratios = {cause: _capped(DB_PER_LOG_POWER * (log - sound)) for cause, log in logs.items()}
    faults = [10 ** (r / 10) for cause, r in ratios.items() if cause != SOUND]
    shown = {**ratios, SOUND: -10 * math.log10(sum(faults) / len(faults))}
    return [_as_evidence(finding, cause, ratios[cause], shown[cause]) for cause in CAUSES]


def _capped(ratio_db: float) -> float:
    return min(max(ratio_db, -FINDING_CAP_DB), FINDING_CAP_DB)


def _as_evidence(finding: Finding, cause: str, ratio_db: float, shown_db: float) -> CauseEvidence:
    speaks_for = shown_db >= 0
    if cause in finding.more_than and not speaks_for:
        what = f"more than {FAULT_WORDS[cause]} shows"
    elif cause in finding.less_than and not speaks_for:
        what = f"less than {FAULT_WORDS[cause]} shows"
    else:
        plainly = speaks_for and cause in finding.other_way
        what = meaning(finding.name, cause, speaks_for, plainly=plainly)
    text = f"{finding.text}: {what}"
    says: Says = "for" if shown_db >= 0 else "against"
    shown = Evidence(says, shown_db, text, finding.seen_in)
    return CauseEvidence(cause, finding.name, ratio_db, shown, finding.points_at)


# ---------------------------------------------------------------- levels


def _level_findings(readings: Sequence[LevelReading], engine: Engine, place: Place | None) -> list[Finding]:
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
            beside = (*_beside_usual(mine, engine, place), frozenset())
        findings.append(Finding(name, text, logs, names, *beside))
    return findings


def _beside_usual(
    mine: Sequence[LevelReading], engine: Engine, place: Place | None
) -> tuple[frozenset[str], frozenset[str]]:
    """Causes that usually show clearly less, and clearly more, than the reading that stands out most."""
    most = _standing_out(mine, engine, place)
    over = most.level_db - _sound(most, engine, place)
    usual = {
        cause: max(way.adds.get(most.family, NOTHING)[HELDS.index(most.held)] for way in ways)
        for cause, ways in PATTERNS.items()
    }
    usual = {cause: usual.get(cause, 0.0) for cause in CAUSES}
    less = frozenset(c for c, adds in usual.items() if over > adds + NEAR_DB)
    more = frozenset(c for c, adds in usual.items() if NEAR_DB < over < adds - NEAR_DB)
    return less, more


def _beside_usual_change(
    name: str, here: LevelReading, first: LevelReading, engine: Engine, place: Place | None
) -> tuple[frozenset[str], frozenset[str], frozenset[str]]:
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
    return frozenset(less), frozenset(more), frozenset(other_way)


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
    firing = f"the firing order ({engine.firing_order:g})"
    if name in CHANGES:
        here, first = mine[0], _from(readings)
        if sunk := next((r for r in (here, first) if r.most_m_s2 is not None), None):
            return _lost(firing, sunk)
        change, usual = _change(here, first), _usual_change(here, first, engine, place)
        return (
            f"{firing} in {_where(here)} is {times_against(change)} in {_where(first)} "
            f"({signed(change, 0)} dB; usual: {signed(usual, 0)} dB)"
        )
    most = _standing_out(mine, engine, place)
    halves = orders_of("half", engine)
    alone = f"engine order {halves[0]:g}" if halves else ""
    half = "the shake on the half orders" if len(halves) > 1 else alone
    what = {
        "firing": firing,
        "half": half,
        "one": "engine order 1",
        "second": f"what lies on multiples of the firing order ({2 * engine.firing_order:g} and up)",
        "ground": "the shake between the orders",
    }[name]
    if most.most_m_s2 is not None:
        return _lost(what, most)
    if name == "half" and len(halves) > 1:
        what += f" (mostly {most.lead:g})"
    over = most.level_db - _told_usual(most, engine, place)
    level = f"{10 ** (most.level_db / 20):.2g} m/s2{' on average' if len(most.seen_in) > 1 else ''}"
    return f"{what} is {over_sound(over, engine)}, {level} in {_where(most)}"


def _lost(what: str, reading: LevelReading) -> str:
    """Of a line that sinks in its floor no strength is known."""
    return f"{what} does not stand out in {_where(reading)}, {reading.most_m_s2:.2g} m/s2 at most"


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


# ---------------------------------------------------------------- notes


def _notes(scene: Scene, readings: Sequence[LevelReading], vehicle: Vehicle) -> list[CauseEvidence]:
    """What could not be read, said once with `normal`, whose standing it weakens."""
    texts: list[tuple[str, tuple[str, ...]]] = []
    for analysis in scene.before:
        if analysis.speed is None and analysis.condition.speed_hold != "engine off":
            texts.append(
                (f"engine speed is not known in {analysis.name}, so its orders say nothing", (analysis.name,))
            )
        elif analysis.speed and analysis.speed.confidence < LEAST_CONFIDENCE:
            rpm, sure = analysis.speed.mean_rpm, 100 * analysis.speed.confidence
            text = (
                f"{analysis.name} is read as at {rpm:.0f} rpm, which is {sure:.0f} % sure: it counts for less"
            )
            texts.append((text, (analysis.name,)))
    firing = vehicle.engine.firing_order
    for analysis in scene.running:
        row = analysis.orders.level(firing) if analysis.orders else None
        if row is not None and not row.visible:
            texts.append(
                (f"the firing order cannot be seen in {analysis.name}: {row.why_not}", (analysis.name,))
            )
    if readings and not any(r.held == "raised" for r in readings):
        texts.append(
            ("no recording at raised idle: a bad mount and a natural frequency look alike without one", ())
        )
    if vehicle.pulleys_mm and crank_pulley(vehicle) is None:
        given = textwrap.shorten(", ".join(vehicle.pulleys_mm), 60, placeholder="...")
        text = f"none of the pulleys given ({given}) is called 'crank', so no line can be put against them"
        texts.append((text, ()))
    return [CauseEvidence(SOUND, "note", 0.0, Evidence("note", 0.0, text, names)) for text, names in texts]

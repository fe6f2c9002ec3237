"""All evidence of a job: what its recordings, taken together, say about each cause."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import replace

from vibecore.constants import SOUND
from vibecore.engine import Vehicle
from vibecore.evidence import mended
from vibecore.evidence.findings import FINDINGS
from vibecore.evidence.folded import without_folded
from vibecore.evidence.level_findings import CAUSES, level_findings
from vibecore.evidence.levels import LevelReading, read_levels
from vibecore.evidence.likelihood import Finding
from vibecore.evidence.line_findings import crank_pulley
from vibecore.evidence.records import CauseEvidence
from vibecore.evidence.scene import Scene, mended_scene, scene_of
from vibecore.evidence.words import FAULT_WORDS, meaning
from vibecore.model import Analysis, Evidence, Says
from vibecore.speed import LEAST_CONFIDENCE
from vibecore.spoken import spoken_names
from vibecore.units import DB_PER_LOG_POWER

FINDING_CAP_DB = 20.0  # no single finding counts for more than a hundred to one against or for a sound car


def gather(analyses: Sequence[Analysis], vehicle: Vehicle) -> tuple[CauseEvidence, ...]:
    """What the recordings of a job say about every cause, finding by finding.

    Recordings made after a repair are left out if there are others. The orders of a recording whose speed is
    not known, or that its rate cannot show, give no evidence, and a note says so.
    """
    scene = without_folded(scene_of(_told_apart(analyses)), vehicle.engine)
    readings = read_levels(scene, vehicle.engine)
    found = level_findings(readings, vehicle.engine, scene.place)
    sure = _sure(scene.before)
    others = (finding(scene, vehicle) for finding in FINDINGS)
    found += [_if_speed_right(f, sure) for f in others if f is not None]
    return _named((*_all_said(found), *_notes(scene, readings, vehicle)), analyses)


def gather_mended(analyses: Sequence[Analysis], vehicle: Vehicle) -> tuple[CauseEvidence, ...]:
    """What the recordings made after a repair say, beside those from before it, of what was wrong then."""
    apart = _told_apart(analyses)
    scene = without_folded(scene_of(apart), vehicle.engine)
    after = mended_scene(apart, scene)
    if after is None:
        return ()
    after = without_folded(after, vehicle.engine)
    sure = _sure(apart)
    found = [_if_speed_right(f, sure) for f in mended.findings(scene, after, vehicle.engine)]
    return _named(_all_said(found), analyses)


def _told_apart(analyses: Sequence[Analysis]) -> list[Analysis]:
    """The recordings under the names that a person gives them, which is what the sentences then say."""
    names = spoken_names(analyses)
    return [
        replace(a, recording=replace(a.recording, name=name)) for a, name in zip(analyses, names, strict=True)
    ]


def _named(items: Sequence[CauseEvidence], analyses: Sequence[Analysis]) -> tuple[CauseEvidence, ...]:
    """The evidence with the files' own names in `seen_in`, by which others find the recordings."""
    plain = dict(zip(spoken_names(analyses), (a.name for a in analyses), strict=True))

    def named(item: CauseEvidence) -> CauseEvidence:
        seen_in = tuple(dict.fromkeys(plain.get(name, name) for name in item.evidence.seen_in))
        return replace(item, evidence=replace(item.evidence, seen_in=seen_in))

    return tuple(map(named, items))


def _sure(analyses: Sequence[Analysis]) -> dict[str, float]:
    """How sure the engine's speed is in each recording, by name, where it has one."""
    return {a.name: a.speed.confidence for a in analyses if a.speed}


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


def _all_said(found: Sequence[Finding]) -> tuple[CauseEvidence, ...]:
    return tuple(item for finding in found for item in _said(finding))


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
        plainly = cause in (finding.other_way if speaks_for else finding.as_much)
        what = meaning(finding.name, cause, speaks_for, plainly=plainly)
    text = f"{finding.text}: {what}"
    says: Says = "for" if shown_db >= 0 else "against"
    shown = Evidence(says, shown_db, text, finding.seen_in)
    return CauseEvidence(cause, finding.name, ratio_db, shown, finding.points_at)


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

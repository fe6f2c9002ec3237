"""What became of the lines on no order, from before a repair to after it.

A belt's unit whose bearing was renewed no longer shakes at its own order; a fan whose blades were cleaned no
longer at its own hertz. But a fan may just not have run, and a clutch have been out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from vibecore.constants import DEFAULT_PLACING_DB, NOT_LISTED, SAME_HERTZ, SOUND
from vibecore.evidence import lines, lone_lines
from vibecore.evidence.levels import AGAIN_DB
from vibecore.evidence.likelihood import Finding
from vibecore.evidence.mends import of_change
from vibecore.evidence.scene import Scene, made_alike
from vibecore.evidence.words import MENDED
from vibecore.model import Analysis, Line, Spectrum
from vibecore.sound_cars import chance_felt
from vibecore.spectra import band_rms
from vibecore.units import level_text, signed

# Of lines on no order so many are gone the next time without any repair. Common practice, no source.
BY_ITSELF = 0.1
# Chance that such a line, where it is most of the shake, is the fault's own; common practice, no source.
OWNERS: dict[lines.Keeps, dict[str, float]] = {
    "order": {"accessory-drive": 1.0, "driveline": 0.2, NOT_LISTED: 0.3},
    "hertz": {"cooling-fan": 1.0, NOT_LISTED: 0.3},
}
OWNERS_OF_ONE_ALONE = OWNERS["order"] | OWNERS["hertz"]
OWNERS_IN_GEAR = {"driveline": 1.0, "cooling-fan": 0.3, NOT_LISTED: 0.3}  # of one in gear only


def lines_changed(scene: Scene, after: Scene) -> list[Finding]:
    """What became of the line that turns with the engine, of the one that keeps its hertz and of the one in
    gear only; where none is followed, also of the line on no order that made most of the shake."""
    kept = [line for keeps in OWNERS if (line := lines.strongest_kept(scene, keeps)) is not None]
    geared = lone_lines.only_in(scene, "drive") if lone_lines.can_tell(scene, "drive") else None
    found = [_followed_changed(line, scene, after) for line in kept]
    found += [_geared_changed(*geared, scene, after)] if geared else []
    found += [] if kept else [_alone_changed(scene, after, geared[0] if geared else None)]
    return [finding for finding in found if finding is not None]


def _followed_changed(line: lines.FollowedLine, scene: Scene, after: Scene) -> Finding | None:
    def band(analysis: Analysis) -> float:
        return _in_band(analysis, **{line.keeps: line.order if line.keeps == "order" else line.hertz})

    pairs = [p for p in made_alike(scene, after) if p[0].name in line.seen_in and band(p[0]) > 0]
    if not pairs:
        return None
    before, now = max(pairs, key=lambda p: band(p[0]))
    at = f"order {line.order:.2f}" if line.keeps == "order" else f"{line.hertz:.1f} Hz"
    gone = _Gone(at, line.share_db, band(before), band(now))
    return _line_changed(f"{MENDED} line that keeps its {line.keeps}", gone, before, now, OWNERS[line.keeps])


def _geared_changed(line: Line, in_gear: Analysis, scene: Scene, after: Scene) -> Finding | None:
    pairs = [(line, *pair) for pair in made_alike(scene, after) if pair[0] is in_gear]
    return _strongest_changed("in gear only", pairs, scene, OWNERS_IN_GEAR)


def _alone_changed(scene: Scene, after: Scene, told: Line | None) -> Finding | None:
    """told: the one that has been told of already."""
    pairs = [
        (line, before, now)
        for before, now in made_alike(scene, after)
        for line in lone_lines.of_units(before, scene)
        if line is not told
    ]
    return _strongest_changed("alone", pairs, scene, OWNERS_OF_ONE_ALONE)


def _strongest_changed(
    which: str,
    pairs: Sequence[tuple[Line, Analysis, Analysis]],
    scene: Scene,
    owners: Mapping[str, float],
) -> Finding | None:
    """Of lines, each with a recording from before and one from after, the one that made most of the shake."""
    if not pairs:
        return None
    line, before, now = max(pairs, key=lambda p: lines.share_db(p[0], p[1], scene))
    left = _in_band(now, order=line.order, hertz=line.frequency_hz)
    share_db = lines.share_db(line, before, scene)
    gone = _Gone(f"{line.frequency_hz:.1f} Hz", share_db, line.rms_m_s2, left)
    return _line_changed(f"{MENDED} line {which}", gone, before, now, owners)


class _Gone(NamedTuple):
    """A line: where it stands, its share of what is felt (dB), rms before and at most after, m/s2."""

    at: str
    share_db: float
    was: float
    left: float


def _line_changed(
    name: str, line: _Gone, before: Analysis, now: Analysis, owners: Mapping[str, float]
) -> Finding:
    change = 20 * math.log10(max(line.left, lines.LEAST_LINE_M_S2) / line.was)
    own, anothers = of_change(change, math.hypot(DEFAULT_PLACING_DB, AGAIN_DB), BY_ITSELF)
    felt = chance_felt(line.share_db)
    logs = {c: math.log(felt * share * own + (1 - felt * share) * anothers) for c, share in owners.items()}
    was, left = level_text(line.was), level_text(line.left)
    text = (
        f"the line of {was} m/s2 at {line.at} in {before.name} is {left} m/s2 at most in {now.name} "
        f"({signed(change, 0)} dB)"
    )
    return Finding(name, text, {SOUND: math.log(anothers)} | logs, (before.name, now.name))


def _in_band(analysis: Analysis, *, order: float | None = None, hertz: float | None = None) -> float:
    """All that is in the band of a line that keeps its order, or its hertz, or may keep either; rms, m/s2."""
    bands: list[tuple[Spectrum, float, float]] = []
    if hertz is not None:
        bands.append((analysis.spectrum_hz, hertz, SAME_HERTZ))
    if order is not None and analysis.orders is not None:
        bands.append((analysis.orders.spectrum, order, lines.SAME_ORDER))
    seen = [band_rms(s, x * (1 - near), x * (1 + near)) for s, x, near in bands if len(s.x) > 1]
    return max(seen, default=0.0)

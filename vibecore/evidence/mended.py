"""What a repair changed tells what was wrong: the level of each family, and the strongest line on no order.

The best measure of what a car shows when sound is the same car, mended. Where nothing changed, nothing is
learnt but that a fault would likely have been mended.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from vibecore.constants import DEFAULT_PLACING_DB, NOT_LISTED, SOUND
from vibecore.engine import Engine
from vibecore.evidence import lines, lone_lines
from vibecore.evidence.fit import fit_again
from vibecore.evidence.level_findings import family_words
from vibecore.evidence.levels import AGAIN_DB, LevelReading, read_again, read_levels, strangers_hz
from vibecore.evidence.likelihood import Finding
from vibecore.evidence.mends import of_change
from vibecore.evidence.scene import Scene
from vibecore.evidence.words import MENDED, NEAR_DB
from vibecore.model import Analysis, Line
from vibecore.sound_cars import chance_felt
from vibecore.spectra import band_rms
from vibecore.units import signed, times_against

# Fans and clutches switch, and humps come and go: of lines on no order so many are gone the next time without
# any repair. Common practice, no source.
BY_ITSELF = 0.1
MOST_TOLD = 2  # families whose change is told in words
# Chance that a strong line on no order is the fault's own: of belt or motor; of a gearbox; of what not.
OWN_LINE = {"accessory-drive": 1.0, "cooling-fan": 1.0, "driveline": 0.2, NOT_LISTED: 0.3}

Pair = tuple[LevelReading, LevelReading]  # one level before a repair and after it


def findings(scene: Scene, after: Scene, engine: Engine) -> list[Finding]:
    """What changed from before a repair to after it."""
    found = levels_changed(scene, after, engine), line_changed(scene, after)
    return [finding for finding in found if finding is not None]


def levels_changed(scene: Scene, after: Scene, engine: Engine) -> Finding | None:
    """All levels together, for which of them fell and which did not is what tells."""
    before = read_levels(scene, engine)
    again = read_again(before, after, engine, strangers_hz(scene))
    if not again:
        return None
    logs = {
        cause: float(steps.sum()) for cause, steps in fit_again(before, again, engine, scene.place).items()
    }
    pairs = [(_fellow(reading, before), reading) for reading in again]
    names = tuple(dict.fromkeys(name for pair in pairs for reading in pair for name in reading.seen_in))
    return Finding(f"{MENDED} levels", _changes_text(pairs, engine), logs, names)


def _fellow(reading: LevelReading, before: Sequence[LevelReading]) -> LevelReading:
    return next(r for r in before if (r.family, r.held) == (reading.family, reading.held))


def _changes_text(pairs: Sequence[Pair], engine: Engine) -> str:
    """The families that changed most, each where it did."""
    most = {p[1].family: p for p in sorted(pairs, key=_size)}.values()
    told = sorted((p for p in most if _size(p) >= NEAR_DB), key=_size, reverse=True)[:MOST_TOLD]
    if not told:
        where = " and ".join(dict.fromkeys(name for _, after in pairs for name in after.seen_in))
        return f"the engine's orders in {where} are about as before"
    return " and ".join(_change_text(pair, engine) for pair in told)


def _size(pair: Pair) -> float:
    return abs(_change(*pair))


def _change(before: LevelReading, after: LevelReading) -> float:
    return after.level_db - before.level_db


def _change_text(pair: Pair, engine: Engine) -> str:
    before, after = pair
    what, where = family_words(after.family, engine), " and ".join(after.seen_in)
    if before.most_m_s2 is not None:
        return f"{what} stands out in {where}, which it did not before"
    if after.most_m_s2 is not None:
        return f"{what} no longer stands out in {where}, {after.most_m_s2:.2g} m/s2 at most"
    change = _change(before, after)
    return f"{what} in {where} is {times_against(change)} before ({signed(change, 0)} dB)"


def line_changed(scene: Scene, after: Scene) -> Finding | None:
    """What became of the line on no order that made most of the shake."""
    pairs = [
        (line, before, now)
        for role in (*lines.IDLE, "raised")
        for before in scene.role(role)
        for now in after.role(role)
        for line in lone_lines.of_units(before, scene)
    ]
    if not pairs:
        return None
    line, before, now = max(pairs, key=lambda p: lines.share_db(p[0], p[1], scene))
    left = _left_at_most(line, now)
    change = 20 * math.log10(max(left, lines.LEAST_LINE_M_S2) / line.rms_m_s2)
    felt = chance_felt(lines.share_db(line, before, scene))
    own, anothers = of_change(change, math.hypot(DEFAULT_PLACING_DB, AGAIN_DB), BY_ITSELF)
    logs = {c: math.log(felt * share * own + (1 - felt * share) * anothers) for c, share in OWN_LINE.items()}
    what = f"a line of {line.rms_m_s2:.2f} m/s2 at {line.frequency_hz:.1f} Hz in {before.name}"
    text = f"{what} is {left:.2g} m/s2 at most in {now.name} ({signed(change, 0)} dB)"
    return Finding(
        f"{MENDED} line", text, {SOUND: math.log(anothers)} | logs, (before.name, now.name), any_speed=True
    )


def _left_at_most(line: Line, after: Analysis) -> float:
    """All that is in the line's band, be it kept in hertz or in order, rms in m/s2."""
    spectra = [(after.spectrum_hz, line.frequency_hz, lines.SAME_HERTZ)]
    if line.order is not None and after.orders is not None:
        spectra.append((after.orders.spectrum, line.order, lines.SAME_ORDER))
    bands = [(s, x * (1 - near), x * (1 + near)) for s, x, near in spectra if len(s.x) > 1]
    return max((band_rms(*band) for band in bands), default=0.0)

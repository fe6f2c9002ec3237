"""What a repair changed tells what was wrong: the level of each family, the lines on no order, the idle.

The best measure of what a car shows when sound is the same car, mended. Where nothing changed, nothing is
learnt but that a fault would likely have been mended.
"""

from __future__ import annotations

from collections.abc import Sequence

from vibecore.engine import Engine
from vibecore.evidence.fit import fit_again
from vibecore.evidence.level_findings import family_words
from vibecore.evidence.levels import LevelReading, read_again, read_levels, strangers_in
from vibecore.evidence.likelihood import Finding, Spread
from vibecore.evidence.mended_lines import lines_changed
from vibecore.evidence.scene import Scene, made_alike
from vibecore.evidence.words import MENDED, NEAR_DB
from vibecore.units import level_text, signed, times_against

MOST_TOLD = 2  # families whose change is told in words
# By how many percent the idle is faster than before. A car returns to its idle within a few; one that sat on
# a natural frequency may be mended by raising it, and even burning runs at another. Common practice, no
# source.
IDLE_CHANGE = Spread(
    (0.0, 2.5), {"idle-resonance": (10.0, 6.0, 0.4), "uneven-combustion": (0.0, 8.0, 0.3)}, astray=0.05
)

Pair = tuple[LevelReading, LevelReading]  # one level before a repair and after it


def findings(scene: Scene, after: Scene, engine: Engine) -> list[Finding]:
    """What changed from before a repair to after it."""
    levels, idle = levels_changed(scene, after, engine), idle_changed(scene, after)
    return [*filter(None, (levels, idle)), *lines_changed(scene, after)]


def levels_changed(scene: Scene, after: Scene, engine: Engine) -> Finding | None:
    """All levels together, for which of them fell and which did not is what tells."""
    before = read_levels(scene, engine)
    again = read_again(before, after, engine, strangers_in(scene))
    if not again:
        return None
    logs = {
        cause: float(steps.sum()) for cause, steps in fit_again(before, again, engine, scene.place).items()
    }
    pairs = [(_fellow(reading, before), reading) for reading in again]
    names = tuple(dict.fromkeys(name for pair in pairs for reading in pair for name in reading.seen_in))
    # How sure the speeds are the fit weighs itself.
    return Finding(f"{MENDED} levels", _changes_text(pairs, engine), logs, names, any_speed=True)


def _fellow(reading: LevelReading, before: Sequence[LevelReading]) -> LevelReading:
    return next(r for r in before if (r.family, r.held) == (reading.family, reading.held))


def _changes_text(pairs: Sequence[Pair], engine: Engine) -> str:
    """The families that changed most, each where it did."""
    most = {p[1].family: p for p in sorted(pairs, key=_size)}.values()
    told = sorted((p for p in most if _size(p) >= NEAR_DB), key=_size, reverse=True)[:MOST_TOLD]
    if not told:
        where = " and ".join(dict.fromkeys(name for _, after in pairs for name in after.seen_in))
        return f"the engine's orders in {where} are about as before"
    fell, rose = (
        " and ".join(_change_text(pair, engine) for pair in told if (_change(*pair) < 0) is falls)
        for falls in (True, False)
    )
    return ", although ".join(filter(None, (fell, rose)))  # what a repair did not take away fits no cause


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
        return f"{what} no longer stands out in {where}, {level_text(after.most_m_s2)} m/s2 at most"
    change = _change(before, after)
    return f"{what} in {where} is {times_against(change)} before ({signed(change, 0)} dB)"


def idle_changed(scene: Scene, after: Scene) -> Finding | None:
    """Whether the idle is another after the repair: that is how some faults are mended, or what mends them
    does besides."""
    idle = (*scene.role("neutral"), *scene.role("drive"))
    pairs = [
        (before, now, 100 * (now.speed.mean_rpm / before.speed.mean_rpm - 1))
        for before, now in made_alike(scene, after)
        if before in idle and before.speed and now.speed
    ]
    if not pairs:
        return None
    percent = sum(change for *_, change in pairs) / len(pairs)
    names = tuple(dict.fromkeys(a.name for before, now, _ in pairs for a in (before, now)))
    where = " and ".join(dict.fromkeys(now.name for _, now, _ in pairs))
    text = f"the idle in {where} is {abs(percent):.0f} % {'faster' if percent > 0 else 'slower'} than before"
    return Finding(f"{MENDED} idle", text, IDLE_CHANGE.log_likelihood(percent), names)

"""What is said of a recording's quality: good, or what to mind and how to do better."""

from __future__ import annotations

from collections.abc import Sequence

from vibecore.constants import (
    CLIPPED,
    CYLINDERS_DOUBTFUL,
    KNOCKS,
    MOVED,
    SLOW,
    UNIT_ASSUMED,
    UNIT_DOUBTFUL,
    WEIGHTING_CUT_OFF,
)
from vibecore.contract import all_warnings
from vibecore.engine import Engine, what_can_be_seen
from vibecore.harmless import harmless
from vibecore.model import Analysis, Warn
from vibecore.spoken import spoken_by_file
from vibecore.words import WHY_CUT, is_cut_off

MISLEADING = (CLIPPED, MOVED, KNOCKS)  # peaks cut off raise lines of their own; so does a loose phone
UNIT_UNSURE = (UNIT_ASSUMED, UNIT_DOUBTFUL)  # levels weigh by their size: in another unit all would be wrong
# True of every phone, told on the reading page; asked where the cylinders are said.
NO_FAULT = {WEIGHTING_CUT_OFF, CYLINDERS_DOUBTFUL}
GOOD, TO_MIND = ":material/check_circle:", ":material/error:"
ENOUGH = 2.5  # samples in a turn of a line: half of that is two, the rest room for the phone's filter
RATES_HZ = (100, 200, 400, 500)  # that phones offer


def poor_words(analyses: Sequence[Analysis]) -> list[str]:
    """Recordings that mislead more than they tell, with what is wrong with each."""
    called = spoken_by_file(analyses)
    return [f"In {called[a.name]}: {w.message}" for a in analyses for w in all_warnings(a) if _misleads(a, w)]


def _misleads(analysis: Analysis, warning: Warn) -> bool:
    if warning.code not in UNIT_UNSURE:
        return warning.code in MISLEADING
    return analysis.recording.other_unit != ""


def quality(analysis: Analysis, engine: Engine) -> tuple[str, list[str]]:
    """A recording's quality: an icon and what to mind, each with its mend, the first thing first; of a good
    one, what does no harm stands behind."""
    unseen = _unseen_firing(analysis, engine)
    no_harm = harmless(analysis)
    told = NO_FAULT | no_harm.keys() | ({SLOW} if unseen else set())
    lines = [w.message for w in all_warnings(analysis) if w.code not in told]
    if analysis.speed is None:
        lines.reverse()  # why there is no speed comes last
    if unseen:
        lines.insert(0, unseen)
    lines += [text for text in [_cut_off(analysis)] if text]
    if not lines:
        return GOOD, ["Good recording.", *no_harm.values()]
    return TO_MIND, lines


def _cut_off(analysis: Analysis) -> str:
    """What of it was used, where a good part was not."""
    if not is_cut_off(analysis):
        return ""
    start, end = analysis.signal.used_span_s
    return f"Used from {start:.0f} to {end:.0f} s of {analysis.recording.duration_s:.0f}: {WHY_CUT}."


def _unseen_firing(analysis: Analysis, engine: Engine) -> str | None:
    """What to do if the firing order, the first thing to look at, lies above what the phone can see."""
    speed, rate = analysis.speed, analysis.recording.sample_rate_hz
    if speed is None:
        return None
    views = what_can_be_seen(engine, speed.turns_hz, rate)
    firing = next((view for view in views if view.order == engine.firing_order), None)
    if firing is None or firing.visible:
        return None
    firing_hz = firing.frequency_hz
    enough = next((r for r in RATES_HZ if r > ENOUGH * firing_hz), RATES_HZ[-1])
    return (
        f"Record again at {enough} samples a second or more: at {rate:.0f} the firing order cannot be seen."
    )

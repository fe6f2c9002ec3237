"""Records -> short plain sentences for the person with the spanner; numbers are only rounded here."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor
from typing import TYPE_CHECKING

from vibecore.beats import Beat
from vibecore.comfort import HAND, WHOLE_BODY
from vibecore.constants import STOOD_STILL
from vibecore.contract import all_warnings
from vibecore.engine import Vehicle
from vibecore.model import (
    Analysis,
    Condition,
    Evidence,
    Overall,
    Repair,
    SpeedTrack,
)
from vibecore.spoken import made
from vibecore.units import level_text, order_text, percent, signed, times, times_against, times_between

if TYPE_CHECKING:  # signal libraries, which a page without a signal can spare
    from vibecore.repair import Pair

UNSHOWN_PROBABILITY = 0.01  # causes below one in a hundred are counted, not listed
VERDICTS = {
    "cured": "Cured",
    "improved": "Better, not yet right",
    "unchanged": "No change",
    "worse": "Worse",
    "cannot-tell": "Cannot tell",
}
COMPARED = {"lines": "The fault's own shake", "whole shake": "The whole shake"}
# 10 log10 of a likelihood ratio under which it is hardly worth a word, and from which on it is strong:
# Jeffreys, Theory of Probability (1961), appendix B, from memory.
LITTLE_DB, STRONG_DB = 5.0, 10.0
MOST_USED = 0.8  # of a recording: starting and stopping it takes some seconds
WHY_CUT = "the rest is handling, or the phone moved"
FELT_BY = {HAND: "as a hand feels it", WHOLE_BODY: "as a person's body feels it"}  # on seat or floor alike


def sentence(text: str) -> str:
    """The text with a capital and a full stop."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def joined(names: Sequence[str]) -> str:
    """'one, two and three'."""
    *others, last = names
    return f"{', '.join(others)} and {last}" if others else last


def order_name(order: float) -> str:
    return f"engine order {order_text(order)}"


def condition_words(condition: Condition) -> str:
    """How a recording was made, as far as it was said."""
    parts = [
        made(condition),
        f"phone on the {condition.place}" if condition.place else "",
        f"tachometer {condition.tachometer_rpm:.0f} rpm" if condition.tachometer_rpm else "",
    ]
    return ", ".join(part for part in parts if part)


def vehicle_words(vehicle: Vehicle) -> str:
    """Engine and gearbox in a line."""
    engine = vehicle.engine
    parts = (
        f"{engine.cylinders} cylinder{'s' if engine.cylinders > 1 else ''}",
        engine.arrangement or "",
        "two-stroke" if engine.strokes == 2 else "",
        f"{vehicle.transmission} gearbox" if vehicle.transmission else "",
    )
    return ", ".join(filter(None, parts))


def speed_words(speed: SpeedTrack | None) -> str:
    """The engine speed in one sentence, with how sure it is and what else it might be."""
    if speed is None:
        return "Engine speed: cannot be told from this recording."
    text = (
        f"Engine speed: {speed_range(speed)}, "
        f"{percent(speed.confidence)} sure, wandering by {speed.steadiness_rpm:.0f} rpm, "
        f"from {speed.found_by}."
    )
    other = speed.runner_up
    if other is not None and other.probability >= UNSHOWN_PROBABILITY:
        text += (
            f" Next most likely: {other.mean_rpm:.0f} rpm, {other.relation} ({percent(other.probability)})."
        )
    return text


def speed_in_short(speed: SpeedTrack | None) -> str:
    """The engine speed and how sure it is, no more."""
    if speed is None:
        return speed_words(None)
    return f"Engine speed: {speed.mean_rpm:.0f} rpm, {percent(speed.confidence)} sure."


def speed_range(speed: SpeedTrack | None) -> str:
    """For a table: the speed and its interval, rounded outwards."""
    if speed is None:
        return "cannot be told"
    return f"{speed.mean_rpm:.0f} rpm ({floor(speed.low_rpm)} to {ceil(speed.high_rpm)})"


def recording_words(analysis: Analysis) -> str:
    rec = analysis.recording
    lost = {0: "none lost", 1: "1 sample lost"}.get(rec.lost_samples, f"{rec.lost_samples} samples lost")
    start, end = analysis.signal.used_span_s
    why = f": {WHY_CUT}" if is_cut_off(analysis) else ""
    return (
        f"Recording: {rec.duration_s:.1f} s, {rec.sample_rate_hz:.1f} samples a second, {rec.rows} rows, "
        f"{lost}. Used: {start:.1f} s to {end:.1f} s{why}."
    )


def is_cut_off(analysis: Analysis) -> bool:
    """Whether a good part of it was not used: the phone was handled, or it moved. Where the engine stood
    still, a warning says so already."""
    start, end = analysis.signal.used_span_s
    stood = any(w.code == STOOD_STILL for w in all_warnings(analysis))
    return end - start <= MOST_USED * analysis.recording.duration_s and not stood


def overall_words(overall: Overall) -> str:
    by = f" ({overall.weighting})" if overall.weighted_rms_m_s2 is not None and overall.weighting else ""
    return f"Overall shake: {shake_words(overall)}{by}."


def shake_words(overall: Overall) -> str:
    """For a table: how strong it is, and how strong as a person feels it."""
    text = size(overall.rms_m_s2)
    if overall.weighted_rms_m_s2 is not None and overall.weighting:
        text += f"; {size(overall.weighted_rms_m_s2)} {FELT_BY.get(overall.weighting, 'weighted')}"
    return text


def weighting_words(overall: Overall) -> str:
    """By which standard 'as a person feels it' is reckoned; empty where it is not."""
    if overall.weighted_rms_m_s2 is None or not overall.weighting:
        return ""
    felt = FELT_BY.get(overall.weighting, "weighted")
    return f"{felt[:1].upper()}{felt[1:]}: weighted by {overall.weighting}; not a safety limit."


def speaks(item: Evidence) -> str:
    """Which way a finding speaks of its cause, and how strongly."""
    if item.says == "note":
        return "Note"
    weight_db = abs(item.weight_db)
    how = " a little" if weight_db < LITTLE_DB else " strongly" if weight_db >= STRONG_DB else ""
    return f"Speaks{how} {item.says} it"


def beat_words(beat: Beat | None) -> str:
    """Why the shake comes and goes; empty if nothing beats."""
    if beat is None:
        return ""
    low, high = (
        f"{hz:.1f} Hz" + (f" ({order_name(order)})" if order is not None else "")
        for hz, order in ((beat.low_hz, beat.low_order), (beat.high_hz, beat.high_order))
    )
    every = f"every {beat.period_s:.1f} s"
    return f"The shake comes and goes {every}: two lines lie close together, {low} and {high}."


def verdict_words(repair: Repair) -> str:
    """The verdict, and whether it hangs on a speed that is only likely."""
    return VERDICTS[repair.verdict] + (", if the engine speed is right" if repair.provided else "")


def customer_change(repair: Repair) -> str:
    """What the repair did, for whoever paid for it; the reason where it cannot be told."""
    if repair.verdict == "cannot-tell" or repair.change_db is None:
        return repair.why
    what = "The shake that this fault makes" if repair.compared == "lines" else "The shake of the car"
    if repair.verdict == "unchanged":
        return f"{what} is as strong as before, as far as can be measured."
    more = repair.verdict == "improved" and not repair.as_sound
    left = " More of it is left than most sound cars show." if more else ""
    return f"{what} is {times_against(repair.change_db)} before the repair.{left}"


def repair_sentences(repair: Repair) -> tuple[str, ...]:
    """How much the fault's own lines changed, why the verdict, and what to mind; the verdict itself apart."""
    change = ""
    if repair.change_db is not None:
        is_or_seems = "seems" if repair.verdict == "cannot-tell" else "is"
        change = f"{COMPARED[repair.compared]} {is_or_seems} {times(repair.change_db)}"
        # Else the reason has the number and its interval.
        if f"{signed(repair.change_db)} dB" not in repair.why:
            change += f" ({_interval(repair, repair.change_db)})"
        change += "."
    if repair.provided:
        change = f"Provided {repair.provided}. {change}"
    return tuple(filter(None, (change, repair.why, *repair.notes)))


def pair_sentences(pair: Pair) -> tuple[str, ...]:
    """Any two recordings side by side: what it comes to, then what stands behind it."""
    if pair.repair is None:
        return (pair.headline, *pair.notes)
    first, *others = repair_sentences(pair.repair) or ("",)
    return (f"{verdict_words(pair.repair)}. {first}", *others)


def _interval(repair: Repair, change_db: float) -> str:
    """The change in decibels, with its interval where there is one."""
    low_db, high_db, change = repair.low_db, repair.high_db, f"{signed(change_db)} dB"
    if low_db is None or high_db is None:
        return change
    return f"95 % interval {times_between(low_db, high_db)}; {change}, {signed(low_db)} to {signed(high_db)}"


def size(value_m_s2: float) -> str:
    return f"{level_text(value_m_s2)} m/s2"

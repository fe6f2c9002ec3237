"""Before against after: change of the fault's own lines, interval, verdict and why."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vibecore.constants import DEFAULT_PLACING_DB
from vibecore.engine import Engine
from vibecore.model import Analysis, Compared, FaultLines, OrderChange, Repair, VerdictName
from vibecore.repair.beside import felt, new_half_orders, new_lines
from vibecore.repair.likeness import Likeness, copy_words, likeness
from vibecore.repair.lines import (
    Level,
    LevelChange,
    change,
    highest_hz,
    highest_order,
    level_at_order,
    order_change,
    standing_out,
    total,
    whole_band,
)
from vibecore.repair.own import own_lines
from vibecore.repair.shift import shift
from vibecore.repair.significance import is_unchanged, smallest_visible_db
from vibecore.repair.sound import chance_of_cure
from vibecore.repair.telling import Result, may_be_switched, sensitivity_note, shift_note, switched_note, why
from vibecore.sound_cars import WHOLE, SoundLevel, joined

LevelCourse = Callable[[float], float]  # level of an order in dB, any reference, at a frequency in hertz
_COURSE_LEAVES = 0.3  # share of the speed's uncertainty left after a measured course has corrected it
# Unsteady cycles are not equally unsteady from one minute to the next. Common practice, no source.
_UNSTEADY_SD_DB = 1.5
_LEAST_SHOWN_ORDER = 1.0  # two gaps between half orders
_WIDE = 2.0  # an octave: shake that sits on no one line
_WITH_THAT = "Order by order the two can still be compared: the change then includes that difference."
_UNSEEN = "None of the fault's own lines can be seen in both recordings: record with more samples a second."

NO_LINES = FaultLines()


@dataclass(frozen=True)
class FaultSignature:
    """What is known of the fault whose repair is to be proven.

    lines: its own; without any, the orders that stand out most before. whole: no line is its own, the whole
    shake is compared. speed_mended: another idle speed may be the repair itself. others_tell: it leaves the
    other orders as they are, so they tell what the taping did."""

    lines: FaultLines = NO_LINES
    whole: bool = False
    speed_mended: bool = False
    others_tell: bool = True


NOT_KNOWN = FaultSignature()


@dataclass(frozen=True, eq=False)
class _Comparison:
    """The two recordings, what differs between them, and all that their comparison reckons with: see
    `compare`."""

    before: Analysis
    after: Analysis
    fault: FaultSignature
    engine: Engine | None
    placing_db: float
    courses: Mapping[float, LevelCourse]
    like: Likeness


@dataclass(frozen=True)
class _SeenInBoth:
    """One of the fault's lines in both recordings, and what a sound car shows there."""

    name: str
    order: float | None
    before: Level
    after: Level
    sound: SoundLevel


def compare(
    before: Analysis,
    after: Analysis,
    fault: FaultSignature = NOT_KNOWN,
    *,
    engine: Engine | None = None,
    placing_db: float = DEFAULT_PLACING_DB,
    courses: Mapping[float, LevelCourse] | None = None,
) -> Repair:
    """Change of the fault's own lines from one recording to the other, and the verdict.

    engine: tells what a sound car shows. placing_db: standard deviation of the change that taping on again
    makes. courses: for an order, its level in dB over frequency, to correct a difference in speed.
    """
    like = likeness(before, after, speed_mended=fault.speed_mended)
    both = _Comparison(before, after, fault, engine, placing_db, courses or {}, like)
    if like.blocking is not None and not like.whole and not (like.road and fault.lines.band_hz):
        return _made_differently(both, like.blocking)
    lines, compared, seen = _shown(both)
    changes = _all_changes(both, lines.orders)
    if not seen:
        return Repair.cannot_tell(_UNSEEN, changes, like.notes)
    others_tell = fault.others_tell and compared == "lines"
    taped = shift(_untouched(both, lines.orders) if others_tell else [], placing_db)
    result = _result(both, lines, compared, seen, taped)
    found = _told(both, lines, result, changes)
    if found.verdict not in ("cured", "improved") or compared != "lines":
        return found
    # Nobody takes back a car that shakes more than before, whatever became of the fault's own lines.
    in_all = replace(fault, lines=NO_LINES, whole=True)
    whole = compare(before, after, in_all, engine=engine, placing_db=placing_db, courses=courses)
    return replace(whole, why=f"{whole.why} {found.why}") if whole.verdict == "worse" else found


def _shown(both: _Comparison) -> tuple[FaultLines, Compared, list[_SeenInBoth]]:
    """What is compared, and how much of it both recordings show: the fault's own lines, else the whole shake
    where the two were held alike."""
    lines = _own_lines(both)
    seen = _seen_in_both(both, lines)
    if not both.fault.whole and (seen or not both.like.whole):
        return lines, "lines", seen
    lines = FaultLines(band_hz=whole_band(both.before, both.after))
    sound = WHOLE.at(both.before.condition.place)
    return lines, "whole shake", [replace(line, sound=sound) for line in _seen_in_both(both, lines)]


def _result(
    both: _Comparison,
    lines: FaultLines,
    compared: Compared,
    seen: Sequence[_SeenInBoth],
    taped: LevelChange,
) -> Result:
    """The lines together before and after, what the taping did taken off."""
    on_known_courses = lines == FaultLines(lines.orders) and set(lines.orders) <= both.courses.keys()
    corrected = bool(both.courses) and on_known_courses
    extra_sd_db = _extra_sd(both.like, taped.sd_db, corrected, lines)
    first, second = total([p.before for p in seen]), total([p.after for p in seen]).lifted(-taped.db)
    sound = joined([p.sound for p in seen])
    return Result(
        before=first,
        after=second,
        change=change(first, second),
        extra_sd_db=extra_sd_db,
        sound=sound,
        names=_names(seen),
        compared=compared,
        taped=taped,
    )


def _made_differently(both: _Comparison, blocking: str) -> Repair:
    """No verdict where the two cannot be before and after of one repair; neutral beside in gear, a unit off
    beside on, are worth reading order by order all the same."""
    copied = copy_words(both.before, both.after) is not None
    changes = () if copied else _all_changes(replace(both, courses={}), ())
    notes = (*both.like.notes, *((_WITH_THAT,) if changes else ()))
    return Repair.cannot_tell(blocking, changes, notes)


def _own_lines(both: _Comparison) -> FaultLines:
    """The fault's own lines as far as both recordings show them, else what stands out most before."""
    before, after, lines = both.before, both.after, both.fault.lines
    if lines.between is not None:
        lines = replace(lines, between=_shown_by_both(before, after, lines.between))
    if lines.band_hz is not None:
        lines = replace(lines, band_hz=_band_of_both(before, after, lines.band_hz))
    if lines == NO_LINES and not both.fault.whole:
        lines = FaultLines(standing_out(before, both.engine))
    return lines


def _told(both: _Comparison, lines: FaultLines, result: Result, changes: tuple[OrderChange, ...]) -> Repair:
    """The verdict in words, and what to mind beside it."""
    before, after, like = both.before, both.after, both.like
    notes = (*like.notes, *shift_note(result.taped), *new_lines(before, after, changes, lines.orders))
    extra_sd_db = _extra_sd(like, both.placing_db, False)
    notes += tuple(new_half_orders(before, after, both.engine, lines.orders, extra_sd_db))
    notes += tuple(felt(before, after, result.taped.db, _extra_sd(like, result.taped.sd_db, False)))
    verdict = _verdict(result)
    stands_in = result.compared == "whole shake" and not both.fault.whole and like.blocking is None
    if verdict == "unchanged" and stands_in:  # the fault's own lines may have changed all the same
        return Repair.cannot_tell(_UNSEEN, changes, notes)
    if verdict in ("unchanged", "cannot-tell"):
        notes = (*notes, sensitivity_note(result, before, after))
    notes = (*notes, *switched_note(verdict, lines))
    told = why(verdict, result)
    if like.blocking is not None:
        told = f"{like.blocking} What can be compared all the same: {told[0].lower()}{told[1:]}"
    gone = not result.after.stands_clear and may_be_switched(lines, before)
    share_db = 20 * float(np.log10(result.before.rms_m_s2 / before.overall.rms_m_s2))
    low_db, high_db = result.interval_db
    return Repair(
        verdict=verdict,
        change_db=result.change.db,
        low_db=low_db,
        high_db=high_db,
        why=told,
        changes=changes,
        notes=notes,
        compared=result.compared,
        share_db=share_db,
        lines=lines,
        before=before.name,
        may_be_off=gone,
        as_sound=verdict == "improved" and result.as_sound,
    )


def _untouched(both: _Comparison, fault_orders: Sequence[float]) -> list[LevelChange]:
    """Changes of the orders that are not the fault's own and stand clear of their floor in both."""
    table = both.before.orders.levels if both.before.orders is not None else ()
    pairs = [_at_order(both, lv.order) for lv in table if lv.order not in fault_orders]
    return [change(*pair) for pair in pairs if pair is not None and all(lv.stands_clear for lv in pair)]


def _extra_sd(like: Likeness, placing_db: float, corrected: bool, lines: FaultLines = NO_LINES) -> float:
    """Standard deviation in dB of the change from all but the recordings' own scatter. corrected: the levels
    were put right for a difference in speed."""
    speed = like.speed_sd_db * (_COURSE_LEAVES if corrected else 1.0)
    unsteady = 0.0 if lines.between is None else _UNSTEADY_SD_DB
    return float(np.sqrt(placing_db**2 + like.extra_sd_db**2 + speed**2 + unsteady**2))


def _seen_in_both(both: _Comparison, lines: FaultLines) -> list[_SeenInBoth]:
    """Those of the lines that both recordings can show."""
    firsts, seconds = (own_lines(a, lines, both.engine) for a in (both.before, both.after))
    seen = []
    for was, now in zip(firsts, seconds, strict=True):
        levels = was.level, now.level
        if was.order is not None:
            levels = _at_order(both, was.order) or (None, None)
        b, a = levels
        if b is not None and a is not None:
            seen.append(_SeenInBoth(was.name, was.order, b, a, now.sound))
    return seen


def _shown_by_both(before: Analysis, after: Analysis, top_order: float) -> float:
    """As far up to this order as both recordings can show; cycles that differ shake all the way."""
    top = min(top_order, highest_order(before), highest_order(after))
    return top if top >= _LEAST_SHOWN_ORDER else top_order


def _band_of_both(before: Analysis, after: Analysis, band_hz: tuple[float, float]) -> tuple[float, float]:
    """The part of a wide band that both recordings can show; a line's narrow band stands or falls as one."""
    low, high = band_hz
    top = min(high, highest_hz(before), highest_hz(after))
    return (low, top) if top >= _WIDE * low else band_hz


def _at_order(both: _Comparison, order: float) -> tuple[Level, Level] | None:
    """Levels on an order, the second put right for a difference in speed where its course is known."""
    before, after = both.before, both.after
    b, a = level_at_order(before, order), level_at_order(after, order)
    if b is None or a is None or before.speed is None or after.speed is None:
        return None
    if order in both.courses:
        was, now = (order * s.turns_hz for s in (before.speed, after.speed))
        a = a.lifted(both.courses[order](was) - both.courses[order](now))
    return b, a


def _names(seen: Sequence[_SeenInBoth]) -> str:
    """'orders 1, 2 and 31.0 Hz'."""
    orders = [p.name for p in seen if p.order is not None]
    listed = [f"order{'s' if len(orders) > 1 else ''} {', '.join(orders)}"] if orders else []
    return " and ".join(listed + [p.name for p in seen if p.order is None])


def _all_changes(both: _Comparison, fault_orders: Sequence[float]) -> tuple[OrderChange, ...]:
    """Change of every order of the first's table, and of the fault's own, that both show."""
    table = both.before.orders.levels if both.before.orders is not None else ()
    extra = _extra_sd(both.like, both.placing_db, False)
    wanted = sorted({lv.order for lv in table} | set(fault_orders))
    pairs = [(o, p) for o in wanted if (p := _at_order(both, o)) is not None]
    return tuple(order_change(order, b, a, extra) for order, (b, a) in pairs)


def _verdict(result: Result) -> VerdictName:
    db, least = result.change.db, smallest_visible_db(result.sd_db)
    low_db, high_db = result.interval_db  # wider than the scatter where a level may be nothing
    if db < -least and high_db < 0:
        back = chance_of_cure(20 * np.log10(result.before.rms_m_s2), db, result.sd_db, result.sound)
        return "cured" if back > 0.5 and result.surely_left_m_s2 <= result.sound.most_m_s2 else "improved"
    if db > least and low_db > 0:
        return "worse"
    clear = result.before.stands_clear and result.after.stands_clear
    return "unchanged" if clear and is_unchanged(db, result.sd_db) else "cannot-tell"

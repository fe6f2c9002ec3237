"""Any two recordings of a job side by side: the change of each order, and what it comes to in one line.

Two made alike, before and after a repair, get the verdict. Two made differently on purpose (neutral and in
gear, a unit off and on, two sides of a mount) are compared all the same: the difference is then what was
done, and there is no verdict on a repair.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from vibecore.constants import DEFAULT_PLACING_DB
from vibecore.engine import Engine
from vibecore.model import Analysis, OrderChange, RankedCause, Repair
from vibecore.repair.compare import compare
from vibecore.repair.job import repair_of_pair
from vibecore.repair.likeness import copy_words, likeness, sizes_unlike
from vibecore.repair.lines import order_changes
from vibecore.repair.mounts import isolation_note, transmissibility
from vibecore.repair.suspects import best_of_suspects
from vibecore.repair.tapings import measured_placing, placing_db_of
from vibecore.spoken import spoken_names
from vibecore.units import level_text, order_text, signed, times

_MOST_NAMED = 2  # orders named in the line: the strongest that surely differ
_NO_FIRING_ORDER = "Say how many cylinders the engine has, and what the mount holds back is told."
_WORTH_NAMING = 0.1  # share of the strongest order's level; a change on less is not felt


@dataclass(frozen=True)
class Pair:
    """repair: the verdict, where the two are before and after and can be compared as such. changes: every
    order that both show, from the first to the second; the interval holds scatter and placing, not what a
    difference in gear, units or speed does."""

    headline: str
    repair: Repair | None
    changes: tuple[OrderChange, ...]
    notes: tuple[str, ...]


def side_by_side(
    first: Analysis,
    second: Analysis,
    engine: Engine,
    *,
    job: Sequence[Analysis] = (),
    ranked: Sequence[RankedCause] = (),
) -> Pair:
    """Two recordings of a job. job: all its recordings, which tell what taping on anew does, and the course
    of orders over speed; ranked: its causes, whose lines the verdict looks at."""
    measured = measured_placing(job)
    placing_db = placing_db_of(measured)
    changes = order_changes(first, second, placing_db)
    like = likeness(first, second, ("in the first", "in the second"))
    before_after = (first.condition.stage, second.condition.stage) == ("before", "after")
    copied, sized = copy_words(first, second), sizes_unlike(first, second)
    if copied is not None and not before_after:
        return Pair(copied, None, (), like.notes)
    if before_after and (like.blocking is None or like.whole or copied or sized):
        befores = [a for a in job if a.condition.stage == "before"] or [first]
        repair = best_of_suspects(
            ranked, lambda cause_id: repair_of_pair(first, second, befores, engine, cause_id, placing_db)
        )
        assert repair is not None  # these two can be compared
        return Pair(repair.why, repair, repair.changes or changes, repair.notes)
    notes = (*_differences(first, second), *([sized] if sized else []), *like.notes)
    if (held := _held_back(first, second, engine, placing_db)) is not None:
        return Pair(held, None, changes, notes)
    names = spoken_names((first, second))
    if first.orders is None or second.orders is None:
        return Pair(_whole_words((first, second), names), None, (), notes)
    return Pair(_headline(changes, names[1], engine), None, changes, notes)


def before_and_after(before: Analysis, after: Analysis, engine: Engine | None) -> Repair:
    """The proof of repair by two recordings of which no more is known; of the two sides of a mount, beside
    that they prove none, what it holds back."""
    repair = compare(before, after, engine=engine)
    if engine is not None:
        held = _held_back(before, after, engine, DEFAULT_PLACING_DB)
    else:
        held = _NO_FIRING_ORDER if _sides(before, after) is not None else None
    return repair if held is None else replace(repair, notes=(held, *repair.notes))


def _sides(one: Analysis, other: Analysis) -> tuple[Analysis, Analysis] | None:
    """Engine side and body side of a mount, if these are the two."""
    at = {a.condition.place: a for a in (one, other)}
    return (at["engine"], at["body"]) if at.keys() == {"engine", "body"} else None


def _held_back(one: Analysis, other: Analysis, engine: Engine, placing_db: float) -> str | None:
    """What the mount holds back, if the two are its sides and that can be seen."""
    sides = _sides(one, other)
    if sides is None:
        return None
    return isolation_note(transmissibility(*sides, placing_db=placing_db), engine)


def _whole_words(both: Sequence[Analysis], names: Sequence[str]) -> str:
    """All that two can be told by where one has no engine speed, as with the engine off."""
    sizes = [f"{level_text(a.overall.rms_m_s2)} m/s2 in {name}" for a, name in zip(both, names, strict=True)]
    return f"The whole shake is {sizes[0]} and {sizes[1]}. No engine order can be put against the other."


def _headline(changes: tuple[OrderChange, ...], second: str, engine: Engine) -> str:
    strongest = max((max(c.before_m_s2, c.after_m_s2) for c in changes), default=0.0)
    if not strongest:
        return "No engine order can be seen in both."
    named = [c for c in changes if max(c.before_m_s2, c.after_m_s2) >= _WORTH_NAMING * strongest]
    sure = [c for c in named if not c.low_db <= 0 <= c.high_db]
    if not sure:
        return "None of the strong engine orders surely differs between the two."
    sure.sort(key=lambda c: -max(c.before_m_s2, c.after_m_s2))
    return f"In {second} {' and '.join(_told(c, engine) for c in sure[:_MOST_NAMED])}."


def _told(change: OrderChange, engine: Engine) -> str:
    firing = change.order == engine.firing_order
    name = f"{'the firing order' if firing else 'engine order'} {order_text(change.order)}"
    span = f"{signed(change.change_db)} dB, {signed(change.low_db)} to {signed(change.high_db)}"
    return f"{name} is {times(change.change_db)} ({span})"


def _differences(first: Analysis, second: Analysis) -> tuple[str, ...]:
    """What differs in how the two were made, besides the units, which likeness tells."""
    one, other = first.condition, second.condition
    pairs = (
        ("phone on the", one.place, other.place),
        ("gear", one.gear, other.gear),
        ("speed", one.speed_hold, other.speed_hold),
    )
    told = [f"{what} {a}, then {b}" for what, a, b in pairs if a and b and a != b]
    return (f"Made differently: {'; '.join(told)}. The change includes what that does.",) if told else ()

"""What is told beside the verdict: lines that are new, and what a person feels of the change."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vibecore.comfort import comfort_words
from vibecore.constants import Z_95
from vibecore.engine import Engine
from vibecore.model import Analysis, FaultLines, Line, OrderChange
from vibecore.repair.lines import (
    change,
    interval_db,
    level_at_hz,
    level_at_order,
    level_of_whole,
    total,
    whole_band,
)
from vibecore.repair.own import own_lines
from vibecore.repair.significance import FELT_DB
from vibecore.sound_cars import joined
from vibecore.units import level_text, order_text, signed, times, times_against, times_between

_NEW_LINE_DB = 6.0  # a line is new if before there was less than a quarter of its power
_NEW_LINE_FLOOR_DB = 10.0  # and if it stands this far over its floor
_NEW_LINE_SHARE = 0.1  # and is at least this share of the whole shake's rms
_MOST_NEW_LINES = 3
SHOWN_DB = 0.05  # changes are told to the tenth: less would not show, more and the levels belie the change
HALF = 0.5  # of an order: what comes once in two turns, or in odd multiples of that


def new_lines(
    before: Analysis, after: Analysis, changes: Sequence[OrderChange], fault_orders: Sequence[float]
) -> list[str]:
    """Lines that were not there before, and orders outside the fault that surely rose: the strongest few."""
    if after.orders is None:
        return []
    least = _NEW_LINE_SHARE * after.overall.rms_m_s2
    fresh = [ln for ln in after.orders.other_lines if ln.rms_m_s2 >= least and _is_new(ln, before)]
    found = [(ln.rms_m_s2, f"New since the repair: {_line_name(ln)}.") for ln in fresh]
    found += [
        (
            c.after_m_s2,
            f"Engine order {order_text(c.order)} rose to {level_text(c.after_m_s2)} m/s2, "
            f"{times_against(c.change_db)} before ({signed(c.change_db)} dB).",
        )
        for c in changes
        if c.order not in fault_orders
        and c.after_m_s2 >= least
        and c.low_db > 0
        and c.change_db > _NEW_LINE_DB
    ]
    return [text for _, text in sorted(found, reverse=True)[:_MOST_NEW_LINES]]


def new_half_orders(
    before: Analysis,
    after: Analysis,
    engine: Engine | None,
    fault_orders: Sequence[float],
    extra_sd_db: float,
) -> list[str]:
    """That the half orders below the firing order stand out of what sound cars show since the repair, and did
    not before: a plug lead left off, an injector that does not click. extra_sd_db: of the change, from all
    but the recordings' own scatter."""
    halves = [o for o in engine.orders if o < engine.firing_order and o % 1 == HALF] if engine else []
    if not halves or set(halves) & set(fault_orders):
        return []
    firsts, seconds = (own_lines(a, FaultLines(tuple(halves)), engine) for a in (before, after))
    seen = [(b.level, a.level, a.sound) for b, a in zip(firsts, seconds, strict=True) if b.level and a.level]
    if not seen:
        return []
    was, now = total([b for b, _, _ in seen]), total([a for _, a, _ in seen])
    most_m_s2 = joined([sound for _, _, sound in seen]).most_m_s2
    change_db = change(was, now).db
    surely = change_db > _NEW_LINE_DB and interval_db(was, now, extra_sd_db)[0] > 0
    if not (surely and was.rms_m_s2 <= most_m_s2 < now.rms_m_s2):
        return []
    risen = f"{level_text(now.rms_m_s2)} m/s2, {times_against(change_db)} before"
    return [f"New since the repair: half orders ({risen}). Check for a cylinder that misses."]


def _is_new(line: Line, before: Analysis) -> bool:
    if line.above_floor_db < _NEW_LINE_FLOOR_DB:
        return False
    was = [level_at_hz(before, line.frequency_hz)]
    if line.order is not None:
        was.append(level_at_order(before, line.order))
    return all(lv is not None and 10 * np.log10(line.rms_m_s2**2 / lv.guarded) > _NEW_LINE_DB for lv in was)


def _line_name(line: Line) -> str:
    order = f" (engine order {line.order:.2f})" if line.order is not None else ""
    return f"a line at {line.frequency_hz:.1f} Hz{order}, {level_text(line.rms_m_s2)} m/s2"


def felt(before: Analysis, after: Analysis, taped_db: float, extra_sd_db: float) -> list[str]:
    """The weighted values side by side: information, no safety limit; words for the seat only. taped_db: what
    the taping did, taken off the change. extra_sd_db: of the change, from all but the recordings' own
    scatter."""
    b, a = before.overall, after.overall
    if b.weighted_rms_m_s2 is None or a.weighted_rms_m_s2 is None or b.weighting != a.weighting:
        return []
    step_db = 20 * np.log10(max(a.weighted_rms_m_s2, 1e-9) / max(b.weighted_rms_m_s2, 1e-9)) - taped_db
    half_db = Z_95 * float(np.hypot(_whole_sd_db(before, after), extra_sd_db))
    told = f"As a person feels it ({a.weighting}), the shake went from {level_text(b.weighted_rms_m_s2)} to "
    told += f"{level_text(a.weighted_rms_m_s2)} m/s2: {taken_off(taped_db)}{times(step_db)} (95 % interval "
    told += f"{times_between(step_db - half_db, step_db + half_db)})"
    if abs(step_db) < FELT_DB:
        told += ", a change that few people feel"
    if before.condition.place == "seat":
        first, second = (" to ".join(comfort_words(o.weighted_rms_m_s2 or 0.0)) for o in (b, a))
        called = f"both {first}" if first == second else f"the first {first}, the second {second}"
        told += f"; people in a vehicle call {called}"
    return [f"{told}. For information, not a safety limit."]


def taken_off(taped_db: float) -> str:
    """What the taping did, to stand before a change that it was taken off; empty if that does not show."""
    return f"less what the taping did ({signed(taped_db)} dB), " if abs(taped_db) >= SHOWN_DB else ""


def _whole_sd_db(before: Analysis, after: Analysis) -> float:
    """Standard error of the change of the whole shake from the two recordings' own scatter: the weighted one
    is most of it."""
    band = whole_band(before, after)
    was, now = (level_of_whole(a, *band) for a in (before, after))
    return change(was, now).sd_db if was is not None and now is not None else 0.0

"""Results for a terminal: the sentences of `words`, wrapped, with their tables."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from textwrap import wrap

from vibecore.beats import strongest_beat
from vibecore.contract import all_warnings
from vibecore.model import (
    Analysis,
    Diagnosis,
    Evidence,
    Line,
    OrderLevel,
    PlannedCheck,
    RankedCause,
    Repair,
    Warn,
)
from vibecore.units import level_text, percent, signed, times
from vibecore.words import (
    UNSHOWN_PROBABILITY,
    beat_words,
    condition_words,
    order_name,
    overall_words,
    recording_words,
    repair_sentences,
    size,
    speed_words,
    verdict_words,
)

WIDTH = 100  # characters: reads well in a terminal and in a report
MOST_CHECKS = 3  # to choose from; more are in the JSON
MOST_EVIDENCE = 2  # of a cause that is not the first: enough to see why it is not
UNITS = re.compile(r" (?=(?:%|dB|m/s2|rpm|Hz|ms|s|min|bits)\b|%)")  # a number and its unit stay on one line
WHY_COLUMN = 15  # of a row of the table: where the level begins, or why there is none
SHOWN_FROM_M_S2 = 5e-5  # less than the table's last decimal
PLACE_NOT_SAID = "Where the phone was is not said: this holds only if it was the same place."
SAYS = {"for": "+", "against": "-", "note": "."}


def order_rows(levels: Sequence[OrderLevel]) -> list[str]:
    """The table of orders, a row each; what cannot be seen says why."""
    rows = ["order      Hz     m/s2   over floor   steady phase"]
    return rows + [_order_row(level) for level in levels]


def line_words(line: Line) -> str:
    keeps = {"engine": ", follows the engine", "clock": ", keeps its own speed", "unknown": ""}
    place = "" if line.order is None else f" ({line.order:.2f} times engine speed)"
    return (
        f"{line.frequency_hz:.2f} Hz{place}: {size(line.rms_m_s2)}, "
        f"{line.above_floor_db:z.0f} dB over the floor{keeps[line.drifts_with]}"
    )


def analysis_text(analysis: Analysis, title: str) -> str:
    """One recording for a terminal."""
    how = condition_words(analysis.condition)
    lines = [title + (f" ({how})" if how else "")]
    lines += _wrapped([recording_words(analysis)])
    lines += _mind(all_warnings(analysis))
    said = [
        speed_words(analysis.speed),
        overall_words(analysis.overall),
        beat_words(strongest_beat(analysis)),
    ]
    lines += _wrapped(said)
    if analysis.orders is not None:
        lines += _wrapped(order_rows(analysis.orders.levels), hang=" " * WHY_COLUMN)
    if analysis.off_orders:
        lines += ["  Lines on no engine order:" if analysis.orders else "  Lines:"]
        lines += ["    " + line_words(line) for line in analysis.off_orders]
    return "\n".join(lines)


def cause_lines(cause: RankedCause, most_evidence: int | None = None) -> list[str]:
    """A cause with its evidence, the weightiest first."""
    lines = [f"{percent(cause.probability):>9}  {cause.name}"]
    for item in sorted(cause.evidence, key=lambda e: -abs(e.weight_db))[:most_evidence]:
        lines += _wrapped([_evidence_words(item)], lead=" " * 11, hang="  ")
    if most_evidence is None and len(cause.suspects) > 1:
        names = ", ".join(f"{s.name} ({percent(s.probability)})" for s in cause.suspects)
        lines += _wrapped([f"Inside that: {names}."], lead=" " * 11)
    return lines


def check_lines(check: PlannedCheck) -> list[str]:
    """A check with its cautions, which are never left out."""
    lines = [f"  {check.name} (about {check.minutes:.0f} min)"]
    lines += _wrapped([check.why] if check.why else [], lead="    ")
    return lines + _wrapped([f"Caution: {c}" for c in check.cautions], lead="    ", hang="  ")


def repair_lines(repair: Repair) -> list[str]:
    """The verdict, why, and the orders that surely changed."""
    first, *others = repair_sentences(repair) or ("",)
    lines = wrap_all([f"Repair: {verdict_words(repair)}. {first}"]) + _wrapped(others)
    changes = (
        f"{order_name(c.order)}: {size(c.before_m_s2)} before, {size(c.after_m_s2)} after, "
        f"{times(c.change_db)} ({signed(c.change_db)} dB, {signed(c.low_db)} to {signed(c.high_db)})"
        for c in repair.changes
        if not c.low_db <= 0 <= c.high_db
    )
    return lines + _wrapped(changes, hang="  ")


def diagnosis_text(
    diagnosis: Diagnosis, title: str, unread: Iterable[str] = (), first: Sequence[str] = ()
) -> str:
    """A whole job for a terminal: quality, causes with evidence, next checks with cautions, the repair.

    first: what is to be done before any check, and its cautions."""
    lines = [title, ""]
    for analysis in diagnosis.analyses:
        how = condition_words(analysis.condition)
        lines += wrap_all([analysis.name + (f" ({how})" if how else "")])
        lines += _wrapped([speed_words(analysis.speed), overall_words(analysis.overall)])
        lines += _mind(w for w in all_warnings(analysis) if w.message != analysis.overall.cut_off_note)
    lines += wrap_all(f"Left out: {reason}" for reason in unread)
    listed = [c for c in diagnosis.causes if c.probability >= UNSHOWN_PROBABILITY]
    proven = diagnosis.repair is not None and diagnosis.repair.proven
    when = " before the repair" if proven else ""
    lines += ["", f"Causes{when}, the most likely first (+ speaks for, - against):"]
    for number, cause in enumerate(listed):
        lines += cause_lines(cause, MOST_EVIDENCE if number else None)
    if len(listed) < len(diagnosis.causes):
        left = len(diagnosis.causes) - len(listed)
        lines += [f"{percent(0.0):>9}  {'one other' if left == 1 else f'each of {left} others'}"]
    if first:
        lines += ["", *wrap_all(first)]
    if diagnosis.next_checks and not proven:
        lines += ["", "Look at next:"]
        for check in diagnosis.next_checks[:MOST_CHECKS]:
            lines += check_lines(check)
    if diagnosis.repair is not None:
        lines += ["", *repair_lines(diagnosis.repair)]
    return "\n".join(lines + wrap_all(diagnosis.notes))


def comparison_text(before: Analysis, after: Analysis, repair: Repair, titles: tuple[str, str]) -> str:
    """Two recordings side by side for a terminal."""
    lines = []
    for name, analysis, title in zip(("Before", "After"), (before, after), titles, strict=True):
        lines += [f"{name}: {title}"]
        lines += _wrapped([speed_words(analysis.speed), overall_words(analysis.overall)])
        lines += _mind(all_warnings(analysis))
    lines += ["", *repair_lines(repair)]
    if repair.verdict != "cannot-tell" and None in (before.condition.place, after.condition.place):
        lines += _wrapped([PLACE_NOT_SAID])
    return "\n".join(lines)


def wrap_all(texts: Iterable[str]) -> list[str]:
    return _wrapped(texts, lead="")


def _mind(warnings: Iterable[Warn]) -> list[str]:
    return _wrapped((f"Note: {w.message}" for w in warnings), hang="      ")


def _wrapped(texts: Iterable[str], *, lead: str = "  ", hang: str = "") -> list[str]:
    tie = "\N{NO-BREAK SPACE}"
    lines: list[str] = []
    for text in texts:
        lines += wrap(
            UNITS.sub(tie, text),
            WIDTH,
            initial_indent=lead,
            subsequent_indent=lead + hang,
            break_on_hyphens=False,
        )
    return [line.replace(tie, " ") for line in lines]


def _evidence_words(item: Evidence) -> str:
    weight = "" if item.says == "note" else f" ({abs(item.weight_db):.1f} dB)"
    where = f" [{', '.join(item.seen_in)}]" if item.seen_in else ""
    return f"{SAYS[item.says]} {item.text}{weight}{where}"


def _order_row(level: OrderLevel) -> str:
    head = f"{level.order:5g}  {level.frequency_hz:6.2f}"
    if not level.visible or level.rms_m_s2 is None:
        return f"{head}  not seen: {level.why_not or 'reason not known'}"
    if level.rms_m_s2 < SHOWN_FROM_M_S2:
        return f"{head}     none"
    floor = "      -   " if level.above_floor_db is None else f"{level.above_floor_db:z7.1f} dB"
    steady = "" if level.coherence is None else f"{level.coherence:13.2f}"
    return f"{head}  {level_text(level.rms_m_s2):>7}  {floor}{steady}"

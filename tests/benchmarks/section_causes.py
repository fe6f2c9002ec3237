"""Ranked causes: right first and second, false alarms, confusion, calibration."""

from __future__ import annotations

from collections.abc import Sequence

from tests.benchmarks.following import WAYS
from tests.benchmarks.measures import brier, calibration_error, confusion, median, reliability, share
from tests.benchmarks.promises import Promise, counts, share_promise
from tests.benchmarks.rows import CauseRow, Outcome
from tests.benchmarks.section_speed import RATE_CLASSES, rate_class
from tests.benchmarks.tables import Cell, confusion_table, number, percent, table
from vibecore.simulate import CAUSES

SOUND = "normal"
HEAD = [
    "",
    "n",
    "first right %",
    "in first two %",
    "first, either %",
    "said sound %",
    "chance of truth, median",
]


def section(results: Sequence[Outcome], practice: Sequence[Outcome], show: int) -> tuple[str, list[Promise]]:
    rows = [row for result in results for row in result.causes]
    told = [row for result in practice for row in result.causes]
    lines = [_line(name, group) for name, group in _groups(rows)]
    lines += [_line("practice cars", told)] if told else []
    title = (
        "CAUSES\n  either: of a car with two faults any of them counts as right; elsewhere only the main one"
    )
    matrix = confusion((r.cause, _first(r)) for r in rows)
    parts = [
        table(title, HEAD, lines),
        confusion_table("  confusion: rows what is true, columns what came first", matrix, CAUSES),
    ]
    parts += [_calibration(rows), _checks(rows)]
    wrong = [r for r in rows if not _either(r, 1)]
    parts += [_told(row) for row in wrong[:show]]
    return "\n".join(parts), _promises(rows)


def _first(row: CauseRow) -> str:
    return next(iter(row.probabilities))


def _within(row: CauseRow, places: int) -> bool:
    return row.cause in list(row.probabilities)[:places]


def _either(row: CauseRow, places: int) -> bool:
    return bool({row.cause, row.second_cause} & set(list(row.probabilities)[:places]))


def _groups(rows: Sequence[CauseRow]) -> list[tuple[str, list[CauseRow]]]:
    found = [("all", list(rows))]
    found += [("one fault", [r for r in rows if r.cause != SOUND and not r.second_cause])]
    found += [("two faults", [r for r in rows if r.second_cause])]
    found += [(cause, [r for r in rows if r.cause == cause]) for cause in CAUSES]
    for name in RATE_CLASSES:
        found.append((name, [r for r in rows if rate_class(r.rate_hz) == name]))
    for low, high in ((1, 3), (4, 4), (5, 6), (8, 16)):
        mine = [r for r in rows if low <= r.cylinders <= high]
        found.append((f"{low} to {high} cylinders" if high > low else f"{low} cylinders", mine))
    found += [("tachometer read", [r for r in rows if r.read])]
    found += [("tachometer not read", [r for r in rows if not r.read])]
    found += [("a speed null or wrong", [r for r in rows if "null" in r.speeds or "wrong" in r.speeds])]
    found += [("every speed right", [r for r in rows if not ("null" in r.speeds or "wrong" in r.speeds)])]
    return [(name, group) for name, group in found if group]


def _line(name: str, rows: Sequence[CauseRow]) -> list[Cell]:
    return [
        name,
        len(rows),
        percent(share(_within(r, 1) for r in rows)),
        percent(share(_within(r, 2) for r in rows)),
        percent(share(_either(r, 1) for r in rows)),
        percent(share(_first(r) == SOUND for r in rows)),
        number(median(r.probabilities.get(r.cause, 0.0) for r in rows)),
    ]


def _calibration(rows: Sequence[CauseRow]) -> str:
    stated = [r.probabilities[_first(r)] for r in rows]
    bins = reliability(stated, [_within(r, 1) for r in rows])
    either = reliability(stated, [_either(r, 1) for r in rows])
    lines = [
        [f"{b.low:.1f} to {b.high:.1f}", b.count, percent(b.stated), percent(b.right), percent(e.right)]
        for b, e in zip(bins, either, strict=True)
    ]
    score = share_of([brier(r.probabilities, r.cause) for r in rows])
    title = (
        f"  stated chance of the first cause (calibration error {number(calibration_error(bins), 3)}, either "
        f"{number(calibration_error(either), 3)}; Brier score {number(score, 3)}, 0 perfect, 2 worst)"
    )
    return table(title, ["stated", "n", "mean stated %", "right %", "either %"], lines)


def _checks(rows: Sequence[CauseRow]) -> str:
    """Minutes of checks from the recordings on to the part that is the matter."""
    ways = {way: [r.walks[way] for r in rows if way in r.walks] for way in WAYS}
    lines: list[list[Cell]] = [
        [
            way,
            len(walks),
            number(share_of([m for m, _ in walks]), 0),
            percent(share(found for _, found in walks)),
        ]
        for way, walks in ways.items()
    ]
    title = "  minutes of checks to the true part, outcomes drawn from the catalogue"
    return table(title, ["way", "n", "mean minutes", "found %"], lines)


def share_of(values: Sequence[float]) -> float | None:
    return sum(values) / len(values) if values else None


def _promises(rows: Sequence[CauseRow]) -> list[Promise]:
    bins = reliability([r.probabilities[_first(r)] for r in rows], [_either(r, 1) for r in rows])
    sound = [r for r in rows if r.cause == SOUND]
    planned, fixed = (share_of([r.walks[way][0] for r in rows if way in r.walks]) for way in WAYS)
    ratio = planned / fixed if planned is not None and fixed else None
    by_cause = {cause: [not _within(r, 1) for r in rows if r.cause == cause] for cause in CAUSES}
    wrong = f"wrong by cause: {counts(by_cause)}; a small fault shakes less than many sound cars do"
    taken = {cause: [_first(r) == cause for r in sound] for cause in CAUSES if cause != SOUND}
    taken_for = f"taken for {counts({c: flags for c, flags in taken.items() if any(flags)})}"
    return [
        Promise("checks: minutes over those of a fixed list", ratio, 1.0, count=len(rows)),
        share_promise("causes: first right %", [_within(r, 1) for r in rows], 90.0, "at least", wrong),
        share_promise("causes: first right, either fault %", [_either(r, 1) for r in rows], 90.0, "at least"),
        share_promise(
            "causes: in the first two, either fault %", [_either(r, 2) for r in rows], 97.0, "at least"
        ),
        share_promise(
            "causes: sound car called faulty %", [_first(r) != SOUND for r in sound], 5.0, why=taken_for
        ),
        Promise("causes: expected calibration error", calibration_error(bins), 0.05, count=len(rows)),
    ]


def _told(row: CauseRow) -> str:
    first = _first(row)
    ranked = ", ".join(f"{name} {p:.2f}" for name, p in list(row.probabilities.items())[:3])
    lines = [
        f"  car {row.car}: {row.cause} ({row.detail}), second {row.second_cause}; {row.cylinders} cylinders, "
        f"{row.rate_hz:.0f} a second; recordings {', '.join(row.recordings)}; speeds {row.speeds}",
        f"    ranked: {ranked}; truth {row.probabilities.get(row.cause, 0.0):.3f}",
    ]
    for cause in (first, row.cause):
        lines += [f"    {cause}: {words}" for words in row.evidence.get(cause, [])]
    return "\n".join(lines)

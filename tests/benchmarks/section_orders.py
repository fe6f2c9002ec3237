"""Levels of engine orders: errors in decibels, intervals, and the shake budget."""

from __future__ import annotations

import math
from collections.abc import Sequence

from tests.benchmarks.measures import median, quantile, share
from tests.benchmarks.promises import Promise, share_promise
from tests.benchmarks.rows import OrderRow, Outcome
from tests.benchmarks.section_speed import RATE_CLASSES, rate_class
from tests.benchmarks.tables import Cell, number, percent, table
from tests.benchmarks.trial import HIGHEST_SHARE, LEAST_LINE_M_S2

UNSEEN_M_S2 = 1e-3  # stands for a level of nothing, so that it has an error in decibels
SMEARED_SHARE = 0.1  # of a line's power: with more beside it than this, unsteady cycles make up the line
FILTERED_DB = 0.2  # what the phone's own filter may take before it counts
HEAD = [
    "",
    "n",
    "not shown %",
    "median dB",
    "95th dB",
    "bias dB",
    "covered %",
    "| filter out: median dB",
    "95th dB",
]


def section(results: Sequence[Outcome], practice: Sequence[Outcome], show: int) -> tuple[str, list[Promise]]:
    rows = [row for result in results for row in result.orders]
    lines = [_line(name, group) for name, group in _groups(rows)]
    told = [row for result in practice for row in result.orders]
    lines += [_line("practice cars (whole file)", told)] if told else []
    title = (
        f"ORDERS over {LEAST_LINE_M_S2} m/s2, under {HIGHEST_SHARE} of the rate, where the speed is right\n"
        "  true: all that the car makes within +-0.05 order; floor: what the phone adds\n"
        "  filter out: after taking out what the phone's own low-pass takes off, which no reader can know"
    )
    parts = [table(title, HEAD, lines), _budget(results)]
    worst = sorted((r for r in rows if r.rms is not None), key=lambda r: -abs(_error_db(r) or 0.0))
    parts += [_told(row) for row in worst[:show]]
    return "\n".join(parts), _promises(rows)


def _error_db(row: OrderRow) -> float | None:
    if row.rms is None:
        return None
    return 20 * math.log10(max(row.rms, UNSEEN_M_S2) / row.truth)


def _covered(row: OrderRow) -> bool | None:
    if row.low is None or row.high is None:
        return None
    return row.low <= row.truth <= row.high


def _smeared(row: OrderRow) -> bool:
    return row.skirt is not None and row.skirt**2 > SMEARED_SHARE * row.truth**2


def _groups(rows: Sequence[OrderRow]) -> list[tuple[str, list[OrderRow]]]:
    clean = [r for r in rows if not _smeared(r) and r.filter_db > -FILTERED_DB]
    found = [("all", list(rows)), ("steady lines, phone's filter below 0.2 dB", clean)]
    found += [("unsteady: over a tenth of its power beside it", [r for r in rows if _smeared(r)])]
    found += [("phone's own filter takes 0.2 dB and more", [r for r in rows if r.filter_db <= -FILTERED_DB])]
    for low, high in ((0.0, 0.1), (0.1, 0.2), (0.2, 0.3), (0.3, HIGHEST_SHARE)):
        mine = [r for r in rows if low <= r.share_of_rate < high]
        found.append((f"at {low:g} to {high:g} of the rate", mine))
    for name in RATE_CLASSES:
        found.append((name, [r for r in rows if rate_class(r.rate_hz) == name]))
    for low_db, high_db in ((0.03, 0.06), (0.06, 0.2), (0.2, 100.0)):
        mine = [r for r in rows if low_db < r.truth <= high_db]
        found.append((f"{low_db:g} m/s2 to {high_db:g}" if high_db < 100 else f"over {low_db:g} m/s2", mine))
    for cause in sorted({r.cause for r in rows}):
        found.append((cause, [r for r in rows if r.cause == cause]))
    return [(name, group) for name, group in found if group]


def _line(name: str, rows: Sequence[OrderRow]) -> list[Cell]:
    errors = [e for r in rows if (e := _error_db(r)) is not None]
    without = [e - r.filter_db for r in rows if (e := _error_db(r)) is not None]
    return [
        name,
        len(rows),
        percent(share(r.rms is None for r in rows)),
        number(median(abs(e) for e in errors)),
        number(quantile((abs(e) for e in errors), 0.95)),
        number(median(errors)),
        percent(share(c for r in rows if (c := _covered(r)) is not None)),
        number(median(abs(e) for e in without)),
        number(quantile((abs(e) for e in without), 0.95)),
    ]


def _budget(results: Sequence[Outcome]) -> str:
    rows = [row for result in results for row in result.budgets]
    if not rows:
        return ""
    closure = max(abs(r.closure) for r in rows)
    under, far_under = share(r.rest < 0 for r in rows), share(r.rest < -0.01 for r in rows)
    return (
        f"  shake budget of {len(rows)} recordings: orders + other lines + rest differ from the total by "
        f"{percent(closure, 6)} % at most; the rest is negative in {percent(under)} % of them, "
        f"under -1 % of the total in {percent(far_under)} %\n"
    )


def _promises(rows: Sequence[OrderRow]) -> list[Promise]:
    errors = [abs(e) for r in rows if (e := _error_db(r)) is not None]
    covered = [c for r in rows if (c := _covered(r)) is not None]
    return [
        Promise("orders: median error dB", median(errors), 0.3, count=len(errors)),
        Promise("orders: 95th percentile dB", quantile(errors, 0.95), 1.5, count=len(errors), why=_far(rows)),
        share_promise("orders: interval covers %", covered, 93.0, "at least"),
        share_promise("orders: interval covers, not too wide %", covered, 97.0),
    ]


def _far(rows: Sequence[OrderRow]) -> str:
    """How far off steady lines are, and those of unsteady cycles, which a minute holds too few of."""
    parts: dict[str, list[float]] = {"steady lines": [], "those of unsteady cycles": []}
    for row in rows:
        if (error := _error_db(row)) is not None:
            parts["those of unsteady cycles" if _smeared(row) else "steady lines"].append(abs(error))
    return ", ".join(f"{name} {number(quantile(errors, 0.95))} dB" for name, errors in parts.items())


def _told(row: OrderRow) -> str:
    return (
        f"  car {row.car} {row.name} ({row.cause}, {row.rate_hz:.0f} a second) order {row.order:g} at "
        f"{row.share_of_rate:.2f} of the rate: true {row.truth:.3f} m/s2 (beside it {row.skirt or 0:.3f}), "
        f"read {row.rms:.3f} ({row.low:.3f} to {row.high:.3f}): {_error_db(row):+.1f} dB, "
        f"of that the phone's filter {row.filter_db:+.1f} dB"
    )

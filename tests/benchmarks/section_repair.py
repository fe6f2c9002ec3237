"""Proof of repair: verdicts, false 'cured', and whether the change's interval holds the true change."""

from __future__ import annotations

from collections.abc import Sequence

from tests.benchmarks.measures import confusion, median, share
from tests.benchmarks.promises import Promise, counts, share_promise
from tests.benchmarks.rows import Outcome, RepairRow
from tests.benchmarks.tables import Cell, confusion_table, number, percent, table

VERDICTS = ("cured", "improved", "unchanged", "worse", "cannot-tell")
HEAD = ["", "n", "right %", "cannot tell %", "false cured %", "covered %", "error, median dB", "bias dB"]


def section(results: Sequence[Outcome], practice: Sequence[Outcome], show: int) -> tuple[str, list[Promise]]:
    rows, given = _parted(results)
    told, _ = _parted(practice)
    lines = [_line(name, group) for name, group in _groups(rows)]
    lines += [_line("cause found by the checks", given)] if given else []
    lines += [_line("practice cars", told)] if told else []
    title = (
        "REPAIR\n  covered: the 95 % interval of the change holds the change that the car made on the lines\n"
        "  compared (the taping's part taken out); true: what was done, but 'unchanged' where it moved the\n"
        "  fault's own lines by less than taping on anew does, as the contract has it"
    )
    matrix = confusion((r.truth, r.said) for r in rows)
    parts = [
        table(title, HEAD, lines),
        confusion_table("  confusion: rows what is true, columns the verdict", matrix, VERDICTS),
    ]
    parts += [_told(row) for row in [r for r in rows if r.said != r.truth][:show]]
    return "\n".join(parts), _promises(rows)


def _parted(results: Sequence[Outcome]) -> tuple[list[RepairRow], list[RepairRow]]:
    """Judged by the program's own ranking of causes, and with the cause given."""
    rows = [row for result in results for row in result.repairs]
    return [r for r in rows if not r.cause_given], [r for r in rows if r.cause_given]


def _covered(row: RepairRow) -> bool | None:
    if row.true_db is None or row.low_db is None or row.high_db is None:
        return None
    return row.low_db <= row.true_db <= row.high_db


def _groups(rows: Sequence[RepairRow]) -> list[tuple[str, list[RepairRow]]]:
    found = [("all", list(rows))]
    found += [(f"truly {verdict}", [r for r in rows if r.truth == verdict]) for verdict in VERDICTS]
    found += [("cause named rightly", [r for r in rows if r.suspected == r.cause])]
    found += [("another cause named", [r for r in rows if r.suspected not in (None, r.cause)])]
    found += [("called sound", [r for r in rows if r.suspected is None])]
    found += [(cause, [r for r in rows if r.cause == cause]) for cause in sorted({r.cause for r in rows})]
    return [(name, group) for name, group in found if group]


def _line(name: str, rows: Sequence[RepairRow]) -> list[Cell]:
    off = [r.change_db - r.true_db for r in rows if r.change_db is not None and r.true_db is not None]
    return [
        name,
        len(rows),
        percent(share(r.said == r.truth for r in rows)),
        percent(share(r.said == "cannot-tell" for r in rows)),
        percent(share(r.said == "cured" for r in rows if r.truth != "cured")),
        percent(share(c for r in rows if (c := _covered(r)) is not None)),
        number(median(abs(e) for e in off)),
        number(median(off)),
    ]


def _promises(rows: Sequence[RepairRow]) -> list[Promise]:
    covered = [c for r in rows if (c := _covered(r)) is not None]
    not_mended = [r.said == "cured" for r in rows if r.truth in ("unchanged", "worse")]
    by_truth = {verdict: [r.said != r.truth for r in rows if r.truth == verdict] for verdict in VERDICTS}
    why = f"wrong by what was done: {counts(by_truth)}; taping on anew moves all levels by 1.5 dB"
    return [
        share_promise("repair: verdict right %", [r.said == r.truth for r in rows], 90.0, "at least", why),
        share_promise("repair: false 'cured' when nothing was mended %", not_mended, 2.0),
        share_promise("repair: interval covers %", covered, 90.0, "at least"),
        share_promise("repair: interval covers, not too wide %", covered, 98.0),
    ]


def _told(row: RepairRow) -> str:
    true = f"{row.true_db:+.1f} dB" if row.true_db is not None else "not known"
    fault = f"{row.true_of_fault_db:+.1f} dB" if row.true_of_fault_db is not None else "not known"
    return (
        f"  car {row.car}: {row.cause} (second {row.second_cause}), suspected {row.suspected}; "
        f"truly {row.truth}, said {row.said}; lines {row.lines}: true {true}; lines of the true cause: "
        f"true {fault}\n    {row.why}"
    )

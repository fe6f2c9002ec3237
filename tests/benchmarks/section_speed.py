"""Engine speed: errors, refusals, intervals and stated confidence, beside the notebook and the bound."""

from __future__ import annotations

from collections.abc import Sequence

from tests.benchmarks.measures import calibration_error, median, quantile, reliability, share
from tests.benchmarks.promises import Promise, counts, share_promise
from tests.benchmarks.rows import WRONG, Outcome, SpeedRow
from tests.benchmarks.tables import Cell, number, percent, table
from tests.benchmarks.trial import IN_ITS_JOB, MODES

CONFIDENCE_EDGES = (0.0, 0.75, 0.9, 0.95, 0.98, 0.995, 1.0)
ENOUGH = 3  # engine orders: two may be any two lines a multiple apart, three are a family
SEEN = {"none": (0, 0), "one": (1, 1), "two": (2, 2), "three and more": (ENOUGH, 99)}
WHY = "one line may be any order, two a multiple apart any two, and fans and belts make lines as well"
RATE_CLASSES = ("50 to 60 a second", "100 to 125", "200 and more")
HEAD = [
    "", "n", "median %", "95th %", "bias %", "wrong %", "null %", "covered %", "|",
    "notebook median %", "wrong %", "|", "bound: tone %", "comb %",
]  # fmt: skip


def section(results: Sequence[Outcome], practice: Sequence[Outcome], show: int) -> tuple[str, list[Promise]]:
    rows = [row for result in results for row in result.speeds]
    parts, promises, missed = [], [], []
    for mode in (*MODES, IN_ITS_JOB):
        mine = [r for r in rows if r.mode == mode]
        idle = [r for r in mine if r.truth_rpm is not None and not r.road]
        lines = [_line(name, group) for name, group in _groups(idle)]
        road = [r for r in mine if r.truth_rpm is not None and r.road]
        lines += [_line("road, apart", road)] if road else []
        told = [r for o in practice for r in o.speeds if r.mode == mode and r.truth_rpm is not None]
        lines += [_line("practice cars", told)] if told else []
        parts.append(table(f"SPEED {mode}", HEAD, lines))
        why = [_line(name, _shown(idle, *few)) for name, few in SEEN.items()]
        parts.append(table("  why: engine orders that stand 6 dB over all else in their width", HEAD, why))
        parts.append(_confidence(mode, [r for r in idle if r.rpm is not None]))
        off = [r for r in mine if r.truth_rpm is None]
        if off:
            parts.append(f"  engine off: {sum(r.rpm is not None for r in off)} of {len(off)} given a speed\n")
        promises += _promises(mode, idle)
        missed += [r for r in idle if _wrong(r)] + [r for r in idle if r.rpm is None]
    parts += [_told(row) for row in missed[:show]]
    return "\n".join(parts), promises


def _shown(rows: Sequence[SpeedRow], fewest: int, most: int) -> list[SpeedRow]:
    """Recordings in which the phone can see so many of the engine's orders."""
    return [r for r in rows if r.seen is not None and fewest <= r.seen <= most]


def rate_class(rate_hz: float) -> str:
    return RATE_CLASSES[(rate_hz >= 80) + (rate_hz >= 150)]


def _groups(rows: Sequence[SpeedRow]) -> list[tuple[str, list[SpeedRow]]]:
    found = [("all, not on the road", list(rows))]
    found += [(name, [r for r in rows if rate_class(r.rate_hz) == name]) for name in RATE_CLASSES]
    found += [(name, [r for r in rows if r.hold == name]) for name in ("idle", "raised", "sweep")]
    for cylinders in sorted({r.cylinders for r in rows}):
        found.append((f"{cylinders} cylinders", [r for r in rows if r.cylinders == cylinders]))
    return [(name, group) for name, group in found if group]


def _line(name: str, rows: Sequence[SpeedRow]) -> list[Cell]:
    errors = [r.error for r in rows if r.error is not None]
    peers = [r.peer_error for r in rows if r.peer_error is not None]
    return [
        name,
        len(rows),
        percent(median(errors), 3),
        percent(quantile(errors, 0.95), 2),
        percent(median(r.signed for r in rows if r.signed is not None), 3),
        percent(share(_wrong(r) for r in rows)),
        percent(share(r.rpm is None for r in rows)),
        percent(share(bool(r.covered) for r in rows if r.covered is not None)),
        "|",
        percent(median(peers), 3),
        percent(share(e > WRONG for e in peers)),
        "|",
        percent(median(r.tone_bound for r in rows if r.tone_bound is not None), 5),
        percent(median(r.comb_bound for r in rows if r.comb_bound is not None), 5),
    ]


def _wrong(row: SpeedRow) -> bool:
    return row.error is not None and row.error > WRONG


def _is_null(row: SpeedRow) -> bool:
    return row.rpm is None


def _confidence(mode: str, rows: Sequence[SpeedRow]) -> str:
    stated = [r.confidence or 0.0 for r in rows]
    bins = reliability(stated, [not _wrong(r) for r in rows], CONFIDENCE_EDGES)
    lines = [[f"{b.low:g} to {b.high:g}", b.count, percent(b.stated), percent(b.right)] for b in bins]
    error = number(calibration_error(bins), 3)
    return table(
        f"  stated confidence, {mode} (calibration error {error})",
        ["stated", "n", "mean stated %", "right %"], lines,
    )  # fmt: skip


def _promises(mode: str, rows: Sequence[SpeedRow]) -> list[Promise]:
    if mode == "nothing said":
        return []  # the promise is made for what a case file says
    errors = [r.error for r in rows if r.error is not None]
    centre, far = median(errors), quantile(errors, 0.95)
    covered = [bool(r.covered) for r in rows if r.covered is not None]
    family = _shown(rows, ENOUGH, 99)
    seen = {name: _shown(rows, *few) for name, few in SEEN.items()}
    found = ({name: [is_so(r) for r in mine] for name, mine in seen.items()} for is_so in (_wrong, _is_null))
    wrong, null = (f"{counts(flags)} by how many engine orders can be seen; {WHY}" for flags in found)
    return [
        Promise(
            f"speed {mode}: median error %", None if centre is None else 100 * centre, 0.1, count=len(errors)
        ),
        Promise(
            f"speed {mode}: 95th percentile %", None if far is None else 100 * far, 0.5, count=len(errors)
        ),
        share_promise(f"speed {mode}: wrong and sure %", [_wrong(r) for r in rows], 0.5, why=wrong),
        share_promise(f"speed {mode}: null %", [_is_null(r) for r in rows], 3.0, why=null),
        share_promise(f"speed {mode}, three orders seen: wrong and sure %", [_wrong(r) for r in family], 0.5),
        share_promise(f"speed {mode}, three orders seen: null %", [_is_null(r) for r in family], 3.0),
        share_promise(f"speed {mode}: interval covers %", covered, 90.0, "at least"),
        share_promise(f"speed {mode}: interval covers, not too wide %", covered, 98.0),
    ]


def _told(row: SpeedRow) -> str:
    said = f"{row.rpm:.1f} rpm, sure {row.confidence:.3f}" if row.rpm is not None else "null"
    return (
        f"  car {row.car} {row.name} ({row.cause}, {row.cylinders} cylinders, {row.rate_hz:.0f} a second, "
        f"{row.hold}; {row.mode}): true {row.truth_rpm:.1f} rpm, said {said}. {row.why}"
    )

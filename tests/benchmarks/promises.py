"""What the project promises itself, beside what a run reached."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from tests.benchmarks.measures import wilson
from tests.benchmarks.tables import number, table


@dataclass(frozen=True)
class Promise:
    """value None: nothing of the kind came up. hits, count: of a share, for its interval. why: where the
    cases lie that keep it from being reached, and the reason."""

    what: str
    value: float | None
    limit: float
    sense: Literal["at most", "at least"] = "at most"
    count: int = 0
    hits: int | None = None
    why: str = ""

    @property
    def kept(self) -> bool:
        if self.value is None:
            return True
        return self.value <= self.limit if self.sense == "at most" else self.value >= self.limit


def share_promise(
    what: str,
    flags: Iterable[bool],
    limit: float,
    sense: Literal["at most", "at least"] = "at most",
    why: str = "",
) -> Promise:
    """A promise about a share, in percent."""
    found = list(flags)
    hits = sum(found)
    return Promise(what, 100 * hits / len(found) if found else None, limit, sense, len(found), hits, why)


def counts(groups: Mapping[str, Sequence[bool]]) -> str:
    """'one 3 of 10, two 1 of 12': where the cases lie."""
    return ", ".join(f"{name} {sum(flags)} of {len(flags)}" for name, flags in groups.items() if flags)


def promised(promises: Sequence[Promise]) -> str:
    rows = []
    for p in promises:
        interval = None
        if p.hits is not None and p.count:
            low, high = wilson(p.hits, p.count)
            interval = f"{100 * low:.1f} to {100 * high:.1f}"
        limit = f"{p.sense} {p.limit:g}"
        rows.append([p.what, p.count, number(p.value, 2), interval, limit, "" if p.kept else "missed"])
    told = table("PROMISES", ["", "n", "reached", "95 % interval", "promised", ""], rows)
    return told + "".join(f"  missed: {p.what}: {p.why}.\n" for p in promises if not p.kept and p.why)

"""The benchmark's own statistics: shares with their interval, calibration, Brier score, confusion."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np

Z_95 = 1.959964  # of the normal distribution, two-sided 95 %
BINS = 10  # of equal width, as usual for the expected calibration error (Naeini et al., AAAI 2015)


class Bin(NamedTuple):
    """Answers whose stated chance lies in one range: how many, mean stated chance, share that was right."""

    low: float
    high: float
    count: int
    stated: float
    right: float


def median(values: Iterable[float]) -> float | None:
    return quantile(values, 0.5)


def quantile(values: Iterable[float], share: float) -> float | None:
    found = np.array([v for v in values if v is not None], dtype=float)
    return float(np.quantile(found, share)) if found.size else None


def share(flags: Iterable[bool]) -> float | None:
    found = list(flags)
    return sum(found) / len(found) if found else None


def wilson(hits: int, count: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson, J. Am. Stat. Assoc. 22, 1927)."""
    if not count:
        return 0.0, 1.0
    p, z2 = hits / count, Z_95**2
    middle = (p + z2 / (2 * count)) / (1 + z2 / count)
    half = Z_95 / (1 + z2 / count) * np.sqrt(p * (1 - p) / count + z2 / (4 * count**2))
    return float(max(middle - half, 0.0)), float(min(middle + half, 1.0))


def reliability(
    stated: Sequence[float], right: Sequence[bool], edges: Sequence[float] | None = None
) -> list[Bin]:
    """Answers by their stated chance, empty bins left out. edges: rising; ten equal bins if not given."""
    limits = np.linspace(0, 1, BINS + 1) if edges is None else np.asarray(edges, dtype=float)
    p, hit = np.asarray(stated, dtype=float), np.asarray(right, dtype=float)
    at = np.clip(np.searchsorted(limits, p, side="right") - 1, 0, len(limits) - 2)
    found = []
    for i in range(len(limits) - 1):
        mine = at == i
        if mine.any():
            row = (limits[i], limits[i + 1], int(mine.sum()), p[mine].mean(), hit[mine].mean())
            found.append(Bin(float(row[0]), float(row[1]), row[2], float(row[3]), float(row[4])))
    return found


def calibration_error(bins: Sequence[Bin]) -> float | None:
    """Expected calibration error: mean distance of stated chance and share right, weighted by count."""
    count = sum(b.count for b in bins)
    return sum(b.count * abs(b.stated - b.right) for b in bins) / count if count else None


def brier(probabilities: Mapping[str, float], truth: str) -> float:
    """Sum over all answers of (probability - what is)^2: 0 perfect, 2 worst (Brier, Mon. Weather Rev. 78,
    1950)."""
    everything = {*probabilities, truth}
    return sum((probabilities.get(name, 0.0) - (name == truth)) ** 2 for name in everything)


def confusion(pairs: Iterable[tuple[str, str]]) -> dict[str, Counter[str]]:
    """{truth: Counter of answers}."""
    found: dict[str, Counter[str]] = {}
    for truth, answer in pairs:
        found.setdefault(truth, Counter())[answer] += 1
    return found

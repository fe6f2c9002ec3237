"""Rows that hold several samples one after the other, x1, y1, z1, x2, y2, z2: one row for each sample.

Two sensors side by side may be named alike. What tells is the step from the last sample of a row to the first
of the next: as large as those within a row if time runs on, larger where all of a row is of one moment.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vibecore.model import Floats, Warn

from . import names, rising
from .table import Column, Table

_LEAST_ROWS = 32  # that tell whether time runs on
_ALIKE = 0.02  # of the rows' rms: so near lie the means of one sensor's samples
_STEP = 0.2  # share by which the step to the next row may differ from those within a row
_STRENGTHS = 1.3  # the strongest of a row's places over the weakest: one sensor shakes alike in all
# Two sensors that feel nothing of each other: what lies side by side is not alike, what lies one below the
# other is. No shake of one sensor is so, for of a line half-way to the second sample nothing is left.
_ITS_OWN, _UNLIKE = 0.3, 0.5

_Sample = tuple[Column, Column, Column]


def unrolled(table: Table) -> Table:
    """A table with a row for each sample; one that has that already as it is."""
    for samples in _candidates(table):
        if table.rows >= _LEAST_ROWS and _run_on(samples):
            return _in_one(table, samples)
    return table


def _candidates(table: Table) -> list[list[_Sample]]:
    """Sets of axes that are numbered under one name; of a table without names, all that is measured."""
    if not table.named:
        if len(table.columns) < 6:
            return []
        left = [c for c in table.columns if rising.is_measured(c)]
        sets = [(left[i], left[i + 1], left[i + 2]) for i in range(0, len(left) - 2, 3)]
        return [sets] if len(sets) > 1 and len(left) % 3 == 0 else []
    groups: dict[str, dict[int, _Sample]] = {}
    numeric = [c for c in table.columns if c.numbers is not None and c.name]
    for stem, (i, j, k) in names.triples([c.name for c in numeric]):
        if number := re.search(r"\d{1,9}", stem):
            same = groups.setdefault(re.sub(r"\d+", "#", stem), {})
            same[int(number.group())] = (numeric[i], numeric[j], numeric[k])
    numbered = [sorted(group.items()) for group in groups.values() if len(group) > 1]
    return [[s for _, s in g] for g in numbered if g[-1][0] - g[0][0] == len(g) - 1]


def _run_on(samples: Sequence[_Sample]) -> bool:
    """Whether the samples of a row follow one another in time, and the next row follows them."""
    with np.errstate(invalid="ignore"):
        axes = np.stack([np.stack([c.floats() for c in sample], axis=1) for sample in samples])
        axes = axes[:, np.isfinite(axes).all(axis=(0, 2))]
    if axes.shape[1] < _LEAST_ROWS:
        return False
    size = float(np.sqrt(np.mean(np.sum(axes**2, axis=2))))
    means = axes.mean(axis=1)
    if np.linalg.norm(means - means[0], axis=1).max() > _ALIKE * size:
        return False
    within = float(np.mean(np.sum(np.diff(axes, axis=0) ** 2, axis=2)))
    over = float(np.mean(np.sum((axes[0, 1:] - axes[-1, :-1]) ** 2, axis=1)))
    runs_on = within > 0 and abs((over / within) ** 0.5 - 1.0) < _STEP
    return runs_on and not _differ(axes - means[:, None, :])


def _differ(shakes: Floats) -> bool:
    """Whether the places (count, rows, 3) of a row hold the shakes of different sensors."""
    power = np.mean(np.sum(shakes**2, axis=2), axis=1)
    if power.max() > _STRENGTHS**2 * power.min():
        return True
    if len(shakes) > 2:
        return False
    beside = float(np.mean(np.sum(shakes[0] * shakes[1], axis=1))) / float(np.sqrt(power[0] * power[1]))
    below = np.mean(np.sum(shakes[:, 1:] * shakes[:, :-1], axis=2), axis=1) / power
    own = float(below.max())
    return own > _ITS_OWN and abs(beside) < _UNLIKE * own


def _in_one(table: Table, samples: Sequence[_Sample]) -> Table:
    count = len(samples)
    used = [c for sample in samples for c in sample]
    rest = [c.repeated(count) for c in table.columns if c not in used]
    axes = [
        replace(first, numbers=np.stack([s[i].floats() for s in samples], axis=1).ravel())
        for i, first in enumerate(samples[0])
    ]
    text = f"Each row holds {count} samples one after the other; they were read as rows of their own."
    return replace(
        table,
        columns=(*rest, *axes),
        rows=table.rows * count,
        warnings=(*table.warnings, Warn("samples-in-row", text)),
    )

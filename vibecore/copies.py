"""The same recording given twice, under another name or in another wrapping: it counts once, and proves no
repair. No two recordings of a real sensor agree in every sample."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vibecore.constants import SAME_CONTENTS
from vibecore.model import Analysis, Recording, Warn


def same_contents(one: Recording, other: Recording) -> bool:
    """Whether both were read from the same bytes, or hold the same samples; recordings made up without a file
    are never the same."""
    if not one.digest or not other.digest:
        return False
    return one.digest == other.digest or np.array_equal(one.accel_m_s2, other.accel_m_s2)


def copies(recordings: Sequence[Recording]) -> dict[int, int]:
    """Number of each recording that is the same as one before it, and the number of the first such one."""
    found = {}
    for i, recording in enumerate(recordings):
        first = next((k for k in range(i) if same_contents(recordings[k], recording)), None)
        if first is not None:
            found[i] = first
    return found


def told(analyses: Sequence[Analysis], repeats: Mapping[int, int]) -> tuple[Analysis, ...]:
    """The same analyses, with a warning on each that repeats one before it. repeats: what `copies` found."""
    out = list(analyses)
    for i, first in repeats.items():
        text = (
            f"Same contents as {analyses[first].name}: it is one recording, given twice, and counts once. "
            "Give the other file, or record again."
        )
        warning = Warn(SAME_CONTENTS, text)
        out[i] = replace(out[i], warnings=tuple(dict.fromkeys((*out[i].warnings, warning))))
    return tuple(out)

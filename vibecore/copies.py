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
    """Place of each recording that is the same as one before it, and the place of the first such one."""
    found = {}
    for place, recording in enumerate(recordings):
        first = next((i for i in range(place) if same_contents(recordings[i], recording)), None)
        if first is not None:
            found[place] = first
    return found


def told(analyses: Sequence[Analysis], repeats: Mapping[int, int]) -> tuple[Analysis, ...]:
    """The same analyses, with a warning on each that repeats one before it. repeats: what `copies` found."""
    out = list(analyses)
    for place, first in repeats.items():
        text = (
            f"Same contents as {analyses[first].name}: it is one recording, given twice, and counts once. "
            "Give the other file, or record again."
        )
        warning = Warn(SAME_CONTENTS, text)
        out[place] = replace(out[place], warnings=tuple(dict.fromkeys((*out[place].warnings, warning))))
    return tuple(out)

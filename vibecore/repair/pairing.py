"""Which recording from before a repair one from after it is held against, and where nobody said enough to
tell."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from vibecore.model import Analysis, Condition, Repair
from vibecore.repair.likeness import alike, likeness

Proof = Callable[[Analysis, Analysis], Repair]


def most_alike(befores: Sequence[Analysis], after: Analysis) -> Analysis:
    def unlike(before: Analysis) -> tuple[bool, bool, bool, float]:
        like = likeness(before, after)
        blocked = like.blocking is not None
        apart = float(np.hypot(like.extra_sd_db, like.speed_sd_db))
        return not alike(before, after), blocked and not (like.whole or like.road), blocked, apart

    return min(befores, key=unlike)


def paired(
    before: Analysis,
    after: Analysis,
    befores: Sequence[Analysis],
    proof: Proof,
    called: Mapping[int, str],
) -> Repair:
    """What `proof` says of these two; no verdict where nobody said how one of them was made, and another from
    before the repair, which may as well be the one to hold it against, says otherwise. In neutral a bad mount
    shakes no more than a mended one in gear. called: what each is called, by id()."""
    found = proof(before, after)
    if found.change_db is None or (_is_said(before.condition) and _is_said(after.condition)):
        return found
    for other in befores:
        if other is before or not alike(other, after) or likeness(other, after).blocking is not None:
            continue
        told = proof(other, after)
        if told.change_db is not None and told.verdict != found.verdict:
            why = (
                f"Gear or speed is not said for {(before if _is_said(after.condition) else after).name}. "
                f"Against {called[id(before)]} the verdict would be '{_words(found)}', against "
                f"{called[id(other)]} '{_words(told)}': say how each was made."
            )
            return Repair.cannot_tell(why)
    return found


def _is_said(made: Condition) -> bool:
    return made.gear is not None and made.speed_hold is not None


def _words(repair: Repair) -> str:
    return repair.verdict.replace("-", " ")

"""What a file's name tells of how its recording was made, where nobody said it; and that this was taken."""

from __future__ import annotations

from dataclasses import replace

from vibecore.guess import held_by_name, place_by_name
from vibecore.model import Condition, Place, Warn
from vibecore.words import condition_words


def taken(said: Condition, file: str) -> Condition:
    """`said`, with the hold and gear that the file's name tells where no hold was said, and no other gear."""
    named = held_by_name(file)
    if said.speed_hold is not None or named.speed_hold is None:
        return said
    if said.gear is not None and named.gear not in (None, said.gear):
        return said
    return replace(said, speed_hold=named.speed_hold, gear=said.gear or named.gear)


def places(before: str, after: str) -> tuple[Place | None, Place | None]:
    """Where the phone was, if both names tell it: beside one that tells nothing a place is no use."""
    first, second = place_by_name(before), place_by_name(after)
    return (None, None) if first is None or second is None else (first, second)


def told(said: Condition, taken: Condition) -> tuple[Warn, ...]:
    """What was taken, and what it bears on; nothing where all was said."""
    new = Condition(
        gear=taken.gear if said.gear is None else None,
        speed_hold=taken.speed_hold if said.speed_hold is None else None,
        place=taken.place if said.place is None else None,
    )
    how = condition_words(new)
    if not how:
        return ()
    counts = (new.speed_hold, "the engine speed"), (new.place, "the comparison")
    bears = " and on ".join(what for known, what in counts if known is not None)
    wrong = "If that is wrong, say in the case file how it was made, or rename the file"
    text = f"Taken by its name: {how}. {wrong}: it bears on {bears}."
    return (Warn("by-name", text),)

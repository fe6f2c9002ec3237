"""What is tried while an engine runs, as data (kinds.toml)."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files

from vibecore.trying.records import SPEED, Heeded, Tried


@dataclass(frozen=True)
class Kind:
    """One thing to try: how to begin and undo it, and what it means if the engine notices. check: the check
    of the catalogue that it is part of. speedless: why nothing can be told without the engine speed, where
    that is so."""

    id: str
    title: str
    begin: str
    undo: str
    noticed: str
    not_noticed: str
    check: str | None = None
    speedless: str = ""

    def meaning(self, heeded: Heeded) -> str:
        return {"noticed": self.noticed, "not noticed": self.not_noticed}.get(heeded, "")


def as_kind(tried: Tried, kind: Kind) -> Tried:
    """What was read, as far as it tells anything of this kind."""
    blind = kind.speedless and not any(reading.what == SPEED for reading in tried.readings)
    if tried.heeded != "not noticed" or not blind:
        return tried
    return replace(tried, heeded="cannot tell", blind=kind.speedless)


@cache
def kinds() -> tuple[Kind, ...]:
    rows = tomllib.loads(files("vibecore.trying").joinpath("kinds.toml").read_text(encoding="utf-8"))
    return tuple(Kind(**row) for row in rows["kind"])


def kind_of(kind_id: str) -> Kind:
    """The kind of that id; the last, which stands for all else, if there is none."""
    return next((kind for kind in kinds() if kind.id == kind_id), kinds()[-1])

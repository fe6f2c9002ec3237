"""The rows of the catalogue's data files, each with the bounds that it can check by itself."""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from vibecore.errors import VibecoreError

# Nothing is sure: a chance of 0 or 1 would silence all other evidence for good.
Chance = Annotated[float, Field(gt=0, lt=1)]
NotBelowZero = Annotated[float, Field(ge=0)]
Times = Annotated[float, Field(gt=0)]


class CatalogueError(VibecoreError):
    """A data file of causes, checks or codes that contradicts itself."""


class Row(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class SuspectRow(Row):
    """A part or fault inside one cause, with its share of that cause."""

    id: str
    name: str
    share: float = Field(gt=0, le=1)
    called: tuple[str, ...] = ()  # what else people call it, in small letters, words parted by one space
    parts: str
    cost: tuple[NotBelowZero, NotBelowZero]
    due_km: float | None = Field(default=None, gt=0)
    shop: bool = False
    source: str = Field(min_length=3)

    def is_called(self, name: str) -> bool:
        """Whether a person may mean it by that name, however they write it."""
        words = " ".join(re.findall("[a-z]+", name.casefold()))
        return name == self.id or any(re.search(rf"\b{re.escape(one)}\b", words) for one in self.called)


class Does(Row):
    """What a cause does to each thing a mechanic can vary, in words."""

    orders: str
    gear: str
    speed: str
    temperature: str
    units: str


class CauseRow(Row):
    """A cause: how common it is, what it does, and the suspects inside it."""

    id: str
    name: str
    prior: Chance
    source: str = Field(min_length=3)
    lamp: Chance
    does: Does
    note: str
    shop: bool = False
    shakes_when: dict[str, Chance]
    suspect: tuple[SuspectRow, ...] = Field(min_length=1)

    def for_shop(self) -> tuple[SuspectRow, ...]:
        """Its suspects that only a licensed shop should touch."""
        return tuple(s for s in self.suspect if self.shop or s.shop)


class OutcomeRow(Row):
    """One outcome of a check and how likely it is under each suspect or whole cause."""

    id: str
    name: str
    otherwise: Chance
    given: dict[str, Chance] = {}


class CheckRow(Row):
    """A check a mechanic makes."""

    id: str
    name: str
    steps: tuple[str, ...] = Field(min_length=1)
    tools: tuple[str, ...]
    skills: tuple[str, ...]
    minutes: float = Field(gt=0)
    days: NotBelowZero = 0.0  # days of waiting until it shows
    dismantling: int = Field(ge=0, le=3)
    cost: NotBelowZero
    engine: Literal["off", "running", "either"]
    unsafe_when: tuple[str, ...] = ()
    first_when: Literal["lamp on"] | None = None
    last: bool = False
    reads_codes: bool = False  # its outcome is the same news as the codes and the lamp that they lit
    told_by: str | None = None  # the finding by which the recordings tell as much, where they tell it
    needs_outcome: dict[str, str] = {}  # any one of these outcomes, or a code that points at `needs_code_for`
    needs_code_for: str | None = None
    by_cylinder: bool = False  # made at one cylinder after another: a code may tell where to begin
    renews: str | None = None  # a suspect whose part is cleaned or changed with it, which distance makes due
    cautions: tuple[str, ...]
    source: str = "common practice, no source"
    outcome: tuple[OutcomeRow, ...] = Field(min_length=2)

    def find_outcome(self, outcome: str) -> OutcomeRow | None:
        """The outcome of that id; None if there is none."""
        return next((row for row in self.outcome if row.id == outcome), None)

    def likelihood(self, outcome: str, suspect: str, cause: str) -> float:
        """How likely `outcome` is if `suspect` of `cause` is at fault."""
        row = next(o for o in self.outcome if o.id == outcome)
        return row.given.get(suspect, row.given.get(cause, row.otherwise))


class CodeRow(Row):
    """One run of trouble codes with a common meaning."""

    first: str = Field(pattern=r"^[PBCU]\d{4}$")
    last: str | None = Field(default=None, pattern=r"^[PBCU]\d{4}$")
    meaning: str
    times: dict[str, Times] = {}


class Code(Row):
    """One trouble code; `times` as in CodeRow; `cylinder` where it names one."""

    code: str
    meaning: str
    times: dict[str, float]
    cylinder: int | None = None

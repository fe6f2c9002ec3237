"""What a job's recordings come to: causes, checks, the proof of a repair; and what people said of the car."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vibecore.model.recorded import Analysis, Frozen

Says = Literal["for", "against", "note"]
VerdictName = Literal["cured", "improved", "unchanged", "worse", "cannot-tell"]
Compared = Literal["lines", "whole shake"]


@dataclass(frozen=True)
class Evidence:
    """One finding about one cause: 10 log10 of a likelihood ratio, a sentence, and where it was seen."""

    says: Says
    weight_db: float
    text: str
    seen_in: tuple[str, ...] = ()


@dataclass(frozen=True)
class Suspect:
    """A part or fault inside one cause that the vibration alone cannot tell from its neighbours."""

    id: str
    name: str
    probability: float


@dataclass(frozen=True)
class RankedCause:
    """A cause with its probability among all, the evidence worth showing, and the suspects inside it, whose
    probabilities add up to 1."""

    id: str
    name: str
    probability: float
    evidence: tuple[Evidence, ...] = ()
    suspects: tuple[Suspect, ...] = ()


@dataclass(frozen=True)
class PlannedCheck:
    """A check worth making now: what it takes, what it is expected to tell, and how not to get hurt."""

    id: str
    name: str
    minutes: float
    gain_bits: float
    cautions: tuple[str, ...]
    why: str = ""


@dataclass(frozen=True)
class OrderChange:
    """Change of one order from the first to the second recording, in decibels, with its 95 % interval."""

    order: float
    before_m_s2: float
    after_m_s2: float
    change_db: float
    low_db: float
    high_db: float


@dataclass(frozen=True)
class FaultLines:
    """Where a fault shows: engine orders, frequencies in hertz for what has its own speed, for unsteady
    cycles everything between the half orders up to an order, and all that shakes in a band of hertz."""

    orders: tuple[float, ...] = ()
    hz: tuple[float, ...] = ()
    between: float | None = None
    band_hz: tuple[float, float] | None = None


@dataclass(frozen=True)
class Repair:
    """The proof of a repair: the verdict with its reason, and the change of the level that was compared, dB,
    with its 95 % interval; None where none can be given."""

    verdict: VerdictName
    change_db: float | None
    low_db: float | None
    high_db: float | None
    why: str
    changes: tuple[OrderChange, ...] = ()
    notes: tuple[str, ...] = ()
    compared: Compared = "lines"  # what the change is of: the fault's own lines, or all that shakes
    share_db: float | None = None  # of that in the whole shake before, 20 log10
    lines: FaultLines | None = None  # what was compared
    before: str | None = None  # name of the recording it was compared with
    may_be_off: bool = False  # the lines are gone, as they would be with their fan or unit switched off
    as_sound: bool = False  # only improved, though no more is left than most sound cars show
    provided: str = ""  # engine speeds that are only likely and that the verdict rests on; empty if none

    @classmethod
    def cannot_tell(
        cls, why: str, changes: tuple[OrderChange, ...] = (), notes: tuple[str, ...] = ()
    ) -> Repair:
        """That there is no verdict, and why."""
        return cls(
            verdict="cannot-tell",
            change_db=None,
            low_db=None,
            high_db=None,
            why=why,
            changes=changes,
            notes=notes,
        )

    @property
    def proven(self) -> bool:
        """A cure that rests on no doubtful speed."""
        return self.verdict == "cured" and not self.provided


@dataclass(frozen=True)
class Symptoms:
    """What the owner said. None, empty: not said. shakes_when: the case file's words."""

    check_engine_light: bool | None = None
    codes: tuple[str, ...] = ()
    shakes_when: tuple[str, ...] = ()


@dataclass(frozen=True)
class CheckOutcome:
    """A check that was made and what came of it, by their ids in checks.toml."""

    id: str
    outcome: str


@dataclass(frozen=True, eq=False)
class Diagnosis(Frozen):
    """The answer to a job. causes, next_checks: the likeliest, the best first. analyses: in the job's order.
    notes: what was said but could not be used. found: what the recordings surely tell, by the findings'
    names. suspected: the causes by what was known before a repair, whose lines its proof goes by."""

    causes: tuple[RankedCause, ...]
    next_checks: tuple[PlannedCheck, ...]
    repair: Repair | None
    analyses: tuple[Analysis, ...]
    notes: tuple[str, ...] = ()
    found: tuple[str, ...] = ()
    suspected: tuple[RankedCause, ...] = ()

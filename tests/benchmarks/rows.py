"""Results of one car beside the truth, as rows."""

from __future__ import annotations

from dataclasses import dataclass

WRONG = 0.03  # a speed further off is wrong: the contract's confidence speaks of 3 %


@dataclass(frozen=True)
class SpeedRow:
    car: str
    name: str
    mode: str
    cause: str
    road: bool
    cylinders: int
    rate_hz: float
    hold: str | None
    truth_rpm: float | None
    rpm: float | None
    low_rpm: float | None
    high_rpm: float | None
    confidence: float | None
    why: str
    peer_rpm: float | None
    tone_bound: float | None  # one standard deviation as a share of the speed
    comb_bound: float | None
    seen: int | None = None  # engine orders that the phone can see

    @property
    def error(self) -> float | None:
        return relative_error(self.rpm, self.truth_rpm)

    @property
    def signed(self) -> float | None:
        return None if self.rpm is None or self.truth_rpm is None else self.rpm / self.truth_rpm - 1

    @property
    def peer_error(self) -> float | None:
        return relative_error(self.peer_rpm, self.truth_rpm)

    @property
    def covered(self) -> bool | None:
        if self.rpm is None or self.truth_rpm is None or self.low_rpm is None or self.high_rpm is None:
            return None
        return self.low_rpm <= self.truth_rpm <= self.high_rpm


@dataclass(frozen=True)
class OrderRow:
    car: str
    name: str
    cause: str
    rate_hz: float
    order: float
    share_of_rate: float
    truth: float
    skirt: float | None
    rms: float | None
    low: float | None
    high: float | None
    filter_db: float
    why: str | None


@dataclass(frozen=True)
class BudgetRow:
    closure: float  # (orders + lines + rest) / total - 1
    rest: float  # share of the total


@dataclass(frozen=True)
class CauseRow:
    car: str
    cause: str
    detail: str
    second_cause: str | None
    cylinders: int
    rate_hz: float
    probabilities: dict[str, float]  # most likely first
    read: bool  # somebody read the tachometer
    walks: dict[str, tuple[float, bool]]  # by way through the checks: minutes, whether it was found
    speeds: str  # of recordings: known and right / wrong / null
    recordings: tuple[str, ...]
    evidence: dict[str, list[str]]


@dataclass(frozen=True)
class RepairRow:
    car: str
    cause: str
    second_cause: str | None
    suspected: str | None
    truth: str
    said: str
    change_db: float | None
    low_db: float | None
    high_db: float | None
    true_db: float | None
    true_of_fault_db: float | None  # of the lines of the true cause
    lines: str
    why: str
    cause_given: bool = False  # as if the checks had found it before it was mended


@dataclass(frozen=True)
class Outcome:
    """All rows of one car, and errors in words."""

    speeds: tuple[SpeedRow, ...] = ()
    orders: tuple[OrderRow, ...] = ()
    budgets: tuple[BudgetRow, ...] = ()
    causes: tuple[CauseRow, ...] = ()
    repairs: tuple[RepairRow, ...] = ()
    errors: tuple[str, ...] = ()
    seconds: float = 0.0


def relative_error(rpm: float | None, truth: float | None) -> float | None:
    return None if rpm is None or truth is None else abs(rpm / truth - 1)

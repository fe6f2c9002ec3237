"""The engine as far as its vibration goes: cylinders, strokes and layout give the firing order.

A cylinder of a four-stroke engine fires once in two revolutions, so an evenly firing engine of N cylinders
excites engine order N / 2 and its multiples; a two-stroke fires N times a revolution. What repeats once in a
working cycle lives on multiples of order 0.5 (two-stroke: 1). Free inertia forces and couples of the layout
come on top: they are data, in engine_balance.toml.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from vibecore.balance import Arrangement, EngineLayout, balance_table, torque_sum
from vibecore.constants import LINE_HALF_WIDTH_ORDERS
from vibecore.errors import CaseError, VibecoreError

NormalKind = Literal[
    "firing", "force", "couple", "firing and force", "firing and couple", "uneven firing", "unknown"
]

MOST_CYLINDERS = 16  # no road engine has more
LEAST_HIGHEST_ORDER = 4.0  # tables of small engines still reach this order, so that cars can be compared
USABLE_SHARE_OF_HALF_RATE = 0.95  # nearer to half the rate, jitter and hunting spread a line over it
SAME_LINE_ORDERS = 0.15  # a folded line this near an order passes for it while the speed is roughly known
DROWNS_WITHIN = 2 * LINE_HALF_WIDTH_ORDERS  # where a folded line, as wide as the order's, is read with it
UNEVEN_SHARE = 0.05  # of the cylinders: a torque sum above it counts as an order that uneven firing leaves

# What a person means who says only how many cylinders there are. Common practice, no source.
_ASSUMED_ARRANGEMENTS: dict[int, tuple[Arrangement, ...]] = {6: ("inline", "vee")}


class Normal(NamedTuple):
    """What a sound engine shows on one order, and why."""

    kind: NormalKind
    note: str


class Fold(NamedTuple):
    """Where a sampled line is seen. mirrored: it falls there as the true frequency rises."""

    seen_at_hz: float
    folded: bool
    mirrored: bool


class OrderView(NamedTuple):
    """How one order shows at a sample rate. `hidden_by`: orders that fold down onto this one or beside it.
    Not visible is what lies above half the rate, and a quiet order on which a firing order lands."""

    order: float
    frequency_hz: float
    visible: bool
    hidden_by: tuple[float, ...]
    why_not: str | None


@dataclass(frozen=True)
class Engine:
    """Cylinders, strokes and, if known, their arrangement.

    Raises CaseError for cylinders outside 1 to 16, strokes other than 2 or 4, an unknown arrangement.
    """

    cylinders: int
    strokes: int = 4
    arrangement: Arrangement | None = None

    def __post_init__(self) -> None:
        whole = isinstance(self.cylinders, int) and not isinstance(self.cylinders, bool)
        if not whole or not 1 <= self.cylinders <= MOST_CYLINDERS:
            raise CaseError(
                f"An engine cannot have {self.cylinders!r} cylinders: give 1 to {MOST_CYLINDERS}, whole."
            )
        if self.strokes not in (2, 4) or isinstance(self.strokes, bool):
            raise CaseError(
                f"An engine works in 2 or 4 strokes, not {self.strokes!r}: give 4 for nearly every car."
            )
        if self.arrangement not in (None, "inline", "vee", "flat"):
            raise CaseError(
                f"Cylinders cannot be arranged as {self.arrangement!r}: give inline, vee or flat, or nothing."
            )

    @property
    def firing_order(self) -> float:
        """Firings a crank revolution."""
        return self.cylinders * 2.0 / self.strokes

    @property
    def cycle_order(self) -> float:
        """The order of a whole working cycle: the lowest that one weak cylinder raises."""
        return 2.0 / self.strokes

    @property
    def orders(self) -> tuple[float, ...]:
        """Every multiple of one half up to twice the firing order, and to order 4 at least."""
        highest = max(2.0 * self.firing_order, LEAST_HIGHEST_ORDER)
        return tuple(0.5 * i for i in range(1, round(2.0 * highest) + 1))

    def firing_orders(self, count: int) -> tuple[float, ...]:
        """The firing order and its harmonics, `count` of them."""
        return tuple(self.firing_order * i for i in range(1, count + 1))

    @property
    def assumed(self) -> str | None:
        """What was taken for granted about the arrangement, in words; None if it was given."""
        if self.arrangement is not None:
            return None
        names = " or ".join(_assumed_arrangements(self.cylinders))
        return f"Nobody said how the {self.cylinders} cylinders are arranged; taken as {names}."

    @property
    def layouts(self) -> tuple[EngineLayout, ...]:
        """Rows of the balance table that fit, the usual ones if there are any; empty if there are none."""
        wanted = _assumed_arrangements(self.cylinders) if self.arrangement is None else (self.arrangement,)
        fits = [
            row
            for row in balance_table()
            if (row.cylinders, row.strokes) == (self.cylinders, self.strokes) and row.arrangement in wanted
        ]
        return tuple([row for row in fits if row.usual] or fits)

    @property
    def uneven_share(self) -> float:
        """Share of the layouts that may be meant which fire at uneven angles of the crank."""
        return sum(bool(_uneven_orders(row, self.orders)) for row in self.layouts) / max(len(self.layouts), 1)

    @property
    def usual_firing_sequence(self) -> str:
        """The firing sequence of most engines like this, with the advice to check it."""
        known = [row.sequence for row in self.layouts if row.sequence]
        if self.cylinders == 1:
            return "one cylinder: nothing to tell"
        if not known:
            return "not known here: see the maker's manual"
        return f"usually {' or '.join(dict.fromkeys(known))}; check the maker's manual"

    def normal_orders(self) -> dict[float, Normal]:
        """Orders that a sound engine of this layout shows, each with its kind and why.

        Where the layout is not known the rows that may be meant are put together. An engine that the table
        does not hold gets orders 1 and 2 as 'unknown': shake there is no proof of a fault.
        """
        normal = {
            order: Normal("firing", f"{_times(i)} the firing order")
            for i, order in enumerate(self.firing_orders(2), 1)
        }
        if not self.layouts:
            for order in (1.0, 2.0):
                normal.setdefault(order, Normal("unknown", "the balance of this layout is not in the table"))
        for row in self.layouts:
            for order, kind in _inertia_kinds(row).items():
                normal[order] = _joined(normal.get(order), kind, f"{row.name}: {row.note}")
            for order in _uneven_orders(row, self.orders):
                normal.setdefault(order, Normal("uneven firing", f"{row.name}: {row.note}"))
        return dict(sorted(normal.items()))


@dataclass(frozen=True)
class Vehicle:
    """The car as far as somebody told. pulleys_mm: outside diameters by names that people give."""

    engine: Engine
    transmission: Literal["automatic", "manual"] | None = None
    idle_spec_rpm: tuple[float, float] | None = None
    pulleys_mm: dict[str, float] = field(default_factory=dict)
    belt_length_mm: float | None = None
    mileage_km: float | None = None


def fold(frequency_hz: float, fs_hz: float) -> Fold:
    """Where a line of this frequency is seen when sampled at `fs_hz`.

    Lines above half the rate fold down like a fan-fold (aliasing; Shannon's sampling theorem): 46.7 Hz
    sampled at 60 Hz is seen at 13.3 Hz and falls when the true line rises.

    Raises VibecoreError for a frequency below 0 or a rate that is not above it.
    """
    if not fs_hz > 0 or not frequency_hz >= 0:
        raise VibecoreError(
            f"A line of {frequency_hz} Hz at {fs_hz} samples a second makes no sense: check the file's times."
        )
    over = frequency_hz % fs_hz
    mirrored = over > fs_hz / 2
    return Fold(fs_hz - over if mirrored else over, frequency_hz > fs_hz / 2, mirrored)


def what_can_be_seen(engine: Engine, speed_hz: float, fs_hz: float) -> tuple[OrderView, ...]:
    """For each order of the engine at this crank speed: can a phone with this rate see it, and if not, where
    does it fold to and beside which order does it land?"""
    folds = {order: fold(order * speed_hz, fs_hz) for order in engine.orders}
    usable_hz = USABLE_SHARE_OF_HALF_RATE * fs_hz / 2
    seen = [order for order in engine.orders if order * speed_hz <= usable_hz]
    landing: dict[float, float | None] = {}
    for order in engine.orders:
        near = [o for o in seen if abs(folds[order].seen_at_hz / speed_hz - o) <= SAME_LINE_ORDERS]
        landing[order] = near[0] if order not in seen and near else None
    loud = engine.firing_orders(2)
    views = []
    for order in engine.orders:
        frequency_hz = order * speed_hz
        hidden_by = tuple(o for o in engine.orders if landing[o] == order)
        why_not = None if order in seen else _why_not(frequency_hz, fs_hz, folds[order], landing[order])
        for o in set(hidden_by).intersection(loud) if order not in loud else ():
            if abs(folds[o].seen_at_hz / speed_hz - order) <= DROWNS_WITHIN:
                at = f"order {o:g}, at {o * speed_hz:.1f} Hz,"
                why_not = f"{at} folds down onto it at {fs_hz:.0f} samples a second"
        views.append(OrderView(order, frequency_hz, why_not is None, hidden_by, why_not))
    return tuple(views)


def _why_not(frequency_hz: float, fs_hz: float, at: Fold, near: float | None) -> str:
    told = f"at {frequency_hz:.1f} Hz it is too near or above half of the {fs_hz:.0f} samples a second"
    if not at.folded:
        return told
    beside = f", beside order {near:g}" if near is not None else ""
    return f"{told}; it would show at {at.seen_at_hz:.1f} Hz{beside}"


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _assumed_arrangements(cylinders: int) -> tuple[Arrangement, ...]:
    return _ASSUMED_ARRANGEMENTS.get(cylinders, ("inline",) if cylinders <= 7 else ("vee",))


def _inertia_kinds(row: EngineLayout) -> dict[float, Literal["force", "couple"]]:
    kinds: dict[float, Literal["force", "couple"]] = {}
    for order, force, couple in ((1.0, row.force_1, row.couple_1), (2.0, row.force_2, row.couple_2)):
        if order == 1.0 and row.balanced_1:
            continue
        if force > 0:
            kinds[order] = "force"
        elif couple > 0:
            kinds[order] = "couple"
    return kinds


def _joined(there: Normal | None, kind: Literal["force", "couple"], note: str) -> Normal:
    if there is None:
        return Normal(kind, note)
    joined = f"{there.note}; {note}"
    if there.kind in ("firing", "firing and couple", "firing and force"):
        both_force = kind == "force" or there.kind == "firing and force"
        return Normal("firing and force" if both_force else "firing and couple", joined)
    return Normal("force" if "force" in (kind, there.kind) else "couple", joined)


def _uneven_orders(row: EngineLayout, orders: Sequence[float]) -> list[float]:
    if not row.fires_at_deg:
        return []
    return [o for o in orders if torque_sum(row.fires_at_deg, o) > UNEVEN_SHARE * row.cylinders]

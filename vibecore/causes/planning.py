"""The next check: expected information over what it costs.

Expected information of a check (bits) is what its outcome is expected to take off the entropy of the
suspects (MacKay, Information Theory, Inference, and Learning Algorithms, 2003, chapters 2 and 4):

    I = H(suspects) - sum over outcomes of P(outcome) H(suspects | outcome)

Cost is minutes, with money, dismantling and waiting turned into minutes.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from vibecore.causes.load import Catalogue, CheckRow, catalogue
from vibecore.causes.ranking import Hypothesis, hypotheses_of
from vibecore.constants import SOUND
from vibecore.engine import Vehicle
from vibecore.model import CheckOutcome, Floats, PlannedCheck, RankedCause, Symptoms
from vibecore.units import percent

MONEY_PER_MINUTE = 1.0  # about what an hour in a small shop costs, over 60; common practice, no source
DISMANTLING_MINUTES = 8.0  # for each step of dismantling: parts that break, clips, doing it twice; no source
WAITING_MINUTES_PER_DAY = 5.0  # a customer without an answer; no source
LEAST_GAIN_BITS = 0.004  # under this a check tells nothing worth the walk
# Before anybody has looked at the car the recordings may be read wrongly: of a hundred answers which are
# said to be 97 % sure the benchmark has 96 right, so what is said to be over 99 % is still worth a look.
ASTRAY = 0.01
SURE = 0.9  # of a cause: what is left to do is to bear it out
SHOP_FROM = 0.5  # hand over when suspects for a licensed shop hold more than this of what is wrong
LEAST_NAMED = 0.05  # a suspect that stays under this, or moves by less, is no reason to make a check
DUE_COUNTS = 0.5  # of the effort of work that is due anyway: it is only done sooner; no source
DUE_WORDS = (
    " At this car's distance that work is usually due anyway, if it was not done since: it counts half."
)
STRONG_CODE = 8.0  # a code that many times likelier under a cause points at it


def plan(
    ranked: Sequence[RankedCause],
    outcomes: Sequence[CheckOutcome] = (),
    *,
    symptoms: Symptoms | None = None,
    vehicle: Vehicle | None = None,
    found: Collection[str] = (),
    lacking: Collection[str] = (),
    state: Collection[str] = (),
    limit: int = 5,
    knowledge: Catalogue | None = None,
) -> tuple[PlannedCheck, ...]:
    """The checks worth making now, best first, at most `limit`.

    A check that opens the way to another (which cylinder is weak, before its coil is swapped) is credited
    with what the two tell together; one whose work is due at the vehicle's distance costs half. ranked: what
    `rank` returned. outcomes: checks already done, not asked for again. found: findings of the recordings;
    what they tell is not asked for either. lacking: skills and tools that the user does not have, ids of
    checks that they cannot make. state: words of [states] that hold now.
    """
    now = _Situation(
        known=knowledge or catalogue(),
        outcomes=tuple(outcomes),
        symptoms=symptoms or Symptoms(),
        mileage_km=vehicle.mileage_km if vehicle else None,
        found=frozenset(found),
        lacking=frozenset(lacking),
        state=frozenset(state),
    )
    hypotheses = hypotheses_of(now.known)
    p = _probabilities(ranked, hypotheses)
    if not outcomes:
        p = (1 - ASTRAY) * p + ASTRAY * np.array([h.prior for h in hypotheses])
    ready = [c for c in now.known.checks if _allowed(c, now, p, hypotheses) and _ready(c, now)]
    worth = [(check, _worth(check, now, p, hypotheses)) for check in ready]
    telling = [(check, has) for check, has in worth if has.bits >= LEAST_GAIN_BITS]
    telling.sort(key=lambda pair: _order(pair[0], pair[1], now.symptoms))
    return tuple(_planned(check, has, now) for check, has in telling[:limit])


@dataclass(frozen=True)
class _Situation:
    """What holds for a job while the next check is chosen."""

    known: Catalogue
    outcomes: tuple[CheckOutcome, ...]
    symptoms: Symptoms
    mileage_km: float | None
    found: frozenset[str]
    lacking: frozenset[str]
    state: frozenset[str]


def _planned(check: CheckRow, worth: _Worth, now: _Situation) -> PlannedCheck:
    due = DUE_WORDS if _due(check, now) else ""
    return PlannedCheck(
        id=check.id,
        name=check.name,
        minutes=check.minutes,
        gain_bits=worth.bits,
        cautions=now.known.caution_texts(check),
        why=f"{worth.why}{_where_to_begin(check, now)}{due}",
    )


def _where_to_begin(check: CheckRow, now: _Situation) -> str:
    """The cylinders that codes name, for a check made at one after another."""
    codes = map(now.known.code, now.symptoms.codes)
    named = sorted({code.cylinder for code in codes if code is not None and code.cylinder is not None})
    if not check.by_cylinder or not named:
        return ""
    numbers = " and ".join(map(str, named))
    return f" The codes name cylinder {numbers}: begin there (the maker's manual tells which one that is)."


def _due(check: CheckRow, now: _Situation) -> bool:
    """Whether what the check renews is usually worn out by the distance that this car has run."""
    if check.renews is None or now.mileage_km is None:
        return False
    part = next(s for c in now.known.causes for s in c.suspect if s.id == check.renews)
    return part.due_km is not None and now.mileage_km >= part.due_km


def _effort(check: CheckRow, now: _Situation) -> float:
    return effort_minutes(check) * (DUE_COUNTS if _due(check, now) else 1.0)


class _Worth(NamedTuple):
    bits: float
    minutes: float  # expected, everything turned into minutes
    why: str


def _worth(check: CheckRow, now: _Situation, p: Floats, hypotheses: Sequence[Hypothesis]) -> _Worth:
    """What a check tells and costs, together with the check that it opens the way to, if that pays."""
    table = outcome_table(check, hypotheses)
    why = _why(check, p, table, hypotheses)
    plain = _Worth(expected_information(p, table), _effort(check, now), why)
    best = plain
    for later in now.known.checks:
        outcome = later.needs_outcome.get(check.id)
        if outcome is None or _ready(later, now) or not _allowed(later, now, p, hypotheses):
            continue
        row = table[[o.id for o in check.outcome].index(outcome)]
        chance = float(row @ p)
        gain = expected_information(row * p / chance, outcome_table(later, hypotheses))
        bits, minutes = plain.bits + chance * gain, plain.minutes + chance * _effort(later, now)
        if bits / minutes > best.bits / best.minutes:
            name = next(o.name for o in check.outcome if o.id == outcome)
            best = _Worth(
                bits, minutes, f"{plain.why} If '{name}', then: {later.name[0].lower()}{later.name[1:]}."
            )
    return best


def expected_information(p: Floats, table: Floats) -> float:
    """Bits that an outcome is expected to tell. p: (h,) probabilities; table: (o, h) P(outcome |
    hypothesis).
    """
    joint = table * p
    outcome_p = joint.sum(axis=1)
    after = sum(q * entropy_bits(row / q) for q, row in zip(outcome_p, joint, strict=True) if q > 0)
    return max(0.0, entropy_bits(p) - float(after))


def entropy_bits(p: Floats) -> float:
    """Entropy of a distribution, in bits."""
    positive = p[p > 0]
    return float(-(positive * np.log2(positive)).sum())


def outcome_table(check: CheckRow, hypotheses: Sequence[Hypothesis]) -> Floats:
    """(outcomes, hypotheses): how likely each outcome of a check is under each suspect."""
    return np.array(
        [[check.likelihood(row.id, h.suspect.id, h.cause.id) for h in hypotheses] for row in check.outcome]
    )


def effort_minutes(check: CheckRow) -> float:
    """What a check costs, all turned into minutes."""
    money = check.cost / MONEY_PER_MINUTE
    return (
        check.minutes + money + check.dismantling * DISMANTLING_MINUTES + check.days * WAITING_MINUTES_PER_DAY
    )


def _order(check: CheckRow, worth: _Worth, symptoms: Symptoms) -> tuple[int, float]:
    first = check.first_when == "lamp on" and symptoms.check_engine_light is True
    rank = 0 if first else 2 if check.last else 1
    return rank, -worth.bits / worth.minutes


def _allowed(check: CheckRow, now: _Situation, p: Floats, hypotheses: Sequence[Hypothesis]) -> bool:
    """Neither done, nor told by the recordings, nor beyond the user's skills and tools, nor unsafe for the
    car as it is now."""
    if any(done.id == check.id for done in now.outcomes) or check.told_by in now.found:
        return False
    if check.reads_codes and any(map(now.known.code, now.symptoms.codes)):
        return False
    if now.lacking & {check.id, *check.skills, *check.tools} or now.state & set(check.unsafe_when):
        return False
    return not check.last or _for_shop(p, hypotheses) > SHOP_FROM


def _ready(check: CheckRow, now: _Situation) -> bool:
    """Whether what this check starts from (which cylinder is weak) is known, by an outcome or a code."""
    if not check.needs_outcome or any(check.needs_outcome.get(d.id) == d.outcome for d in now.outcomes):
        return True
    rows = map(now.known.code, now.symptoms.codes)
    return any(row and row.times.get(check.needs_code_for or "", 0.0) >= STRONG_CODE for row in rows)


def _for_shop(p: Floats, hypotheses: Sequence[Hypothesis]) -> float:
    """Share of what is wrong that only a licensed shop should touch."""
    wrong = np.array([h.cause.id != SOUND for h in hypotheses])
    shop = np.array([h.suspect in h.cause.for_shop() for h in hypotheses])
    return float(p[wrong & shop].sum() / max(p[wrong].sum(), 1e-12))


def _probabilities(ranked: Sequence[RankedCause], hypotheses: Sequence[Hypothesis]) -> Floats:
    values = {s.id: c.probability * s.probability for c in ranked for s in c.suspects}
    p = np.array([values.get(h.suspect.id, 0.0) for h in hypotheses])
    return p / p.sum()


def _why(check: CheckRow, p: Floats, table: Floats, hypotheses: Sequence[Hypothesis]) -> str:
    """The suspect whose chance would move most and what each outcome makes of it, in words; of a whole cause
    where no suspect worth naming would move."""
    after = table * p / (table @ p)[:, None]
    name, stands, become = _most_moved([h.suspect.name for h in hypotheses], p, after, table @ p)
    causes = [h.cause.name for h in hypotheses]
    of_cause = np.array([[c == h for h in causes] for c in dict.fromkeys(causes)], float)
    leading = int((of_cause @ p).argmax())
    first = float(of_cause[leading] @ p)
    if max(stands, *become) < LEAST_NAMED:
        name, stands, become = list(dict.fromkeys(causes))[leading], first, after @ of_cause[leading]
    if np.abs(become - stands).max() < LEAST_NAMED:
        bears_out = "It bears out what the recordings say, or not, before anything is mended."
        return bears_out if first >= SURE else "It moves several parts by a few percent each."
    parts = [f"'{row.name}' makes it {percent(q)}" for row, q in zip(check.outcome, become, strict=True)]
    return f"{name} stands at {percent(stands)}: " + ", ".join(parts) + "."


def _most_moved(
    names: Sequence[str], p: Floats, after: Floats, outcome_p: Floats
) -> tuple[str, float, Floats]:
    """Name, chance now, and chance after each outcome (o,) of the one that is expected to move most."""
    best = int((outcome_p[:, None] * np.abs(after - p)).sum(axis=0).argmax())
    return names[best], float(p[best]), after[:, best]

"""The next check: expected information over what it costs.

Expected information of a check (bits) is what its outcome is expected to take off the entropy of the
suspects (MacKay, Information Theory, Inference, and Learning Algorithms, 2003, chapters 2 and 4):

    I = H(suspects) - sum over outcomes of P(outcome) H(suspects | outcome)

Cost is minutes, with money, dismantling and waiting turned into minutes.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from vibecore.causes.load import Catalogue, CheckRow, catalogue
from vibecore.causes.ranking import Hypothesis, hypotheses_of
from vibecore.model import CheckOutcome, Floats, PlannedCheck, RankedCause, Symptoms

MONEY_PER_MINUTE = 1.0  # about what an hour in a small shop costs, over 60; common practice, no source
DISMANTLING_MINUTES = 8.0  # for each step of dismantling: parts that break, clips, doing it twice; no source
WAITING_MINUTES_PER_DAY = 5.0  # a customer without an answer; no source
LEAST_GAIN_BITS = 0.004  # under this a check tells nothing worth the walk
SHOP_FROM = 0.5  # hand over when suspects for a licensed shop hold more than this of what is wrong
STRONG_CODE = 8.0  # a code that many times likelier under a cause points at it


def plan(
    ranked: Sequence[RankedCause],
    outcomes: Sequence[CheckOutcome] = (),
    *,
    symptoms: Symptoms | None = None,
    lacking: Collection[str] = (),
    state: Collection[str] = (),
    limit: int = 5,
    knowledge: Catalogue | None = None,
) -> tuple[PlannedCheck, ...]:
    """The checks worth making now, best first, at most `limit`.

    ranked: what `rank` returned. outcomes: checks already done, which are not asked for again. lacking:
    skills and tools the user does not have. state: words of checks.toml's [states] that hold for this car
    now.
    """
    known = knowledge or catalogue()
    symptoms = symptoms or Symptoms()
    hypotheses = hypotheses_of(known)
    p = _probabilities(ranked, hypotheses)
    candidates = []
    for check in known.checks:
        if not _allowed(check, outcomes, symptoms, lacking, state, known, p, hypotheses):
            continue
        table = outcome_table(check, hypotheses)
        gain = expected_information(p, table)
        if gain >= LEAST_GAIN_BITS:
            planned = PlannedCheck(
                id=check.id,
                name=check.name,
                minutes=check.minutes,
                gain_bits=gain,
                cautions=known.caution_texts(check),
                why=_why(check, p, table, hypotheses),
            )
            candidates.append((_order(check, gain, symptoms), planned))
    candidates.sort(key=lambda item: item[0])
    return tuple(planned for _, planned in candidates[:limit])


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


def _order(check: CheckRow, gain: float, symptoms: Symptoms) -> tuple[int, float]:
    first = check.first_when == "lamp on" and symptoms.check_engine_light is True
    rank = 0 if first else 2 if check.last else 1
    return rank, -gain / effort_minutes(check)


def _allowed(
    check: CheckRow,
    outcomes: Sequence[CheckOutcome],
    symptoms: Symptoms,
    lacking: Collection[str],
    state: Collection[str],
    known: Catalogue,
    p: Floats,
    hypotheses: Sequence[Hypothesis],
) -> bool:
    if any(done.id == check.id for done in outcomes) or (check.id == "read-codes" and symptoms.codes):
        return False
    if set(lacking) & {*check.skills, *check.tools} or set(state) & set(check.unsafe_when):
        return False
    if check.needs_outcome and not _ready(check, outcomes, symptoms, known):
        return False
    return not check.last or _for_shop(p, hypotheses) > SHOP_FROM


def _ready(check: CheckRow, outcomes: Sequence[CheckOutcome], symptoms: Symptoms, known: Catalogue) -> bool:
    """Whether an outcome or a code has shown what this check starts from (which cylinder is the weak one)."""
    if any(check.needs_outcome.get(done.id) == done.outcome for done in outcomes):
        return True
    rows = [known.codes.get(code.strip().upper()) for code in symptoms.codes]
    return any(row and row.times.get(check.needs_code_for or "", 0.0) >= STRONG_CODE for row in rows)


def _for_shop(p: Floats, hypotheses: Sequence[Hypothesis]) -> float:
    """Share of what is wrong that only a licensed shop should touch."""
    wrong = np.array([h.cause.id != "normal" for h in hypotheses])
    shop = np.array([h.cause.shop or h.suspect.shop for h in hypotheses])
    return float(p[wrong & shop].sum() / max(p[wrong].sum(), 1e-12))


def _probabilities(ranked: Sequence[RankedCause], hypotheses: Sequence[Hypothesis]) -> Floats:
    values = {s.id: c.probability * s.probability for c in ranked for s in c.suspects}
    p = np.array([values.get(h.suspect.id, 0.0) for h in hypotheses])
    return p / p.sum()


def _why(check: CheckRow, p: Floats, table: Floats, hypotheses: Sequence[Hypothesis]) -> str:
    """The outcome and the suspect whose chance would move most, in words."""
    outcome_p = table @ p
    after = table * p / outcome_p[:, None]
    moved = outcome_p[:, None] * np.abs(after - p)
    best = int(moved.sum(axis=0).argmax())
    name = hypotheses[best].suspect.name
    parts = [f"'{row.name}' makes it {_percent(after[i, best])}" for i, row in enumerate(check.outcome)]
    return f"{name} stands at {_percent(p[best])}: " + ", ".join(parts) + "."


def _percent(p: float) -> str:
    return f"{100 * p:.0f} %" if p >= 0.01 else "under 1 %"

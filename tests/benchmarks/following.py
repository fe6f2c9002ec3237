"""A mechanic who follows the proposed checks beside one who works down a fixed list by commonness.

Both start from the same evidence on the same car and meet the same outcomes, drawn as the catalogue says
they come under the true suspect: it compares two ways through the data, it does not test the data. The fixed
list is what commonness alone advises: suspect after suspect, each with the check that knows it best.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np

from vibecore.causes.load import catalogue
from vibecore.causes.planning import plan
from vibecore.causes.ranking import Hypothesis, hypotheses_of, rank
from vibecore.engine import Vehicle
from vibecore.evidence.records import CauseEvidence
from vibecore.model import CheckOutcome, Symptoms

Way = Literal["planned", "fixed list"]
WAYS: tuple[Way, ...] = ("planned", "fixed list")
FOUND = 0.5  # chance at which a suspect counts as found
MOST_STEPS = 20


@dataclass(frozen=True)
class Walk:
    """Minutes spent on checks, and whether the true suspect was found."""

    minutes: float
    found: bool


@cache
def fixed_list() -> tuple[str, ...]:
    """Check ids down the suspects by commonness, each with the check that knows it best."""
    order = sorted(hypotheses_of(catalogue()), key=lambda h: -h.cause.prior * h.suspect.share)
    checks = [
        max(
            (c for c in catalogue().checks if not c.last),
            key=lambda c: max(c.likelihood(o.id, h.suspect.id, h.cause.id) / o.otherwise for o in c.outcome),
        ).id
        for h in order
    ]
    return tuple(dict.fromkeys(checks))


def dice(rng: np.random.Generator) -> dict[str, float]:
    """One throw for each check: both mechanics meet the same outcome."""
    return {c.id: float(rng.random()) for c in catalogue().checks}


def drawn_suspect(cause_id: str, rng: np.random.Generator) -> Hypothesis | None:
    """A suspect of the cause by its share; None for a cause without any that could be found."""
    own = [h for h in hypotheses_of(catalogue()) if h.cause.id == cause_id]
    if cause_id == "normal" or not own:
        return None
    shares = np.array([h.suspect.share for h in own])
    return own[int(rng.choice(len(own), p=shares / shares.sum()))]


def follow(
    truth: Hypothesis,
    way: Way,
    thrown: Mapping[str, float],
    evidence: Sequence[CauseEvidence] = (),
    symptoms: Symptoms | None = None,
    vehicle: Vehicle | None = None,
) -> Walk:
    """Check after check until the true suspect's chance passes one half, or no check is left."""
    done: list[CheckOutcome] = []
    minutes = 0.0
    for _ in range(MOST_STEPS):
        ranked = rank(evidence, symptoms, done, vehicle)
        chances = {(r.id, s.id): r.probability * s.probability for r in ranked for s in r.suspects}
        if chances[truth.cause.id, truth.suspect.id] > FOUND:
            return Walk(minutes, True)
        made = {d.id for d in done}
        if way == "planned":
            proposed = plan(ranked, done, symptoms=symptoms, limit=1)
            name = proposed[0].id if proposed else None
        else:
            name = next((f for f in fixed_list() if f not in made), None)
        if name is None:
            break
        check = catalogue().check(name)
        odds = np.cumsum([check.likelihood(o.id, truth.suspect.id, truth.cause.id) for o in check.outcome])
        picked = check.outcome[int(np.searchsorted(odds, thrown[name] * odds[-1]))]
        done.append(CheckOutcome(name, picked.id))
        minutes += check.minutes
    return Walk(minutes, False)

"""Ranked causes: prior times likelihood over every cause and every suspect inside it (Bayes' rule).

A hypothesis is one suspect of one cause; `normal` and `none-of-these` are hypotheses like the rest. With
prior p, share s, and for each piece of evidence a likelihood ratio, the posterior is

    P(suspect) ~ p * s * product of ratios,     P(cause) = sum over its suspects.

Evidence from the recordings comes as log likelihood ratios in decibels; symptoms, trouble codes, distance
driven and outcomes of checks come from the catalogue.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vibecore.causes.checking import SHAKES_WHEN
from vibecore.causes.load import Catalogue, CauseRow, SuspectRow, catalogue
from vibecore.engine import Vehicle
from vibecore.evidence.records import CauseEvidence
from vibecore.model import CheckOutcome, Evidence, Floats, RankedCause, Suspect, Symptoms
from vibecore.units import DB_PER_LOG_POWER

SYMPTOM_TEMPER = 0.6  # owners tick words that go together ('in gear' and 'warm'); common practice, no source
FURTHER_CODE_WEIGHT = 0.3  # one fault sets several codes: only the strongest counts in full; no source
DUE_TIMES = 2.5  # a part past its distance is that many times likelier to be the one; no source
DUE_WIDTH = 0.2  # the step from fresh to due is spread over this share of the distance; no source
# A finding that names a part: true of that one in 19 of 20 cases, by chance of another in one; no source.
POINTS_TIMES = 0.95 / 0.05
SHOWN_FROM_DB = 1.5  # a ratio under it (40 %) is not worth a line on the screen; but
TIE_DIGITS = 9  # rounding decides no rank: alike to so many digits they stand as in the catalogue
TOP, LEAST_DB = 3, 0.3  # so many, the strongest, are shown from this on: no rank stands without a reason


@dataclass(frozen=True)
class Hypothesis:
    """One suspect of one cause."""

    cause: CauseRow
    suspect: SuspectRow

    @property
    def prior(self) -> float:
        """Chance before anything is known of the car."""
        return self.cause.prior * self.suspect.share


@dataclass(frozen=True)
class _Finding:
    """A likelihood (any common factor) under each hypothesis, with words."""

    text: str
    log_likelihood: Floats  # (h,) nepers


def rank(
    evidence: Sequence[CauseEvidence],
    symptoms: Symptoms | None = None,
    outcomes: Sequence[CheckOutcome] = (),
    vehicle: Vehicle | None = None,
    *,
    knowledge: Catalogue | None = None,
) -> tuple[RankedCause, ...]:
    """All causes, most likely first, their probabilities adding up to 1.

    evidence: what the recordings say. symptoms, outcomes: what the owner and the mechanic said; codes and
    checks not in the catalogue are left out (`unused` names them). The probabilities of a cause's suspects
    are given inside that cause: they add up to 1.
    """
    known = knowledge or catalogue()
    evidence = _told_once(evidence, outcomes, known)
    hypotheses = hypotheses_of(known)
    mileage = vehicle.mileage_km if vehicle else None
    prior = np.log([h.prior for h in hypotheses])
    prior = prior + [_due(h.suspect, mileage) for h in hypotheses]
    reasons = [_pointed_at(h, evidence) for h in hypotheses]
    prior = prior + [math.log(POINTS_TIMES) if reason else 0.0 for reason in reasons]
    prior = _keep_causes(prior, hypotheses)
    log_p = prior
    symptoms, outcomes = _codes_once(symptoms or Symptoms(), outcomes, known)
    findings = [*_said(symptoms, hypotheses, known), *_done(outcomes, hypotheses, known)]
    for finding in findings:
        log_p = log_p + finding.log_likelihood
    seen = {c.id: 0.0 for c in known.causes}
    for item in evidence:
        if item.cause in seen:
            seen[item.cause] += item.log_ratio_db
    log_p = log_p + [seen[h.cause.id] / DB_PER_LOG_POWER for h in hypotheses]
    p = _normalised(log_p)
    ranked = [
        _with_reasons(_ranked(cause, p, prior, hypotheses, evidence, findings), reasons, hypotheses)
        for cause in known.causes
    ]
    return tuple(sorted(ranked, key=lambda r: -round(r.probability, TIE_DIGITS)))


def hypotheses_of(known: Catalogue) -> tuple[Hypothesis, ...]:
    """Every suspect of every cause, in the catalogue's order."""
    return tuple(Hypothesis(cause, suspect) for cause in known.causes for suspect in cause.suspect)


def unused(symptoms: Symptoms, outcomes: Sequence[CheckOutcome]) -> tuple[str, ...]:
    """Sentences on what was said but is not in the catalogue, and so was not used."""
    known = catalogue()
    notes = [
        f"Code {c} is not in the list of codes and was not used." for c in symptoms.codes if not known.code(c)
    ]
    notes += [
        f"'It shakes when {w}' is not known (known: {', '.join(SHAKES_WHEN)}): not used."
        for w in symptoms.shakes_when
        if w not in SHAKES_WHEN
    ]
    for done in outcomes:
        check = known.find_check(done.id)
        if check is None:
            notes.append(f"Check '{done.id}' is not in the list of checks and was not used.")
        elif check.find_outcome(done.outcome) is None:
            answers = ", ".join(o.id for o in check.outcome)
            notes.append(
                f"Outcome '{done.outcome}' of check '{done.id}' is not known (known: {answers}): not used."
            )
    return tuple(notes)


# ---------------------------------------------------------------- what was said and done


def _codes_once(
    symptoms: Symptoms, outcomes: Sequence[CheckOutcome], known: Catalogue
) -> tuple[Symptoms, list[CheckOutcome]]:
    """What was said and done without what tells the same news again: a code, the lamp that it lit, and what
    came of reading the codes. The most exact of them counts."""
    by_code = any(map(known.code, symptoms.codes))
    read = [done for done in outcomes if (came := known.what_came(done)) and came[0].reads_codes]
    if by_code or read:
        symptoms = replace(symptoms, check_engine_light=None)
    return symptoms, [done for done in outcomes if not (by_code and done in read)]


def _said(symptoms: Symptoms, hypotheses: Sequence[Hypothesis], known: Catalogue) -> list[_Finding]:
    findings = []
    lit = symptoms.check_engine_light
    if lit is not None:
        odds = [h.cause.lamp if lit else 1 - h.cause.lamp for h in hypotheses]
        findings.append(_Finding(f"the engine lamp is {'on' if lit else 'off'}", np.log(odds)))
    for word in filter(SHAKES_WHEN.__contains__, symptoms.shakes_when):  # `unused` names the others
        odds = [h.cause.shakes_when[word] for h in hypotheses]
        findings.append(_Finding(f"it shakes: {word}", SYMPTOM_TEMPER * np.log(odds)))
    return findings + _codes_read(symptoms.codes, hypotheses, known)


def _codes_read(codes: Iterable[str], hypotheses: Sequence[Hypothesis], known: Catalogue) -> list[_Finding]:
    """The strongest code for a hypothesis counts in full there, the others in part."""
    rows = list({row.code: row for row in map(known.code, codes) if row}.values())
    if not rows:
        return []
    logs = np.array(
        [
            [math.log(row.times.get(h.cause.id, 1.0) * row.times.get(h.suspect.id, 1.0)) for h in hypotheses]
            for row in rows
        ]
    )
    strongest = logs.argmax(axis=0)
    weights = np.full_like(logs, FURTHER_CODE_WEIGHT)
    weights[strongest, np.arange(logs.shape[1])] = 1.0
    return [
        _Finding(f"code {row.code}: {row.meaning}", w * log)
        for row, w, log in zip(rows, weights, logs, strict=True)
    ]


def _done(
    outcomes: Sequence[CheckOutcome], hypotheses: Sequence[Hypothesis], known: Catalogue
) -> list[_Finding]:
    findings = []
    for check, outcome in filter(None, map(known.what_came, outcomes)):
        odds = [check.likelihood(outcome.id, h.suspect.id, h.cause.id) for h in hypotheses]
        findings.append(_Finding(f"{check.name}: {outcome.name}", np.log(odds)))
    return findings


def _pointed_at(hypothesis: Hypothesis, evidence: Sequence[CauseEvidence]) -> str:
    """Why the evidence for the cause speaks of this suspect; empty if it does not."""
    for item in evidence:
        if item.cause == hypothesis.cause.id and item.evidence.says == "for":
            for name, why in item.points_at.items():
                if hypothesis.suspect.is_called(name):
                    return f"{why}, which points at '{hypothesis.suspect.name}' among the parts"
    return ""


def _told_once(
    evidence: Sequence[CauseEvidence], outcomes: Sequence[CheckOutcome], known: Catalogue
) -> list[CauseEvidence]:
    """The evidence without what somebody found by a check as well: one fact counts once."""
    told = {check.told_by for check, _ in filter(None, map(known.what_came, outcomes))}
    return [item for item in evidence if item.finding not in told]


def _due(suspect: SuspectRow, mileage_km: float | None) -> float:
    """Log factor for a part that distance has worn: 0 when fresh or not known, log DUE_TIMES when past it."""
    if mileage_km is None or suspect.due_km is None:
        return 0.0
    past = (mileage_km / suspect.due_km - 1.0) / DUE_WIDTH
    return math.log(DUE_TIMES) / (1.0 + math.exp(-min(max(past, -30.0), 30.0)))


def _keep_causes(log_prior: Floats, hypotheses: Sequence[Hypothesis]) -> Floats:
    """Distance driven, and what names a part, move suspects within a cause; the cause's own prior stays as
    the catalogue has it."""
    moved = log_prior.copy()
    for cause_id, mask in _masks(hypotheses).items():
        prior = next(h.cause.prior for h in hypotheses if h.cause.id == cause_id)
        moved[mask] += math.log(prior) - np.logaddexp.reduce(log_prior[mask])
    return moved


# ---------------------------------------------------------------- putting it together


def _masks(hypotheses: Sequence[Hypothesis]) -> dict[str, np.ndarray]:
    ids = np.array([h.cause.id for h in hypotheses])
    return {cause_id: ids == cause_id for cause_id in dict.fromkeys(ids.tolist())}


def _normalised(log_p: Floats) -> Floats:
    return np.exp(log_p - np.logaddexp.reduce(log_p))


def _ranked(
    cause: CauseRow,
    p: Floats,
    prior: Floats,
    hypotheses: Sequence[Hypothesis],
    evidence: Sequence[CauseEvidence],
    findings: Sequence[_Finding],
) -> RankedCause:
    mine = _masks(hypotheses)[cause.id]
    probability = float(p[mine].sum())
    inside = p[mine] / probability if probability > 0 else np.full(mine.sum(), 1.0 / mine.sum())
    suspects = [Suspect(s.id, s.name, float(q)) for s, q in zip(cause.suspect, inside, strict=True)]
    said = [e.evidence for e in evidence if e.cause == cause.id and e.evidence.says != "note"]
    said = sorted([*said, *(_as_evidence(f, mine, prior) for f in findings)], key=lambda e: -abs(e.weight_db))
    shown = [e for i, e in enumerate(said) if abs(e.weight_db) >= (SHOWN_FROM_DB if i >= TOP else LEAST_DB)]
    notes = [e.evidence for e in evidence if e.cause == cause.id and e.evidence.says == "note"]
    return RankedCause(
        id=cause.id,
        name=cause.name,
        probability=probability,
        evidence=(*shown, *notes),
        suspects=tuple(sorted(suspects, key=lambda s: -s.probability)),
    )


def _with_reasons(
    ranked: RankedCause, reasons: Sequence[str], hypotheses: Sequence[Hypothesis]
) -> RankedCause:
    """The cause with why parts of it are pointed at, one by one."""
    told = tuple(
        Evidence("note", 0.0, reason)
        for reason, h in zip(reasons, hypotheses, strict=True)
        if reason and h.cause.id == ranked.id
    )
    return replace(ranked, evidence=(*ranked.evidence, *told))


def _as_evidence(finding: _Finding, mine: np.ndarray, prior: Floats) -> Evidence:
    """The finding's weight for one cause: its likelihood under it over that under all the others."""

    def mean_log(mask: np.ndarray) -> float:
        total = np.logaddexp.reduce(prior[mask] + finding.log_likelihood[mask])
        return float(total - np.logaddexp.reduce(prior[mask]))

    weight = DB_PER_LOG_POWER * (mean_log(mine) - mean_log(~mine))
    return Evidence(says="for" if weight >= 0 else "against", weight_db=weight, text=finding.text)

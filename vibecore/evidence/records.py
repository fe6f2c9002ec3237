"""What a finding hands to the ranking."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from vibecore.model import Evidence


@dataclass(frozen=True)
class CauseEvidence:
    """One finding's word on one cause.

    log_ratio_db: 10 log10 of the finding's likelihood under the cause over that under `normal`; the ranking
    adds these up. `evidence` is what is shown.
    They are the same number but for `normal` itself, whose log_ratio_db is 0 by definition and whose shown
    weight is the likelihood under `normal` over the mean of the faults. points_at: which parts inside the
    cause it speaks of, by the catalogue's id or as a person calls them, and why.
    """

    cause: str
    finding: str
    log_ratio_db: float
    evidence: Evidence
    points_at: Mapping[str, str] = field(default_factory=dict)

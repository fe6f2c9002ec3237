"""Findings from the recordings of a job, used together: each a log likelihood ratio with a sentence.

scene: which recording is which. levels, patterns, fit: five families of shake in three conditions against
what each cause does to them. lines, findings: the rest. gather: everything, by cause.
"""

from vibecore.evidence.gathering import gather
from vibecore.evidence.records import CauseEvidence

__all__ = ["CauseEvidence", "gather"]

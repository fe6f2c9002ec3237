"""Findings from the recordings of a job, used together: each a log likelihood ratio with a sentence.

scene: which recording is which. levels, ground, patterns, fit: five families of shake in three conditions
against what each cause does to them. lines, line_findings, near_mode, findings: the rest, each by the shapes
of `likelihood`. mends, mended, mended_lines: what a repair changed. gathering: everything, by cause, in the
words of `words`.
"""

from vibecore.evidence.gathering import gather, gather_mended
from vibecore.evidence.records import CauseEvidence

__all__ = ["CauseEvidence", "gather", "gather_mended"]

"""Findings from the recordings of a job, used together: each a log likelihood ratio with a sentence.

scene: which recording is which. levels, ground, patterns, fit, level_findings: five families of shake in
three conditions against what each cause does to them. lines, lone_lines, line_findings: lines on no engine
order, followed and alone; folded, told_apart: those that are the engine's after all, and those in the band of
an order that are not. near_mode, rattle, blows, road_findings, findings: the rest, each by the shapes of
`likelihood`. mends, mended, mended_lines: what a repair changed. gathering: everything, by cause, as
`records`, in the words of `words`.
"""

from vibecore.evidence.gathering import gather, gather_mended
from vibecore.evidence.records import CauseEvidence

__all__ = ["CauseEvidence", "gather", "gather_mended"]

"""Findings from the recordings of a job, used together."""

from vibecore.evidence.records import CauseEvidence

__all__ = ["CauseEvidence"]

"""What is told of a recording and does no harm to what is read from it: no fault, and nothing to mind."""

from __future__ import annotations

import numpy as np

from vibecore.constants import ENGINE_OFF, EQUAL_STAMPS, LATE_ROWS, LOST_SAMPLES
from vibecore.model import Analysis, Recording

HARMLESS_SHARE, SHORT_GAP_S = 0.01, 0.1  # of the rows; they are bridged. Common practice, no source


def harmless(analysis: Analysis) -> dict[str, str]:
    """Codes of warnings that do no harm, each with what is to be told of it. The engine is off on purpose;
    stamps that are equal or late now and then were put right: where they are many another warning says so."""
    told = {w.code: w.message for w in (*analysis.warnings, *analysis.recording.warnings)}
    found = {code: told[code] for code in (ENGINE_OFF, EQUAL_STAMPS, LATE_ROWS) if code in told}
    if LOST_SAMPLES in told and _are_few(analysis.recording):
        lost = analysis.recording.lost_samples
        found[LOST_SAMPLES] = f"{lost} samples are missing, in short gaps: that does no harm."
    return found


def _are_few(recording: Recording) -> bool:
    """Whether few samples are lost, and no gap is long."""
    few = 0 < recording.lost_samples < HARMLESS_SHARE * recording.rows
    return bool(few and np.diff(recording.t_s).max() < SHORT_GAP_S)

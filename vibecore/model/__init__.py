"""The central frozen records. Data only: each checks itself once, and functions elsewhere are the verbs.

Shapes: n samples, 3 axes. Times are seconds from the file's first sample. Everything is SI but engine
speed, which the trade and the contract give in revolutions a minute and whose unit stands in the name.
Records that hold arrays are compared by identity (`eq=False`): two arrays have no single truth value.

recorded    what was recorded, and what was read from it
concluded   what a job's recordings come to
"""

from vibecore.model.concluded import (
    CheckOutcome,
    Compared,
    Diagnosis,
    Evidence,
    FaultLines,
    OrderChange,
    PlannedCheck,
    RankedCause,
    Repair,
    Says,
    Suspect,
    Symptoms,
    VerdictName,
)
from vibecore.model.recorded import (
    IN_GEAR,
    Analysis,
    Candidate,
    Condition,
    Flags,
    Floats,
    Frozen,
    Gear,
    KeepsTo,
    Line,
    OrderLevel,
    OrderTable,
    Overall,
    Place,
    Recording,
    RunnerUp,
    Signal,
    Spectrum,
    SpeedHold,
    SpeedTrack,
    Stage,
    Warn,
)

__all__ = [
    "IN_GEAR",
    "Analysis",
    "Candidate",
    "CheckOutcome",
    "Compared",
    "Condition",
    "Diagnosis",
    "Evidence",
    "FaultLines",
    "Flags",
    "Floats",
    "Frozen",
    "Gear",
    "KeepsTo",
    "Line",
    "OrderChange",
    "OrderLevel",
    "OrderTable",
    "Overall",
    "Place",
    "PlannedCheck",
    "RankedCause",
    "Recording",
    "Repair",
    "RunnerUp",
    "Says",
    "Signal",
    "Spectrum",
    "SpeedHold",
    "SpeedTrack",
    "Stage",
    "Suspect",
    "Symptoms",
    "VerdictName",
    "Warn",
]

"""Two recordings side by side: how much each line changed, whether that is more than chance, and the verdict.

beside      what is told beside the verdict: new lines, and what a person feels
lines       the level of one line in a recording, and its change, with standard errors
own         a fault's own lines in one recording, each beside a sound car's
likeness    what differs between two recordings besides the repair
sound       the chance that the repaired car is back at what sound cars show
significance  difference and equivalence (two one-sided tests), and what could have been seen
compare     before against after -> Repair
telling     the verdict in words
tapings     what taping the phone on anew does, measured on this car
shift       what lines that the repair cannot have touched say of the taping
job         the recordings of a job, the fault's own lines -> Repair; levels over several visits
suspects    which likely cause's lines speak of the repair
mounts      engine side against body side of a mount
pair        any two recordings side by side
"""

from vibecore.constants import DEFAULT_PLACING_DB
from vibecore.model import FaultLines
from vibecore.repair.compare import FaultSignature, compare
from vibecore.repair.job import Visit, fault_lines, repair_of_job, visits
from vibecore.repair.lines import standing_out
from vibecore.repair.mounts import isolation_note, transmissibility
from vibecore.repair.pair import Pair, before_and_after, side_by_side
from vibecore.repair.suspects import repair_by_suspects
from vibecore.repair.tapings import Placing, measured_placing, placing_db_of

__all__ = [
    "DEFAULT_PLACING_DB",
    "FaultLines",
    "FaultSignature",
    "Pair",
    "Placing",
    "Visit",
    "before_and_after",
    "compare",
    "fault_lines",
    "isolation_note",
    "measured_placing",
    "placing_db_of",
    "repair_by_suspects",
    "repair_of_job",
    "side_by_side",
    "standing_out",
    "transmissibility",
    "visits",
]

"""Which suspect's lines speak of the repair.

Nobody tells the program what was mended, and the first suspect is not always the right one. The lines of
each likely suspect are compared before against after. If some of them moved by more than chance, it is likely
those that the repair was about:

    chance of a suspect = its probability x [ U N(c; s) + (1 - U) W ] / [ (1 - R) N(c; s) + R W ]

with c the change of its lines and s its standard deviation, U the chance that nothing was mended, R that the
lines of another changed for a reason of their own, and W the density of such changes, even from a fall of 40
dB to a rise of 10 dB.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from vibecore.constants import NOTHING_MENDED, SOUND, Z_95
from vibecore.engine import Engine
from vibecore.evidence.mends import of_change
from vibecore.model import Analysis, RankedCause, Repair
from vibecore.repair.job import repair_of_job
from vibecore.repair.likeness import alike
from vibecore.sound_cars import chance_felt
from vibecore.spoken import spoken_names

LEAST_PROBABILITY, MOST_SUSPECTS = 0.05, 4
OTHER_REASON = 0.01  # common practice, no source
# An electric fan comes and goes with the coolant's heat, a compressor's clutch with the cold: their lines
# vanish without any repair. Common practice, no source.
SWITCHED_REASON = {"cooling-fan": 0.3, "accessory-drive": 0.1}
SUBSTANTIAL = 10**0.5  # odds; H. Jeffreys, Theory of Probability, 1961, appendix B, from memory
LEAST_SD_DB = 1e-3  # of a change: no two recordings tell it better
LIKELY = 0.5  # more likely than all else together
ONE_SPEED_SHARE = 0.1  # likely speeds this near, of two recordings made alike, bear each other out


def repair_by_suspects(
    analyses: Sequence[Analysis],
    engine: Engine,
    ranked: Sequence[RankedCause],
    *,
    likely: Sequence[Analysis] = (),
) -> Repair | None:
    """Proof of repair of a job by the lines of whichever likely cause they speak of most. None without an
    `after` recording.

    likely: the same recordings, those whose speed cannot be told for sure at their likeliest one."""
    known, taken = _at_likely_speeds(analyses, likely) if likely else (list(analyses), {})
    notes = tuple(
        f"The engine speed in {name} is not sure: taken at the likeliest, {_speed(one)}."
        for name, one in taken.items()
    )
    best = best_of_suspects(ranked, lambda cause_id: repair_of_job(known, engine, cause_id=cause_id), notes)
    return None if best is None else _provided(best, taken)


def best_of_suspects(
    ranked: Sequence[RankedCause],
    compared: Callable[[str | None], Repair | None],
    notes: tuple[str, ...] = (),
) -> Repair | None:
    """The comparison by the lines of the likely cause that speaks of the repair most. compared: the repair by
    the lines of a cause (the whole shake for `normal`), None for what stands out most."""
    suspects = [c for c in ranked if c.probability >= LEAST_PROBABILITY][:MOST_SUSPECTS] or list(ranked[:1])
    found = []
    for suspect in suspects:
        repair = compared(suspect.id)
        if repair is None:
            return None
        changed = _speaks_of_a_change(repair, SWITCHED_REASON.get(suspect.id, OTHER_REASON))
        if suspect.id == SOUND:  # nothing is wrong there to be mended: the whole falls with another's lines
            changed = min(changed, 1.0)
        found.append((suspect.probability * changed * _could_be_felt(repair), suspect, repair))
    if not found:
        return compared(None)
    _, suspect, chosen = max(found, key=lambda f: f[0])
    _, first, its_own = found[0]
    if suspect is not first:
        notes = (
            *notes,
            f"Judged by the lines of another suspect than stood first before the repair: {suspect.name}.",
        )
        chosen = _unless_still_there(chosen, suspect, first, its_own)
    chosen = _unless_switched_off(chosen, suspect)
    return replace(chosen, notes=chosen.notes + notes)


def _unless_still_there(repair: Repair, suspect: RankedCause, first: RankedCause, its_own: Repair) -> Repair:
    """Nothing is mended on the word of a far lesser suspect while the lines of the likely one are as they
    were: one of the two lies, and a car that is called cured and is not comes back."""
    lesser = first.probability > SUBSTANTIAL * suspect.probability
    if repair.verdict not in ("cured", "improved") or its_own.verdict != "unchanged" or not lesser:
        return repair
    why = f"{repair.why} But the lines of the likeliest fault ({first.name}) are as they were. {its_own.why}"
    return replace(repair, verdict="cannot-tell", why=why)


def _unless_switched_off(repair: Repair, suspect: RankedCause) -> Repair:
    """No cure of a suspect less likely than not on the word of a line that may just not be running."""
    if repair.verdict != "cured" or not repair.may_be_off or suspect.probability >= LIKELY:
        return repair
    why = (
        f"{repair.why} It would also be gone with its fan or unit switched off, and this fault is not likely "
        "enough to rule that out: record again while it runs."
    )
    return replace(repair, verdict="cannot-tell", why=why)


def _speaks_of_a_change(repair: Repair, other_reason: float) -> float:
    """How much likelier the change is if these lines are the fault's, be it mended or not, than if not."""
    if repair.change_db is None or repair.low_db is None or repair.high_db is None:
        return NOTHING_MENDED
    sd = max((repair.high_db - repair.low_db) / (2 * Z_95), LEAST_SD_DB)
    theirs, anothers = of_change(repair.change_db, sd, other_reason)
    return theirs / anothers


def _could_be_felt(repair: Repair) -> float:
    return 1.0 if repair.share_db is None else chance_felt(repair.share_db)


def _provided(repair: Repair, taken: Mapping[str, Analysis]) -> Repair:
    """The verdict with the speeds it rests on that are only likely: whether the lines are a fault's own, and
    what a sound car shows there, hangs on them."""
    lines = repair.lines
    if lines is None or not (lines.orders or lines.between):
        return repair
    used = [
        f"at {_speed(one)} in {name}"
        for name, one in taken.items()
        if one.condition.stage == "after" or one.name == repair.before
    ]
    return replace(repair, provided=f"the engine ran {' and '.join(used)}" if used else "")


def _speed(one: Analysis) -> str:
    assert one.speed is not None
    return f"{one.speed.mean_rpm:.0f} rpm ({100 * one.speed.confidence:.0f} % likely)"


def _at_likely_speeds(
    analyses: Sequence[Analysis], likely: Sequence[Analysis]
) -> tuple[list[Analysis], dict[str, Analysis]]:
    """Where a speed is not sure, the likeliest, if a recording of the other stage made alike bears it out:
    lines compared at one speed are the same lines, even if both are off. Also those taken so, by their name
    in words."""
    known, taken = list(analyses), {}
    called = spoken_names(analyses)
    for i, (sure, one) in enumerate(zip(analyses, likely, strict=True)):
        if sure.speed is None and one.speed is not None and any(_bears_out(one, other) for other in likely):
            known[i] = taken[called[i]] = one
    return known, taken


def _bears_out(one: Analysis, other: Analysis) -> bool:
    if one.speed is None or other.speed is None or one.condition.stage == other.condition.stage:
        return False
    near = abs(math.log(one.speed.mean_rpm / other.speed.mean_rpm)) < math.log(1 + ONE_SPEED_SHARE)
    return near and alike(one, other)

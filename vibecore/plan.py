"""Which recordings this job has, which are still missing, and what to do next. The knowledge is plan.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from vibecore.case import Case, CaseRecording
from vibecore.constants import SOUND
from vibecore.mending import MEND_FROM, SURE_ENOUGH, NextStep, has_found, mend_the_likeliest, to_mend
from vibecore.model import Condition, Diagnosis, Repair, SpeedHold
from vibecore.units import percent

SOUND_FROM = MEND_FROM  # who is told that nothing is wrong drives off: as sure as before anything is mended
AFTER_REPAIR = "after-repair"  # id in plan.toml
SAY_HOW = "Say how each recording was made"


@dataclass(frozen=True)
class PlanItem:
    """One recording the job wants. done: the names of the files that are this recording."""

    id: str
    title: str
    why: str
    how: tuple[str, ...]
    cautions: tuple[str, ...]
    needed: bool
    done: tuple[str, ...]
    unsafe_when: tuple[str, ...] = ()  # states of the car in which it is not made


def plan_for(case: Case) -> tuple[PlanItem, ...]:
    """Every recording that can help this job, with those that it has."""
    manual = case.vehicle.transmission == "manual"  # with the brake held it cannot idle in gear
    rows = (row for row in _data()["recording"] if not (manual and row["needed"] == "automatic"))
    return tuple(_item(row, case) for row in rows)


def after_repair(case: Case) -> PlanItem:
    """The recording that proves a repair."""
    return next(item for item in plan_for(case) if item.id == AFTER_REPAIR)


def item_of(case: Case, item_id: str) -> PlanItem | None:
    """The recording with this id in plan.toml, if this job can use it."""
    return next((item for item in plan_for(case) if item.id == item_id), None)


def placing() -> tuple[str, ...]:
    """How to fix the phone, step by step."""
    return tuple(_data()["placing"]["steps"])


def next_step(
    case: Case, diagnosis: Diagnosis | None, *, guessed: Collection[str] = (), done: str = ""
) -> NextStep:
    """What the person at the car should do now, the same wherever it is told. guessed: names of recordings
    whose making was only guessed; done: what was noted of a repair."""
    missing = [item for item in plan_for(case) if item.needed and not item.done]
    if any(r.name in guessed for r in unsaid_of(case.recordings)):
        return NextStep(SAY_HOW, "Then it shows what is still missing.", "record", asks=True)
    if diagnosis is not None and diagnosis.repair is not None:
        return _after_repair(case, diagnosis, guessed)
    if done.strip() and case.recordings and not any(map(_is_after, case.recordings)):
        return _record(after_repair(case))
    ask = NextStep(SAY_HOW, "All that this job needs is recorded.", "record", asks=True)
    ask_first = not missing and any(r.name in guessed for r in case.recordings)
    if not case.recordings or diagnosis is None:
        return ask if ask_first else _record(missing[0] if missing else plan_for(case)[0])
    mend = to_mend(case, diagnosis)
    if mend is not None:
        return mend
    if missing:
        return _record(missing[0])
    if ask_first:
        return ask
    if is_sound(case, diagnosis):
        return NextStep("Write the report", "Nothing wrong was found in these recordings.", "report")
    if diagnosis.next_checks:
        check = diagnosis.next_checks[0]
        return NextStep(check.name, f"About {check.minutes:.0f} minutes.", "causes")
    return mend_the_likeliest(diagnosis)


def _record(item: PlanItem) -> NextStep:
    return NextStep(f"Record: {item.title}", item.why, "record", records=item.id)


def _is_after(recording: CaseRecording) -> bool:
    return recording.condition.stage == "after"


def unsaid_of(recordings: Sequence[CaseRecording]) -> list[CaseRecording]:
    """Those of which gear or speed is not said; with the engine off no gear is needed."""

    def is_unsaid(made: Condition) -> bool:
        return made.speed_hold is None or (made.gear is None and made.speed_hold != "engine off")

    return [r for r in recordings if is_unsaid(r.condition)]


def unsaid_of_proof(case: Case, repair: Repair, guessed: Collection[str] = ()) -> tuple[bool, bool]:
    """Of the recordings that a proof rests on: whether how one was made is a guess or gear or speed was not
    said, and whether nobody said where the phone was, so that it may have been in two places."""
    used = [r for r in case.recordings if _is_after(r) or r.name == repair.before]
    placeless = repair.verdict != "cannot-tell" and any(r.condition.place is None for r in used)
    return bool(unsaid_of(used)) or any(r.name in guessed for r in used), placeless


def is_sound(case: Case, diagnosis: Diagnosis) -> bool:
    """Whether nothing is wrong for sure enough to leave it at that: neither the lamp nor a code that the
    catalogue knows says otherwise."""
    from vibecore.causes.load import catalogue  # the catalogue is read only where something was recorded

    first = diagnosis.causes[0] if diagnosis.causes else None
    if first is None or first.id != SOUND or first.probability < SOUND_FROM:
        return False
    told = case.symptoms
    return not told.check_engine_light and not any(map(catalogue().code, told.codes))


def likeliest(diagnosis: Diagnosis, was: float | None = None) -> str:
    """The answer in one line. was: the share before the last outcome of a check, where there was one."""
    if not diagnosis.causes:
        return ""
    first, repair = diagnosis.causes[0], diagnosis.repair
    now, before = percent(first.probability), "" if was is None else percent(was)
    moved = f" (was {before})" if before not in ("", now) else ""
    cured = repair is not None and repair.verdict == "cured"
    lead = "Before the repair, likeliest" if cured else "Likeliest"
    if not cured and first.probability < (SOUND_FROM if first.id == SOUND else SURE_ENOUGH):
        lead = "Not clear yet. Likeliest"
    return f"{lead}: {first.name}, {now}{moved}"


def may_be_mended(case: Case, diagnosis: Diagnosis | None, done: str = "") -> bool:
    """Has anybody had reason to mend something by now? done: what was noted of a repair."""
    afters = any(map(_is_after, case.recordings))
    to_be = diagnosis is not None and next_step(case, diagnosis).mends
    return afters or bool(done.strip()) or to_be or any(has_found(check) for check in case.checks)


def _after_repair(case: Case, diagnosis: Diagnosis, guessed: Collection[str]) -> NextStep:
    repair = diagnosis.repair
    assert repair is not None
    if repair.verdict == "cured" and any(unsaid_of_proof(case, repair, guessed)):
        why = "The shake looks cured; the proof waits for that."
        return NextStep("Say how the recordings were made", why, "record", asks=True)
    if repair.proven:
        return NextStep("Write the report", "The repair is proven.", "report")
    if repair.verdict == "cured":
        why = (
            "The shake looks cured, but the proof rests on an engine speed that is not sure. Say what the "
            "tachometer showed, or record again and read it."
        )
        return NextStep("Say the engine speed", why, "record")
    if repair.verdict == "cannot-tell":
        return NextStep("Look at the comparison", repair.why, "proof")
    if diagnosis.next_checks:
        return NextStep(diagnosis.next_checks[0].name, "The shake is not gone yet.", "causes")
    return NextStep("Look at the comparison", "The shake is not gone yet.", "proof")


def _item(row: Mapping[str, Any], case: Case) -> PlanItem:
    done = tuple(r.name for r in case.recordings if _fits(row, r.condition))
    helper = case.vehicle.transmission != "manual"
    cautions = tuple(_caution(name) for name in row["cautions"] if helper or name != "helper")
    return PlanItem(
        id=row["id"],
        title=row["title"],
        why=row["why"],
        how=tuple(row["how"]),
        cautions=cautions,
        needed=_needed(row["needed"], case),
        done=done,
        unsafe_when=tuple(row.get("unsafe_when", _data()["unsafe_when"])),
    )


def _caution(name: str) -> str:
    """One caution by its name in plan.toml, or else among those of the checks."""
    from vibecore.causes.load import catalogue  # only where cautions are shown

    own: dict[str, str] = _data()["caution"]
    return own[name] if name in own else catalogue().cautions[name]


def _needed(when: str, case: Case) -> bool:
    if {r.condition.stage for r in case.recordings} >= {"before", "after"}:
        return False  # something was mended: what was not recorded before that cannot be made any more
    if when == "automatic":
        return case.vehicle.transmission != "manual"
    if when == "repair":
        return False  # nobody can say from here whether something was mended; the person starts it
    return when == "always" or when in case.symptoms.shakes_when


def _fits(row: Mapping[str, Any], condition: Condition) -> bool:
    """Does a recording made like this count as the one the plan asks for?"""
    if condition.stage != row.get("stage", "before") and "taped_anew" not in row:
        return False
    hold: SpeedHold = condition.speed_hold or "idle"
    gears, holds = row.get("gear"), row.get("speed_hold")
    if "accessories" in row and bool(condition.accessories) != row["accessories"]:
        return False
    if condition.gear in row.get("never_gear", ()):
        return False
    if "taped_anew" in row and not condition.taped_anew:
        return False
    return (gears is None or condition.gear in gears) and (holds is None or hold == holds)


@cache
def _data() -> dict[str, Any]:
    return tomllib.loads(files("vibecore").joinpath("plan.toml").read_text(encoding="utf-8"))

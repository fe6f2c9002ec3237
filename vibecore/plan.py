"""Which recordings this job has, which are still missing, and what to do next. The knowledge is plan.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

from vibecore.case import Case
from vibecore.constants import NOT_LISTED, SOUND
from vibecore.model import CheckOutcome, Condition, Diagnosis, RankedCause, SpeedHold, Suspect
from vibecore.units import percent

if TYPE_CHECKING:
    from vibecore.causes.load import CheckRow, OutcomeRow

PageName = Literal["record", "causes", "proof", "report"]
SURE_ENOUGH = 0.5  # common practice, no source: more likely than all else together, so checks may begin
MEND_FROM = 0.9  # common practice, no source: a check has shown the part, more of them would be for show
FOUND_TIMES = 3.0  # an outcome so much likelier with a fault than without has found it; no source
SHOP = " For a licensed shop."
MANUAL = " The maker's manual, local rules and licensed practice come first."
AFTER_REPAIR = "after-repair"  # id in plan.toml


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


@dataclass(frozen=True)
class NextStep:
    """The one thing to do now, why, and on which page. mends: something is to be mended."""

    title: str
    why: str
    page: PageName
    mends: bool = False


def plan_for(case: Case) -> tuple[PlanItem, ...]:
    """Every recording that can help this job, with those that it has."""
    manual = case.vehicle.transmission == "manual"  # with the brake held it cannot idle in gear
    rows = (row for row in _data()["recording"] if not (manual and row["needed"] == "automatic"))
    return tuple(_item(row, case) for row in rows)


def after_repair(case: Case) -> PlanItem:
    """The recording that proves a repair."""
    return next(item for item in plan_for(case) if item.id == AFTER_REPAIR)


def to_record(case: Case, diagnosis: Diagnosis | None, done: str = "") -> PlanItem | None:
    """The recording to make now, None if the job has all it needs. done: what was noted of a repair."""
    mended = done.strip() or (case.recordings and next_step(case, diagnosis).mends)
    if mended and not any(r.condition.stage == "after" for r in case.recordings):
        return after_repair(case)
    return next((item for item in plan_for(case) if item.needed and not item.done), None)


def placing() -> tuple[str, ...]:
    """How to fix the phone, step by step."""
    return tuple(_data()["placing"]["steps"])


def next_step(case: Case, diagnosis: Diagnosis | None) -> NextStep:
    """What the person at the car should do now."""
    missing = [item for item in plan_for(case) if item.needed and not item.done]
    if not case.recordings or diagnosis is None:
        first = missing[0] if missing else plan_for(case)[0]
        return NextStep(f"Record: {first.title}", first.why, "record")
    if diagnosis.repair is not None:
        return _after_repair(diagnosis)
    mend = to_mend(case, diagnosis)
    if mend is not None:
        return mend
    if missing:
        return NextStep(f"Record: {missing[0].title}", missing[0].why, "record")
    if diagnosis.causes and diagnosis.causes[0].id == SOUND and diagnosis.causes[0].probability > SURE_ENOUGH:
        return NextStep("Write the report", "Nothing wrong was found in these recordings.", "report")
    if diagnosis.next_checks:
        check = diagnosis.next_checks[0]
        return NextStep(check.name, f"About {check.minutes:.0f} minutes.", "causes")
    return _mend_the_likeliest(diagnosis)


def to_mend(case: Case, diagnosis: Diagnosis) -> NextStep | None:
    """What to mend, once checks that somebody made have left hardly any other part, or have found a cause
    whose parts no check tells apart; None before that."""
    if not case.checks or not diagnosis.causes or diagnosis.repair is not None:
        return None
    first = diagnosis.causes[0]
    part, share = _likeliest(first)
    if first.id in (SOUND, NOT_LISTED):
        return None
    if part is not None and share >= MEND_FROM:
        return _found_to_mend(first, part)
    seen = _seen(case, first)
    return _found_to_mend(first, None, seen) if seen and first.probability >= SURE_ENOUGH else None


def likeliest(diagnosis: Diagnosis, was: float | None = None) -> str:
    """The answer in one line. was: the share before the last outcome of a check, where there was one."""
    if not diagnosis.causes:
        return ""
    first, repair = diagnosis.causes[0], diagnosis.repair
    now, before = percent(first.probability), "" if was is None else percent(was)
    moved = f" (was {before})" if before not in ("", now) else ""
    cured = repair is not None and repair.verdict == "cured"
    lead = "Before the repair, likeliest" if cured else "Likeliest"
    if not cured and first.probability < SURE_ENOUGH:
        lead = "Not clear yet. Likeliest"
    return f"{lead}: {first.name}, {now}{moved}"


def _found_to_mend(cause: RankedCause, part: Suspect | None, seen: str = "") -> NextStep:
    found = f"You found it: {seen}. " if seen else ""
    return _mend(cause, part, "proof", found, "Look at it again before it is mended, and then record again.")


def _mend_the_likeliest(diagnosis: Diagnosis) -> NextStep:
    """No check is left: the part where one is sure enough, else the cause."""
    if not diagnosis.causes:
        return NextStep("Record again", "No cause can be ranked from these recordings.", "record")
    first = diagnosis.causes[0]
    if first.id in (SOUND, NOT_LISTED):
        why = "No check is left that tells more, and no fault stands out. Try the phone in another place."
        return NextStep("Record again", why, "record")
    part, share = _likeliest(first)
    then = "No check is left that tells more. Once it is mended, record again at the same place and gear."
    return _mend(first, part if share >= SURE_ENOUGH else None, "record", "", then)


def _mend(cause: RankedCause, part: Suspect | None, page: PageName, found: str, then: str) -> NextStep:
    """Mend this part of the cause, or the cause: by whom, how sure that is, and what then."""
    share = cause.probability * (1.0 if part is None else part.probability)
    name, shop = (cause if part is None else part).name, _shop_words(cause, part)
    if share >= SURE_ENOUGH:
        title = "Have it mended" if shop == SHOP else "Mend"
    else:
        title = "Have the likeliest mended" if shop == SHOP else "Mend what is likeliest"
    why = f"{found}It is {percent(share)} likely.{shop} {then}{MANUAL}"
    return NextStep(f"{title}: {name}", why, page, mends=True)


def _shop_words(cause: RankedCause, part: Suspect | None) -> str:
    """SHOP if this part, or all of the cause, is for a licensed shop; which of its parts are; or nothing."""
    from vibecore.causes.load import catalogue  # the catalogue is read only where something is to be mended

    row = catalogue().find_cause(cause.id)
    shop = {s.id: s.name for s in row.for_shop()} if row else {}
    if row is None or not shop or (part is not None and part.id not in shop):
        return ""
    if part is not None or len(shop) == len(row.suspect):
        return SHOP
    return f" Of its parts these are for a licensed shop: {'; '.join(shop.values())}."


def likeliest_part(cause: RankedCause) -> tuple[str, float]:
    """Name and share of all of the cause's likeliest part; no name where it has none."""
    part, share = _likeliest(cause)
    return ("" if part is None else part.name), share


def _likeliest(cause: RankedCause) -> tuple[Suspect | None, float]:
    part = max(cause.suspects, key=lambda s: s.probability, default=None)
    return part, 0.0 if part is None else cause.probability * part.probability


def _seen(case: Case, cause: RankedCause) -> str:
    """What somebody saw who looked for this cause with the engine off, where no check left tells its parts
    apart; empty otherwise."""
    from vibecore.causes.load import catalogue  # the catalogue is read only where a check was made

    done = {check.id for check in case.checks}
    left = (row for row in catalogue().checks if row.id not in done)
    parts = [s.id for s in cause.suspects]
    if any(
        len({row.likelihood(o.id, part, cause.id) for part in parts}) > 1 for row in left for o in row.outcome
    ):
        return ""
    looks = [
        (row, outcome) for row, outcome in map(_rows, case.checks) if row and row.engine == "off" and outcome
    ]
    found = [o.name for _, o in looks if o.given.get(cause.id, 0.0) > FOUND_TIMES * o.otherwise]
    return found[-1] if found else ""


def may_be_mended(case: Case, diagnosis: Diagnosis | None, done: str = "") -> bool:
    """Has anybody had reason to mend something by now? done: what was noted of a repair."""
    afters = any(r.condition.stage == "after" for r in case.recordings)
    to_be = diagnosis is not None and next_step(case, diagnosis).mends
    return afters or bool(done.strip()) or to_be or any(_found(check) for check in case.checks)


def _found(check: CheckOutcome) -> bool:
    """Does this outcome of a check show a part or a cause at fault?"""
    row, outcome = _rows(check)
    if row is None or outcome is None:
        return False
    most = max(outcome.given.values(), default=0.0)
    return most >= SURE_ENOUGH and most > FOUND_TIMES * outcome.otherwise


def _rows(done: CheckOutcome) -> tuple[CheckRow | None, OutcomeRow | None]:
    """The check and its outcome in the catalogue; None for what is not there."""
    from vibecore.causes.load import catalogue  # the catalogue is read only where a check was made

    row = catalogue().find_check(done.id)
    return row, row.find_outcome(done.outcome) if row else None


def _after_repair(diagnosis: Diagnosis) -> NextStep:
    repair = diagnosis.repair
    assert repair is not None
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
        row["id"], row["title"], row["why"], tuple(row["how"]), cautions, _needed(row["needed"], case), done
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

"""What to mend, by whom and how sure that is, from what checks have shown and what is likeliest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from vibecore.case import Case
from vibecore.constants import NOT_LISTED, SOUND
from vibecore.model import CheckOutcome, Diagnosis, RankedCause, Suspect
from vibecore.units import percent

if TYPE_CHECKING:
    from vibecore.causes.load import CheckRow, OutcomeRow

PageName = Literal["record", "causes", "proof", "report"]
SURE_ENOUGH = 0.5  # common practice, no source: more likely than all else together, so checks may begin
MEND_FROM = 0.9  # common practice, no source: a check has shown the part, more of them would be for show
FOUND_TIMES = 3.0  # an outcome so much likelier with a fault than without has found it; no source
SHOP = " For a licensed shop."
MANUAL = " The maker's manual, local rules and licensed practice come first."


@dataclass(frozen=True)
class NextStep:
    """The one thing to do now, why, and on which page. mends: something is to be mended. asks: it is to be
    said there how recordings were made. records: the recording to make, by its id in plan.toml."""

    title: str
    why: str
    page: PageName
    mends: bool = False
    asks: bool = False
    records: str = ""


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


def _found_to_mend(cause: RankedCause, part: Suspect | None, seen: str = "") -> NextStep:
    found = f"You found it: {seen}. " if seen else ""
    return _mend(cause, part, "proof", found, "Look at it again before it is mended, and then record again.")


def mend_the_likeliest(diagnosis: Diagnosis) -> NextStep:
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
    looks = [outcome for row, outcome in filter(None, map(_came, case.checks)) if row.engine == "off"]
    found = [o.name for o in looks if o.given.get(cause.id, 0.0) > FOUND_TIMES * o.otherwise]
    return found[-1] if found else ""


def has_found(check: CheckOutcome) -> bool:
    """Does this outcome of a check show a part or a cause at fault?"""
    came = _came(check)
    if came is None:
        return False
    _, outcome = came
    most = max(outcome.given.values(), default=0.0)
    return most >= SURE_ENOUGH and most > FOUND_TIMES * outcome.otherwise


def _came(done: CheckOutcome) -> tuple[CheckRow, OutcomeRow] | None:
    from vibecore.causes.load import catalogue  # the catalogue is read only where a check was made

    return catalogue().what_came(done)

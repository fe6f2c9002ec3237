"""The catalogue, the checks and the trouble codes, read from their data files and checked once.

The files are written for mechanics to correct, so a mistake in them is answered with the file, the entry and
what is wrong. All money is in euros or US dollars (about alike), all times in minutes.
"""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib import resources
from typing import Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from vibecore.errors import VibecoreError

SUM_TOLERANCE = 0.005  # shares are written with two or three figures; a larger gap is a slip of the pen
LETTERS = "ABCDEFGHIJKL"  # ignition coils are lettered in SAE J2012, cylinders numbered


class CatalogueError(VibecoreError):
    """A data file of causes, checks or codes that contradicts itself."""


class _Row(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class SuspectRow(_Row):
    """A part or fault inside one cause, with its share of that cause."""

    id: str
    name: str
    share: float = Field(gt=0, le=1)
    parts: str
    cost: tuple[float, float]
    due_km: float | None = Field(default=None, gt=0)
    shop: bool = False
    source: str = Field(min_length=3)


class Does(_Row):
    """What a cause does to each thing a mechanic can vary, in words."""

    orders: str
    gear: str
    speed: str
    temperature: str
    units: str


class CauseRow(_Row):
    """A cause: how common it is, what it does, and the suspects inside it."""

    id: str
    name: str
    prior: float = Field(gt=0, lt=1)
    source: str = Field(min_length=3)
    lamp: float = Field(gt=0, lt=1)
    does: Does
    note: str
    shop: bool = False
    shakes_when: dict[str, float]
    suspect: tuple[SuspectRow, ...] = Field(min_length=1)


class OutcomeRow(_Row):
    """One outcome of a check and how likely it is under each suspect or whole cause."""

    id: str
    name: str
    otherwise: float = Field(gt=0, lt=1)
    given: dict[str, float] = {}


class CheckRow(_Row):
    """A check a mechanic makes."""

    id: str
    name: str
    steps: tuple[str, ...] = Field(min_length=1)
    tools: tuple[str, ...]
    skills: tuple[str, ...]
    minutes: float = Field(gt=0)
    days: float = 0.0  # days of waiting until it shows
    dismantling: int = Field(ge=0, le=3)
    cost: float = Field(ge=0)
    engine: Literal["off", "running", "either"]
    unsafe_when: tuple[str, ...] = ()
    first_when: Literal["lamp on"] | None = None
    last: bool = False
    needs_outcome: dict[str, str] = {}  # any one of these outcomes, or a code that points at `needs_code_for`
    needs_code_for: str | None = None
    by_cylinder: bool = False  # made at one cylinder after another: a code may tell where to begin
    cautions: tuple[str, ...]
    source: str = "common practice, no source"
    outcome: tuple[OutcomeRow, ...] = Field(min_length=2)

    def likelihood(self, outcome: str, suspect: str, cause: str) -> float:
        """How likely `outcome` is if `suspect` of `cause` is at fault."""
        row = next(o for o in self.outcome if o.id == outcome)
        return row.given.get(suspect, row.given.get(cause, row.otherwise))


class CodeRow(_Row):
    """One run of trouble codes with a common meaning."""

    first: str = Field(pattern=r"^[PBCU]\d{4}$")
    last: str | None = Field(default=None, pattern=r"^[PBCU]\d{4}$")
    meaning: str
    times: dict[str, float] = {}


class Code(_Row):
    """One trouble code; `times` as in CodeRow; `cylinder` where it names one."""

    code: str
    meaning: str
    times: dict[str, float]
    cylinder: int | None = None


class Catalogue(_Row):
    """Everything known of causes, checks and codes."""

    causes: tuple[CauseRow, ...]
    checks: tuple[CheckRow, ...]
    codes: dict[str, Code]
    cautions: dict[str, str]
    states: dict[str, str]

    def code(self, text: str) -> Code | None:
        """The trouble code in what somebody wrote ('p0301', 'P0301-00', 'P0301 misfire'); None if it is not
        known."""
        found = re.search(r"[PBCU][0-9A-F]{4}", text.upper())
        return self.codes.get(found.group()) if found else None

    def cause(self, cause_id: str) -> CauseRow:
        """The cause of that id; KeyError if there is none."""
        return _by_id(self.causes, cause_id)

    def check(self, check_id: str) -> CheckRow:
        """The check of that id; KeyError if there is none."""
        return _by_id(self.checks, check_id)

    def caution_texts(self, check: CheckRow) -> tuple[str, ...]:
        """The cautions of a check as sentences."""
        return tuple(self.cautions[key] for key in check.cautions)


_R = TypeVar("_R", CauseRow, CheckRow)


def _by_id(rows: tuple[_R, ...], wanted: str) -> _R:
    for row in rows:
        if row.id == wanted:
            return row
    raise KeyError(wanted)


@cache
def catalogue() -> Catalogue:
    """The catalogue that comes with the program."""
    here = resources.files(__package__)
    texts = (
        here.joinpath(f"{name}.toml").read_text(encoding="utf-8") for name in ("catalogue", "checks", "codes")
    )
    return catalogue_from_texts(*texts)


def catalogue_from_texts(causes: str, checks: str, codes: str) -> Catalogue:
    """The catalogue that three TOML texts describe.

    Raises CatalogueError, naming the file, the entry and the fault.
    """
    cause_raw = _parsed(causes, "catalogue.toml")
    check_raw = _parsed(checks, "checks.toml")
    code_raw = _parsed(codes, "codes.toml")
    cause_rows = tuple(_row(CauseRow, raw, "catalogue.toml") for raw in cause_raw.get("cause", ()))
    check_rows = tuple(_row(CheckRow, raw, "checks.toml") for raw in check_raw.get("check", ()))
    code_rows = tuple(_row(CodeRow, raw, "codes.toml") for raw in code_raw.get("code", ()))
    cautions, states = check_raw.get("cautions", {}), check_raw.get("states", {})
    _check_causes(cause_rows)
    for check in check_rows:
        _check_check(check, cause_rows, cautions, states)
    return Catalogue(
        causes=cause_rows,
        checks=check_rows,
        codes=_codes(code_rows, cause_rows),
        cautions=cautions,
        states=states,
    )


def _parsed(text: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CatalogueError(f"{name} is not valid TOML: {error}. Correct that place.") from None


_T = TypeVar("_T", bound=_Row)


def _row(kind: type[_T], raw: dict[str, Any], name: str) -> _T:
    try:
        return kind.model_validate(raw)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        entry = raw.get("id") or raw.get("first") or "an entry without id"
        raise CatalogueError(f"{name}, '{entry}': {where}: {first['msg']}.") from None


def _fail_unless(ok: bool, name: str, entry: str, fault: str) -> None:
    if not ok:
        raise CatalogueError(f"{name}, '{entry}': {fault}.")


def _check_causes(causes: tuple[CauseRow, ...]) -> None:
    total = sum(c.prior for c in causes)
    _fail_unless(
        abs(total - 1) < SUM_TOLERANCE, "catalogue.toml", "prior", f"the priors add up to {total:.3f}, not 1"
    )
    suspects = [s.id for c in causes for s in c.suspect]
    ids = [c.id for c in causes]
    for entry in (*ids, *suspects):
        once = (*ids, *suspects).count(entry) == 1
        _fail_unless(once, "catalogue.toml", entry, "this id stands twice; each may stand once")
    for cause in causes:
        shares = sum(s.share for s in cause.suspect)
        fault = f"the shares of its suspects add up to {shares:.3f}, not 1"
        _fail_unless(abs(shares - 1) < SUM_TOLERANCE, "catalogue.toml", cause.id, fault)


def _check_check(
    check: CheckRow, causes: tuple[CauseRow, ...], cautions: dict[str, str], states: dict[str, str]
) -> None:
    known = {c.id for c in causes} | {s.id for c in causes for s in c.suspect}
    outcome_keys = {key for row in check.outcome for key in row.given}

    def fail_unless(ok: bool, fault: str) -> None:
        _fail_unless(ok, "checks.toml", check.id, fault)

    for key in outcome_keys:
        fail_unless(key in known, f"'{key}' is no cause or suspect of catalogue.toml")
    for cause in causes:
        for suspect in cause.suspect:
            total = sum(check.likelihood(row.id, suspect.id, cause.id) for row in check.outcome)
            fail_unless(
                abs(total - 1) < SUM_TOLERANCE,
                f"the outcomes under '{suspect.id}' add up to {total:.3f}, not 1",
            )
    total = sum(row.otherwise for row in check.outcome)
    fail_unless(abs(total - 1) < SUM_TOLERANCE, f"'otherwise' adds up to {total:.3f}, not 1")
    outcomes = [row.id for row in check.outcome]
    fail_unless(len(set(outcomes)) == len(outcomes), "an outcome's id stands twice")
    for key in check.cautions:
        fail_unless(key in cautions, f"caution '{key}' is not among [cautions]")
    for key in check.unsafe_when:
        fail_unless(key in states, f"'{key}' is not among [states]")
    fail_unless(
        check.engine == "off" or "running" in check.cautions, "a running engine needs the caution 'running'"
    )


def _codes(rows: tuple[CodeRow, ...], causes: tuple[CauseRow, ...]) -> dict[str, Code]:
    known = {c.id for c in causes} | {s.id for c in causes for s in c.suspect}
    codes: dict[str, Code] = {}
    for row in rows:
        for key in row.times:
            _fail_unless(key in known, "codes.toml", row.first, f"'{key}' is no cause or suspect")
        start, stop = int(row.first[1:]), int((row.last or row.first)[1:])
        for i, number in enumerate(range(start, stop + 1)):
            code = f"{row.first[0]}{number:04d}"
            meaning = row.meaning.format(n=i + 1, letter=LETTERS[i] if i < len(LETTERS) else "")
            _fail_unless(code not in codes, "codes.toml", code, "this code stands twice")
            cylinder = i + 1 if "{n}" in row.meaning else None
            codes[code] = Code(code=code, meaning=meaning, times=row.times, cylinder=cylinder)
    return codes

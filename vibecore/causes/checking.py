"""The data files of causes, checks and codes as checked rows: what contradicts itself, or the others, is
refused with the file, the entry and the fault."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from typing import Any, NoReturn, TypeVar

from pydantic import ValidationError

from vibecore.causes.rows import CatalogueError, CauseRow, CheckRow, Code, CodeRow, Row
from vibecore.toml_text import parsed

CAUSES, CHECKS, CODES = "catalogue.toml", "checks.toml", "codes.toml"
SUM_TOLERANCE = 0.005  # shares are written with two or three figures; a larger gap is a slip of the pen
LETTERS = "ABCDEFGHIJKL"  # ignition coils are lettered in SAE J2012, cylinders numbered
# States of a car in which no engine is started or cranked for a check: common workshop practice, no source.
NO_RUNNING = ("belt damaged", "fuel smell", "overheating", "no ventilation")
SHAKES_WHEN = ("in gear", "neutral", "air conditioning on", "cold", "warm", "moving")  # the case file's words


def cause_rows(text: str) -> tuple[CauseRow, ...]:
    """The causes of catalogue.toml."""
    raw = _parsed(text, CAUSES, {"cause"})
    causes = tuple(_row(CauseRow, row, CAUSES) for row in _entries(raw, "cause", CAUSES))
    _check_sums(causes)
    _check_ids(causes)
    for cause in causes:
        _check_words(cause)
        for suspect in cause.suspect:
            low, high = suspect.cost
            if low > high:
                _fail(CAUSES, suspect.id, f"cost = [{low:g}, {high:g}]: the lower price first")
    return causes


def check_rows(
    text: str, causes: tuple[CauseRow, ...]
) -> tuple[tuple[CheckRow, ...], dict[str, str], dict[str, str]]:
    """The checks of checks.toml, its cautions and its states of the car."""
    raw = _parsed(text, CHECKS, {"cautions", "states", "check"})
    cautions, states = _texts(raw, "cautions"), _texts(raw, "states")
    checks = tuple(_row(CheckRow, row, CHECKS) for row in _entries(raw, "check", CHECKS))
    for check in checks:
        _fail_unless([c.id for c in checks].count(check.id) == 1, CHECKS, check.id, "this id stands twice")
        _check_chances(check, causes)
        _check_safety(check, cautions, states)
        _check_needs(check, checks, causes)
        _check_renews(check, causes)
    return checks, cautions, states


def codes(text: str, causes: tuple[CauseRow, ...]) -> dict[str, Code]:
    """The trouble codes of codes.toml, runs of them spelt out."""
    raw = _parsed(text, CODES, {"source", "code"})
    known = _known(causes)
    found: dict[str, Code] = {}
    for row in (_row(CodeRow, entry, CODES) for entry in _entries(raw, "code", CODES)):
        for key in row.times:
            _fail_unless(key in known, CODES, row.first, f"'{key}' is no cause or suspect")
        for i, code in enumerate(_run(row)):
            _fail_unless(code not in found, CODES, code, "this code stands twice")
            cylinder = i + 1 if "{n}" in row.meaning else None
            found[code] = Code(code=code, meaning=_meaning(row, i), times=row.times, cylinder=cylinder)
    return found


# ---------------------------------------------------------------- one file


def _parsed(text: str, name: str, tables: Collection[str]) -> dict[str, Any]:
    raw = parsed(text, name, CatalogueError)
    for key in raw:
        _fail_unless(key in tables, name, key, f"this is not known here (known: {', '.join(sorted(tables))})")
    return raw


def _entries(raw: Mapping[str, Any], key: str, name: str) -> list[dict[str, Any]]:
    rows = raw.get(key, [])
    listed = isinstance(rows, list) and all(isinstance(row, dict) for row in rows)
    _fail_unless(listed, name, key, f"write two square brackets on each side: [[{key}]]")
    return list(rows)


def _texts(raw: Mapping[str, Any], key: str) -> dict[str, str]:
    table = raw.get(key, {})
    _fail_unless(isinstance(table, dict), CHECKS, key, f"write it as a table: [{key}]")
    for word, text in table.items():
        _fail_unless(isinstance(text, str), CHECKS, key, f"'{word}' should be text in quotes")
    return dict(table)


_T = TypeVar("_T", bound=Row)


def _row(kind: type[_T], raw: dict[str, Any], name: str) -> _T:
    try:
        return kind.model_validate(raw)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        entry = raw.get("id") or raw.get("first") or "an entry without id"
        raise CatalogueError(f"{name}, '{entry}': {where}: {first['msg']}.") from None


def _fail(name: str, entry: str, fault: str) -> NoReturn:
    raise CatalogueError(f"{name}, '{entry}': {fault}.")


def _fail_unless(ok: bool, name: str, entry: str, fault: str) -> None:
    if not ok:
        _fail(name, entry, fault)


# ---------------------------------------------------------------- one with another


def _known(causes: tuple[CauseRow, ...]) -> set[str]:
    return {c.id for c in causes} | {s.id for c in causes for s in c.suspect}


def _check_sums(causes: tuple[CauseRow, ...]) -> None:
    total = sum(c.prior for c in causes)
    _fail_unless(abs(total - 1) < SUM_TOLERANCE, CAUSES, "prior", f"the priors add up to {total:.3f}, not 1")
    for cause in causes:
        shares = sum(s.share for s in cause.suspect)
        fault = f"the shares of its suspects add up to {shares:.3f}, not 1"
        _fail_unless(abs(shares - 1) < SUM_TOLERANCE, CAUSES, cause.id, fault)


def _check_ids(causes: tuple[CauseRow, ...]) -> None:
    ids = [*(c.id for c in causes), *(s.id for c in causes for s in c.suspect)]
    for entry in ids:
        _fail_unless(ids.count(entry) == 1, CAUSES, entry, "this id stands twice; each may stand once")


def _check_words(cause: CauseRow) -> None:
    """Every cause knows every word of an owner, or the word could count for none."""
    for word in cause.shakes_when:
        fault = f"'{word}' in shakes_when is not known (known: {', '.join(SHAKES_WHEN)})"
        _fail_unless(word in SHAKES_WHEN, CAUSES, cause.id, fault)
    for word in SHAKES_WHEN:
        fault = f"shakes_when lacks '{word}': say how often an owner ticks it, over 0 and under 1"
        _fail_unless(word in cause.shakes_when, CAUSES, cause.id, fault)


def _check_chances(check: CheckRow, causes: tuple[CauseRow, ...]) -> None:
    known = _known(causes)
    for key in {key for row in check.outcome for key in row.given}:
        _fail_unless(key in known, CHECKS, check.id, f"'{key}' is no cause or suspect of {CAUSES}")
    for cause in causes:
        for suspect in cause.suspect:
            total = sum(check.likelihood(row.id, suspect.id, cause.id) for row in check.outcome)
            fault = f"the outcomes under '{suspect.id}' add up to {total:.3f}, not 1"
            _fail_unless(abs(total - 1) < SUM_TOLERANCE, CHECKS, check.id, fault)
    total = sum(row.otherwise for row in check.outcome)
    fault = f"'otherwise' adds up to {total:.3f}, not 1"
    _fail_unless(abs(total - 1) < SUM_TOLERANCE, CHECKS, check.id, fault)
    outcomes = [row.id for row in check.outcome]
    _fail_unless(len(set(outcomes)) == len(outcomes), CHECKS, check.id, "an outcome's id stands twice")


def _check_safety(check: CheckRow, cautions: Collection[str], states: Collection[str]) -> None:
    for key in check.cautions:
        _fail_unless(key in cautions, CHECKS, check.id, f"caution '{key}' is not among [cautions]")
    for key in check.unsafe_when:
        _fail_unless(key in states, CHECKS, check.id, f"'{key}' is not among [states]")
    if check.engine == "off":
        return
    told = "running" in check.cautions
    _fail_unless(told, CHECKS, check.id, "a running engine needs the caution 'running'")
    for state in NO_RUNNING:
        fault = f"a running engine needs '{state}' in unsafe_when"
        _fail_unless(state in check.unsafe_when, CHECKS, check.id, fault)


def _check_needs(check: CheckRow, checks: tuple[CheckRow, ...], causes: tuple[CauseRow, ...]) -> None:
    outcomes = {row.id: {o.id for o in row.outcome} for row in checks}
    for other, outcome in check.needs_outcome.items():
        _fail_unless(other in outcomes, CHECKS, check.id, f"needs_outcome: '{other}' is no check")
        fault = f"needs_outcome: '{outcome}' is no outcome of '{other}'"
        _fail_unless(outcome in outcomes[other], CHECKS, check.id, fault)
    cause = check.needs_code_for
    told = cause is None or cause in _known(causes)
    _fail_unless(told, CHECKS, check.id, f"needs_code_for: '{cause}' is no cause or suspect of {CAUSES}")


def _check_renews(check: CheckRow, causes: tuple[CauseRow, ...]) -> None:
    if check.renews is None:
        return
    parts = {s.id: s for c in causes for s in c.suspect}
    name = check.renews
    _fail_unless(name in parts, CHECKS, check.id, f"renews: '{name}' is no suspect of {CAUSES}")
    due = parts[name].due_km is not None
    _fail_unless(due, CHECKS, check.id, f"renews: '{name}' has no due_km in {CAUSES}")


# ---------------------------------------------------------------- runs of codes


def _run(row: CodeRow) -> list[str]:
    """Every code from `first` to `last`."""
    last = row.last or row.first
    _fail_unless(last[0] == row.first[0], CODES, row.first, f"last = '{last}' begins with another letter")
    start, stop = int(row.first[1:]), int(last[1:])
    _fail_unless(start <= stop, CODES, row.first, f"last = '{last}' comes before it")
    return [f"{row.first[0]}{number:04d}" for number in range(start, stop + 1)]


def _meaning(row: CodeRow, i: int) -> str:
    """The meaning of the i-th code of a run."""
    if "{letter}" in row.meaning and i >= len(LETTERS):
        _fail(CODES, row.first, f"the run needs more than {len(LETTERS)} letters: end it sooner")
    text = row.meaning.replace("{n}", str(i + 1)).replace("{letter}", LETTERS[min(i, len(LETTERS) - 1)])
    stray = re.search(r"\{\w*\}?|\}", text)
    if stray:
        fault = f"'{stray.group()}' in the meaning: only {{n}} and {{letter}} stand for something there"
        _fail(CODES, row.first, fault)
    return text

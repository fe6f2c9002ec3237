"""The shape of a case file, key by key, and complaints about one that a person can act on.

Strict: a key that is not known is an error, for a mistyped key would otherwise be an answer left out.
"""

from __future__ import annotations

import difflib
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from vibecore.constants import FARTHEST_KM, HIGHEST_SPEED_RPM, LONGEST_MM
from vibecore.engine import MOST_CYLINDERS, Arrangement
from vibecore.errors import CaseError
from vibecore.model import Gear, Place, SpeedHold, Stage

MAX_RECORDINGS = 100  # far above any real job; keeps a made-up file from tying up the machine

Length = Annotated[float, Field(gt=0, le=LONGEST_MM, allow_inf_nan=False)]
Speed = Annotated[float, Field(ge=0, le=HIGHEST_SPEED_RPM, allow_inf_nan=False)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class VehicleTable(_Table):
    cylinders: Annotated[int, Field(ge=1, le=MOST_CYLINDERS)]
    strokes: Literal[2, 4] = 4
    arrangement: Arrangement | None = None
    transmission: Literal["automatic", "manual"] | None = None
    idle_spec_rpm: Annotated[list[Speed], Field(min_length=2, max_length=2)] | None = None
    pulleys_mm: dict[str, Length] = {}
    belt_length_mm: Length | None = None
    mileage_km: Annotated[float, Field(ge=0, le=FARTHEST_KM, allow_inf_nan=False)] | None = None


class SymptomsTable(_Table):
    check_engine_light: bool | None = None
    codes: list[str] = []
    shakes_when: list[str] = []


class RecordingTable(_Table):
    file: Annotated[str, Field(min_length=1)]
    place: Place | None = None
    gear: Gear | None = None
    engine_speed_rpm: Speed | None = None
    speed_hold: SpeedHold | None = None
    stage: Stage = "before"
    accessories: list[str] = []
    taped_anew: bool = False


class CheckTable(_Table):
    id: str
    outcome: str


class CaseTable(_Table):
    title: str = ""
    vehicle: VehicleTable
    symptoms: SymptomsTable = SymptomsTable()
    recording: Annotated[list[RecordingTable], Field(min_length=1, max_length=MAX_RECORDINGS)]
    check: list[CheckTable] = []


def checked(raw: dict[str, Any], name: str) -> CaseTable:
    """The parsed TOML `raw` as a checked table. Raises CaseError, naming the file as `name`."""
    try:
        return CaseTable.model_validate(raw)
    except ValidationError as error:
        raise CaseError(f"{name}: {_complaint(error)}") from None


NEEDED = "A case needs [vehicle] with cylinders and one [[recording]] with file."

# What pydantic calls a mistake -> what the value should be, in words.
SHOULD_BE = {
    "int_type": "a whole number without quotes",
    "int_from_float": "a whole number",
    "int_parsing_size": "an ordinary number",
    "float_type": "a number without quotes",
    "finite_number": "an ordinary number",
    "string_type": "text in quotes",
    "string_too_short": "a name",
    "bool_type": "true or false",
    "list_type": "a list in [square brackets]",
    "dict_type": "a table of names and values",
    "model_type": "a table of names and values",
}


def _complaint(error: ValidationError) -> str:
    """The most telling complaint. A mistyped key explains a missing one, so it comes first."""
    problem = min(error.errors(), key=lambda e: e["type"] != "extra_forbidden")
    return _sentence(problem["type"], problem["loc"], problem)


def _sentence(kind: str, loc: tuple[int | str, ...], problem: Any) -> str:
    key, where, value = _key(loc), _where(loc[:-1]), problem.get("input")
    if kind == "extra_forbidden":
        return f'unknown key "{key}" {where}; the nearest known key is {_nearest_key(key, loc)}.'
    if key in ("vehicle", "recording") and len(loc) == 1 and kind in ("missing", "too_short"):
        return f"there is no {_table_name(key)}. {NEEDED}"
    if key in ("recording", "check") and kind == "list_type":
        return f"write {_table_name(key)} with two square brackets on each side, once for each {key}."
    if kind == "missing":
        return f'"{key}" is missing {where}. Add it.'
    if kind == "literal_error":
        known = [str(v) for v in _choices(loc)]
        near = f'; the nearest is "{_nearest(value, known)}"' if isinstance(value, str) else ""
        return f"{key} = {_short(value)} {where} is not one of {', '.join(known)}{near}."
    if key == "idle_spec_rpm" and kind in ("too_short", "too_long"):
        return f"idle_spec_rpm = {_short(value)} {where} should be two speeds, the lower first."
    if kind == "too_long":
        most, given = problem["ctx"]["max_length"], len(value or ())
        return f"there are {given} {_table_name(key)}; a case holds at most {most}. Leave some out."
    if kind == "float_type" and isinstance(value, int):  # one that no float can hold
        kind = "int_parsing_size"
    reason = SHOULD_BE.get(kind) or str(problem["msg"]).removeprefix("Input should be ").lower()
    return f"{key} = {_short(value)} {where} should be {reason}."


def _key(loc: tuple[int | str, ...]) -> str:
    names = [part for part in loc if isinstance(part, str)]
    return names[-1] if names else "the file"


def _where(loc: tuple[int | str, ...]) -> str:
    if not loc:
        return "at the top of the file"
    tables = [part for part in loc if isinstance(part, str)]
    if len(tables) > 1 and tables[-1] != "pulleys_mm":  # a list's own key is no table
        tables = tables[:-1]
    name = _table_name(".".join(tables))
    number = next((f" number {part + 1}" for part in loc if isinstance(part, int)), "")
    return f"in {name}{number}"


def _table_name(key: str) -> str:
    return f"[[{key}]]" if key in ("recording", "check") else f"[{key}]"


TABLES: dict[str, type[_Table]] = {
    "vehicle": VehicleTable,
    "symptoms": SymptomsTable,
    "recording": RecordingTable,
    "check": CheckTable,
}


def _table_of(loc: tuple[int | str, ...]) -> type[_Table]:
    return TABLES[str(loc[0])] if len(loc) > 1 else CaseTable


def _nearest_key(key: str, loc: tuple[int | str, ...]) -> str:
    """The nearest key of the same table, unless the very key belongs to another one."""
    here = _table_of(loc)
    for name, table in TABLES.items():
        if table is not here and key in table.model_fields:
            return f'"{key}" in {_table_name(name)}'
    return f'"{_nearest(key, list(here.model_fields))}"'


def _choices(loc: tuple[int | str, ...]) -> list[Any]:
    annotation = _table_of(loc).model_fields[_key(loc)].annotation
    found: list[Any] = []
    for part in (annotation, *get_args(annotation)):
        found += [v for v in get_args(part) if isinstance(v, str | int)]
    return found


def _nearest(word: str, known: list[str]) -> str:
    return difflib.get_close_matches(word.lower(), known, n=1, cutoff=0.0)[0]


def _short(value: Any) -> str:
    try:
        text = repr(value)
    except ValueError:  # Python writes out no whole number of more than 4300 digits
        return "(thousands of digits)"
    return text if len(text) <= 60 else text[:57] + "..."

"""Two windows change one job: what only one of them changed stands beside what the other did."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import Any

from vibecore.case import Case, dump_case

Said = tuple[Case, Mapping[str, str]]  # a job's case and notes
Key = tuple[str, ...]
_NAMED_BY = {"recording": "file", "check": "id"}  # tables of the case file, by what tells their rows apart
_NOTE = "note"  # no key of the case file


def clash(was: Said, wanted: Said, now: Said) -> bool:
    """Whether a change from `was` to `wanted` touches what stands otherwise in the job as it is now."""
    old, new, there = map(_parts, (was, wanted, now))
    touched = {key for key in old.keys() | new.keys() if old.get(key) != new.get(key)}
    for table, name in _NAMED_BY.items():
        touched |= {(*key[:2], name) for key in touched if key[0] == table and (*key[:2], name) in old}
    return any(old.get(key) != there.get(key) for key in touched)


def _parts(said: Said) -> dict[Key, Any]:
    """Every single thing that was said, by where it stands."""
    case, notes = said
    found: dict[Key, Any] = {(_NOTE, name): text for name, text in notes.items()}
    for key, value in tomllib.loads(dump_case(case)).items():
        if key in _NAMED_BY:
            found |= {(key, row[_NAMED_BY[key]], part): told for row in value for part, told in row.items()}
        elif isinstance(value, dict):
            found |= {(key, part): told for part, told in value.items()}
        else:
            found[key,] = value
    return found

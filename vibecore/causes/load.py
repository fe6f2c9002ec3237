"""The catalogue, the checks and the trouble codes, read from their data files and checked once.

The files are written for mechanics to correct, so a mistake in them is answered with the file, the entry and
what is wrong. All money is in euros or US dollars (about alike), all times in minutes.
"""

from __future__ import annotations

import re
from functools import cache
from importlib import resources

from vibecore.causes import checking
from vibecore.causes.rows import CatalogueError, CauseRow, CheckRow, Code, OutcomeRow, Row, SuspectRow
from vibecore.model import CheckOutcome

__all__ = [
    "Catalogue",
    "CatalogueError",
    "CauseRow",
    "CheckRow",
    "Code",
    "OutcomeRow",
    "SuspectRow",
    "catalogue",
    "catalogue_from_texts",
    "is_code",
]


_CODE = re.compile(r"[PBCU][0-3][0-9A-F]{3}")  # the form that SAE J2012 gives all trouble codes; from memory


def is_code(text: str) -> bool:
    """Whether somebody wrote a trouble code, listed here or not."""
    return _CODE.search(text.upper()) is not None


class Catalogue(Row):
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

    def find_cause(self, cause_id: str) -> CauseRow | None:
        """The cause of that id; None if there is none."""
        return next((row for row in self.causes if row.id == cause_id), None)

    def find_check(self, check_id: str) -> CheckRow | None:
        """The check of that id; None if there is none."""
        return next((row for row in self.checks if row.id == check_id), None)

    def what_came(self, done: CheckOutcome) -> tuple[CheckRow, OutcomeRow] | None:
        """A check that was made and its outcome; None if either is not known."""
        check = self.find_check(done.id)
        outcome = check.find_outcome(done.outcome) if check else None
        return (check, outcome) if check and outcome else None

    def check(self, check_id: str) -> CheckRow:
        """A check that must be there, as other data files name it; KeyError if it is not."""
        found = self.find_check(check_id)
        if found is None:
            raise KeyError(check_id)
        return found

    def caution_texts(self, check: CheckRow) -> tuple[str, ...]:
        """The cautions of a check as sentences."""
        return tuple(self.cautions[key] for key in check.cautions)


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
    cause_rows = checking.cause_rows(causes)
    check_rows, cautions, states = checking.check_rows(checks, cause_rows)
    return Catalogue(
        causes=cause_rows,
        checks=check_rows,
        codes=checking.codes(codes, cause_rows),
        cautions=cautions,
        states=states,
    )

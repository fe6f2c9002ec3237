"""File names from strangers made safe to keep: no folders, no control characters, no surprise."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from pathlib import PurePosixPath

LONGEST_NAME = 120  # characters: most file systems hold 255 bytes, and a character may take up to 4 of them
LONGEST_ENDING = 20  # characters: what is longer is no ending such as ".csv"
_RESERVED = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)([ .]|$)", re.IGNORECASE)  # device names of Windows


def clean_name(name: str) -> str:
    """The last part of a path, without what could harm a file system or a page; never empty. A clean name
    stays as it is when cleaned again."""
    last = unicodedata.normalize("NFC", name).replace("\\", "/").rstrip("/").rsplit("/", 1)[-1]
    kept = "".join("_" if c in '<>:"|?*' or unicodedata.category(c)[0] == "C" else c for c in last)
    kept = kept.strip(" .")
    if _RESERVED.match(kept):
        kept = f"_{kept}"
    stem, ending = _parts(kept)
    return _fitting(stem, ending).rstrip(" .") or "file"


def named_after(title: str, ending: str) -> str:
    """A clean file name with this ending for what bears this title, all of it: a slash parts no folders."""
    return clean_name(f"{title}{ending}".replace("/", "-").replace("\\", "-"))


def free_name(name: str, taken: Iterable[str]) -> str:
    """The name itself, or with the first number in brackets that no other file has; a clean name stays
    clean. Names that differ in capitals alone count as the same: on many disks they are."""
    folded = {t.casefold() for t in taken}
    stem, ending = _parts(name)
    number, candidate = 2, name
    while candidate.casefold() in folded:
        candidate = _fitting(stem, f" ({number}){ending}")
        number += 1
    return candidate


def _parts(name: str) -> tuple[str, str]:
    """What stands before the ending, and the ending: '.csv', or nothing."""
    ending = PurePosixPath(name).suffix
    if len(ending) > LONGEST_ENDING:
        ending = ""
    return name.removesuffix(ending), ending


def _fitting(stem: str, tail: str) -> str:
    return stem[: LONGEST_NAME - len(tail)] + tail

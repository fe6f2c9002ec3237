"""File names from strangers made safe to keep: no folders, no control characters, no surprise."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from pathlib import PurePosixPath

LONGEST_NAME = 120  # characters: most file systems hold 255 bytes, and a character may take up to 4 of them
_RESERVED = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)(\.|$)", re.IGNORECASE)  # device names of Windows


def clean_name(name: str) -> str:
    """The last part of a path, without what could harm a file system or a page; never empty."""
    last = unicodedata.normalize("NFC", name).replace("\\", "/").rstrip("/").rsplit("/", 1)[-1]
    kept = "".join("_" if c in '<>:"|?*' or unicodedata.category(c)[0] == "C" else c for c in last)
    kept = kept.strip(" .")
    if _RESERVED.match(kept):
        kept = f"_{kept}"
    stem, suffix = PurePosixPath(kept).stem, PurePosixPath(kept).suffix[:20]
    return (stem[: LONGEST_NAME - len(suffix)] + suffix) or "file"


def free_name(name: str, taken: Iterable[str]) -> str:
    """The name itself, or with the first number in brackets that no other file has. Names that differ in
    capitals alone count as the same: on many disks they are."""
    folded = {t.casefold() for t in taken}
    path, number, candidate = PurePosixPath(name), 2, name
    while candidate.casefold() in folded:
        candidate = f"{path.stem} ({number}){path.suffix}"
        number += 1
    return candidate

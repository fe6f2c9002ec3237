"""What a search looks through: what people wrote in a job, not the names of the keys it is kept under."""

from __future__ import annotations

import functools
import json
import tomllib
from collections.abc import Callable, Iterator
from typing import Any

REMEMBERED = 2000  # jobs whose words are not made out anew at each search


@functools.lru_cache(REMEMBERED)
def words_of(case_text: str, notes_text: str) -> str:
    """All values of a case file and of the notes (JSON), folded so that capitals count as small letters."""
    found = (*_values(case_text, tomllib.loads), *_values(notes_text, json.loads))
    return " ".join(found).casefold()


def _values(text: str, loads: Callable[[str], Any]) -> list[str]:
    try:
        return list(_leaves(loads(text)))
    except (ValueError, RecursionError):  # of either form; a person may look for it all the same
        return [text]


def _leaves(tree: Any) -> Iterator[str]:
    if isinstance(tree, dict | list):
        for branch in tree.values() if isinstance(tree, dict) else tree:
            yield from _leaves(branch)
    elif not isinstance(tree, bool) and tree is not None:  # nobody wrote 'true'
        yield str(tree)

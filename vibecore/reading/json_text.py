"""Text to a JSON value, as loggers patch it together: one record a line, commas too many, records run
together."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

from vibecore.errors import ReadingError

_HALF = re.compile(r"\\u[dD][89a-fA-F]")  # of a character beyond 16 bits: the other half may be lacking
_REMARK = re.compile(r"\A(?:\s*(?://|#)[^\n]*\n)+")  # lines before the value


def parse(text: str, title: str) -> Any:
    """The value.

    Raises ReadingError if it is broken, with line and column.
    """
    try:
        return _value(text)
    except json.JSONDecodeError as error:
        lines = [line for line in text.split("\n") if line.strip()]
        if len(lines) > 1 and error.lineno <= 2 and error.msg.startswith("Extra data"):
            return _lines(lines, title)
        for mended in _mended(text):
            try:
                return _value(mended)
            except (ValueError, RecursionError):
                continue
        raise ReadingError(
            f"{title} is broken JSON at line {error.lineno}, column {error.colno}: {error.msg}. Export "
            "the recording again."
        ) from error
    except (RecursionError, ValueError) as error:
        raise ReadingError(
            f"{title} is JSON that cannot be read: {str(error)[:100]}. Export the recording as CSV."
        ) from error


def without_remarks(text: str) -> str:
    """The text without lines of remarks before the value."""
    return _REMARK.sub("", text)


def _mended(text: str) -> Iterator[str]:
    """The text without remarks and without commas before a closing bracket; then its records in a list."""
    text = re.sub(r",(\s*[\]}])", r"\1", without_remarks(text)).rstrip().rstrip(",")
    yield text
    yield "[" + re.sub(r"\}\s*\{", "},{", text) + "]"


def _value(text: str) -> Any:
    """The value, with a question mark for each half of a character, which is no text (RFC 8259, 8.2)."""
    value = json.loads(text)
    if _HALF.search(text) is None:
        return value
    return json.loads(json.dumps(value, ensure_ascii=False).encode("utf-8", errors="replace"))


def _lines(lines: list[str], title: str) -> Any:
    """One JSON value a line, perhaps with a comma behind it; a broken last line is left out."""
    lines = [line.rstrip().rstrip(",") for line in lines]
    for rows in (lines, lines[:-1]):
        try:
            return _value("[" + ",".join(rows) + "]")
        except (ValueError, RecursionError):
            continue
    raise ReadingError(f"{title} has lines of broken JSON. Export the recording again.")

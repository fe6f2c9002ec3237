"""How much a count of the sensor is, as loggers write it: '0.061 mg/LSB', '1 LSB = 0.061 mg', '16384 LSB/g',
'LSB (16384/g)', '1 g = 16384', 'counts_per_g: 16384'; and a scale that is stated but of nothing known."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import replace

import numpy as np

from . import limits, names, scale
from .columns import Triple

_COUNT, _UNIT, _IS = r"(?:lsb|counts?|digits?)", r"(?P<unit>[^\W\d]+(?:/s2|/s/s)?)", r"[ =:)\]]*"
_SIZE = r"(?<![\w.,])(?P<size>\d*[.,]?\d+(?:e[-+]?\d+)?)"
_OF_A_COUNT = (
    rf"{_SIZE} ?{_UNIT}/{_COUNT}\b",
    rf"\b{_COUNT}{_IS}{_SIZE} ?{_UNIT}(?![\w/])",
    rf"\b{_UNIT}/{_COUNT}\b{_IS}{_SIZE}",
)
_TO_A_UNIT = (
    rf"{_SIZE} ?{_COUNT}/{_UNIT}\b",
    rf"\b{_COUNT}/{_UNIT}\b{_IS}{_SIZE}",
    rf"\b1 ?{_UNIT} ?[=:] ?{_SIZE}(?! ?m/s)",  # 1 g = 9.81 m/s2 is none
    rf"\b{_COUNT}[ @:(\[]*{_SIZE}/{_UNIT}\b",  # LSB (16384/g)
)
_BARE = re.compile(r"(?P<name>[^\d:=;,]*)[:=;,\s]+(?P<size>[-+]?\d*\.?\d+(?:[eE][-+]?\d+)?)\W*")


def per_count(text: str) -> tuple[float, str]:
    """How much of which unit of acceleration a count is; no unit if that is not said."""
    text = unicodedata.normalize("NFKC", text[: limits.MAX_NOTE]).lower().replace("_", " ").replace("^", "")
    text = re.sub(r"\s*(?:/|\bper\b)\s*", "/", re.sub(r"\s+", " ", text))
    for pattern in (*_OF_A_COUNT, *_TO_A_UNIT):
        for found in re.finditer(pattern, text):
            unit, inverse = names.unit_of_cell(found["unit"]), pattern in _TO_A_UNIT
            size = float(found["size"].replace(",", "" if inverse else "."))  # 16,384 counts are thousands
            if unit in scale.M_S2_PER_UNIT and size > 0:
                return (1.0 / size if inverse else size), unit
    return 0.0, ""


def counted_out(triple: Triple, hints: str) -> Triple:
    """Whole numbers without a unit put into that which the lines before the data say a count is of."""
    told = {found for line in hints.split("\n") if (found := per_count(line))[1]}
    if len(told) != 1 or triple.unit not in ("", "counts"):
        return triple
    values = triple.sample()
    if not np.array_equal(values, np.rint(values)):
        return triple  # counted out already
    size, unit = told.pop()
    x, y, z = (replace(c, numbers=c.floats() * size) for c in triple.columns)
    return replace(triple, unit=unit, columns=(x, y, z))


def scale_told(hints: str) -> str:
    """The line before the data that states a scale of no unit, other than 1; '' if none does."""
    words = names.words()["scale"]
    for line in (line[: limits.MAX_NOTE].strip() for line in hints.split("\n")):
        found = _BARE.fullmatch(line)
        if found is None or float(found["size"]) == 1.0:
            continue
        if names.has_word(found["name"], words["words"]) and not names.has_word(
            found["name"], words["never"]
        ):
            return line
    return ""

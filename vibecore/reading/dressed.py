"""Numbers dressed for people: '9.81 m/s²', '1,234.5', "1'234.5". Units and marks of thousands come off."""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

import numpy as np

from vibecore.model import Floats

from . import arrow, names
from .dates import is_compact

_LONGEST = 60  # characters of a number with its unit
_LOOKED_AT = 5  # first cells that tell whether a column is dressed numbers at all
_PARTS = r"^\s*(?P<n>[-+]?[0-9.,][0-9.,' ]*?(?:[eE][-+]?[0-9]+)?)\s*(?P<u>[^0-9\s.,'].*?)?\s*$"
# As accounting and typesetters write a number below zero: 4.9- or (4.9), and - 4.9.
_BELOW_ZERO = (
    r"\s*([0-9][0-9.,' ]*?)\s*-\s*",
    r"\s*\(\s*([0-9][0-9.,' ]*?)\s*\)\s*",
    r"\s*-\s+([0-9][0-9.,' ]*?)\s*",
)
_EXPONENT = r"([0-9.,])[dD]([-+]?[0-9]{1,3})\s*$"  # of double precision: 1.5D+01 (Fortran, ISO/IEC 1539-1)
_PARTS_OF_ONE = re.compile(_PARTS)
_MARKS = {".": ",' ", ",": ".' "}  # between thousands, by the decimal mark
# A mark that may as well be the decimal one proves nothing: 1,234 does not tell, 1,234.5 and 1'234 do.
# All marks in a number are the same one: 1 234,567 has a decimal comma.
_SURE = {
    mark: "[0-9]{1,3}(?:"
    + "|".join(
        rf"(?:{re.escape(part)}[0-9]{{3}})+{re.escape(mark)}[0-9]+|(?:{re.escape(part)}[0-9]{{3}}){{2,}}"
        for part in thousands
    )
    + r"|(?:'[0-9]{3})+|(?: [0-9]{3})+)"
    for mark, thousands in _MARKS.items()
}
# Where the point is the decimal mark of the file, 1,234 is a thousand all the same; where the comma is, 1.234
# may be one that was forgotten.
_FORMS = {
    ".": rf"^[-+]?(?:[0-9]*\.?[0-9]*|{_SURE['.']}|[0-9]{{1,3}},[0-9]{{3}})(?:[eE][-+]?[0-9]+)?$",
    ",": rf"^[-+]?(?:[0-9]*,?[0-9]*|{_SURE[',']})(?:[eE][-+]?[0-9]+)?$",
}


def is_dressed(cell: str, decimal: str) -> bool:
    """True for a number with a unit of this program's, or with marks that can only be between thousands."""
    if len(cell) > _LONGEST:
        return False
    if any(re.fullmatch(form, cell) for form in _BELOW_ZERO):
        return True
    parts = _PARTS_OF_ONE.match(re.sub(_EXPONENT, r"\1E\2", cell))
    if parts is None:
        return False
    number, unit = parts["n"], parts["u"] or ""
    if unit and not _is_unit(unit):
        return False
    sure = re.fullmatch("[-+]?" + _SURE[decimal], number) is not None
    return sure or bool((unit or number not in cell) and re.match(_FORMS[decimal], number))


def numbers(text: Any, decimal: str) -> tuple[Floats, str] | None:
    """(n,) the numbers of an arrow string array, nan where there is none or its unit is another, and the unit
    as written, '' if there is none; None if most filled cells are no numbers."""
    import pyarrow as pa
    import pyarrow.compute as pc

    first = [cell for cell in text[:_LOOKED_AT].to_pylist() if cell]
    if first and (is_compact(first[0]) or not any(re.match(r"\s*[-+(]?\s*[.,]?\d", cell) for cell in first)):
        return None
    text = _signed(text)
    parts = pc.extract_regex(text, _PARTS)
    number, units = pc.struct_field(parts, "n"), pc.struct_field(parts, "u")
    unit = _usual(units)
    good = pc.and_(pc.match_substring_regex(number, _FORMS[decimal]), pc.is_in(units, pa.array(["", unit])))
    number = undressed(pc.if_else(good, number, pa.scalar(None, pa.string())), decimal)
    number = pc.utf8_ltrim(pc.replace_substring(number, decimal, "."), "+")
    filled = pc.sum(pc.not_equal(text, "")).as_py() or 0
    try:
        found = arrow.numbers(number.cast(pa.float64()), float("nan"))
    except pa.ArrowInvalid:  # a lone mark
        return None
    return (found, unit) if np.isfinite(found).sum() > 0.5 * filled else None


def undressed(text: Any, decimal: str) -> Any:
    """The cells of an arrow string array, without the marks between thousands where a number has them."""
    import pyarrow.compute as pc

    text = _signed(text)
    good = pc.match_substring_regex(text, _FORMS[decimal])
    return pc.if_else(good, pc.replace_substring_regex(text, f"[{_MARKS[decimal]}]", ""), text)


def _signed(text: Any) -> Any:
    """The cells of an arrow string array with the sign of a number below zero in front of it, and the
    exponent of double precision as that of single."""
    import pyarrow.compute as pc

    for form in _BELOW_ZERO:
        text = pc.replace_substring_regex(text, f"^{form}$", r"-\1")
    return pc.replace_substring_regex(text, _EXPONENT, r"\1E\2")


def _usual(units: Any) -> str:
    """The commonest of the texts after the numbers, if it is a unit."""
    counts = Counter({c["values"]: c["counts"] for c in units.drop_null().value_counts().to_pylist()[:50]})
    known = [unit for unit, _ in counts.most_common() if unit and _is_unit(unit)]
    return str(known[0]) if known else ""


def _is_unit(text: str) -> bool:
    """A unit behind a number; a minus is none there, though a header may have it for 'no unit'."""
    return names.unit_of_cell(text) not in ("", "1")

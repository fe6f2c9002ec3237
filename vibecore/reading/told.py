"""What the free text before the data tells in words: the rate of samples, the unit of the acceleration."""

from __future__ import annotations

import re
import unicodedata

from . import limits, names

_FIGURE = re.compile(r"(\D*)(\d+(?:[.,]\d+)?)\s*([^\W\d_]+(?:/[^\W\d_]+)?)?")
_DOUBLE = re.compile(r"\b(request|measur|nominal|actual|desired|set|target|real|effective)", re.IGNORECASE)
_LONGEST_LINE = 200  # characters; longer ones are no notes on a recording
_OTHER_SENSORS = ("rotation", "magnetic", "orientation", "location", "speed", "sound", "pressure", "gravity")


def rate_told(hints: str) -> tuple[float, str] | None:
    """Samples a second and the line that says so: 'sample rate: 100 Hz', 'fs=100', 'Sampling interval 10 ms'.
    None if no line does, two do not agree, or one has a second figure: 'requested 100 Hz, measured 99 Hz'."""
    found: dict[float, str] = {}
    for line in hints.split("\n"):
        line = unicodedata.normalize("NFKC", line[:_LONGEST_LINE]).strip()
        figures = _FIGURE.findall(line)
        if _DOUBLE.search(line) and len({float(f.replace(",", ".")) for _, f, u in figures if _is_hz(u)}) > 1:
            return None
        for before, figure, unit in figures:
            name = re.split(r"[,;|]", before.rstrip(" \t:=,;|"))[-1]
            rate = _rate(name, float(figure.replace(",", ".")), unit)
            if rate is not None and limits.TYPICAL_RATES_HZ[0] <= rate <= limits.TYPICAL_RATES_HZ[1]:
                found.setdefault(round(rate, 6), line)
    return next(iter(found.items())) if len(found) == 1 else None


def _is_hz(unit: str) -> bool:
    return bool(unit) and names.unit_of_cell(unit) == "Hz"


def _rate(name: str, value: float, unit: str) -> float | None:
    """Samples a second that a figure under a name is, or None."""
    words = names.words()["rate"]
    if value == 0 or names.kind_of(name) in _OTHER_SENSORS:
        return None
    known = names.unit_of_cell(unit) if unit else names.unit_in(name)
    alone = "".join(t for t in names.tokens(name) if not names.unit_of_cell(t)) in words["alone"]
    if known in names.TIME_UNITS_S and (alone or names.has_word(name, words["rate"] + words["interval"])):
        return 1.0 / (value * names.TIME_UNITS_S[known])
    if known != "Hz" and unit and not unit.lower().startswith("sampl"):
        return None
    if alone or names.has_word(name, words["rate"]):
        return value
    return _of_bare_interval(value) if names.has_word(name, words["interval"]) and known != "Hz" else None


def _of_bare_interval(value: float) -> float | None:
    """Samples a second of a time between them without a unit: one unit at most makes it plausible."""
    low, high = limits.TYPICAL_RATES_HZ
    rates = (1.0 / (value * names.TIME_UNITS_S[unit]) for unit in ("s", "ms", "us", "ns"))
    return next((rate for rate in rates if low <= rate <= high), None)


def unit_told(hints: str) -> str:
    """A unit of acceleration named beside the word unit, or ''."""
    for line in hints.split("\n"):
        if "unit" in line.lower() or "einheit" in line.lower():
            unit = names.unit_in(line.strip().rstrip(".;,")[:_LONGEST_LINE])
            if unit in names.ACCELERATION_UNITS:
                return unit
    return ""

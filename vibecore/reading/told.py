"""What the free text before the data tells in words: the rate of samples, the unit of the acceleration."""

from __future__ import annotations

import re
import unicodedata

from . import limits, names

_NUMBER = r"\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?"
_UNIT = r"[^\W\d_]+(?:/[^\W\d_]+)?(?!\w*\s*[=:])"  # a name may follow as well: 12:00 rate=100
_FIGURE = re.compile(rf"(\D*)({_NUMBER})\s*({_UNIT})?")
_BARE = re.compile(rf"\W*((?:[^\W\d_]+\W+)*?)({_NUMBER})\s*({_UNIT})([^\d,;)]*)(?:[\d,;)].*)?")
_IN_NAME = re.compile(r"(?<![\d.,])(\d+(?:[.,]\d+)?)[\s_-]?(k?hz|sps)(?![a-z])")
_BEHIND = re.compile(r"(.*[^\W\d])(?:\s+in\s+|\s*[:=;,(\[]\s*)([^:=;,()\[\]]+)[)\]]?")  # no figure before it
_A_FIGURE_OF = re.compile(r"(?:(?<![\w./^])|(?<=\bx))\d[\d.,]*\s*[^\W\d]")  # 0.1 mg is no mg
_DOUBLE = re.compile(r"\b(request|measur|nominal|actual|desired|set|target|real|effective)", re.IGNORECASE)
_THINNED = re.compile(r"decimat|down-?sampl|sub-?sampl", re.IGNORECASE)  # the rate before or after?
_HZ = {"Hz": 1.0, "kHz": 1000.0}
_LEAST_IN_NAME_HZ = 50.0  # a recording named after less may be after its shake


def rate_told(hints: str) -> tuple[float, str] | None:
    """Samples a second and the line that says so: 'sample rate: 100 Hz', 'fs=100', 'Sampled every 10 ms'.
    None if no line does, two do not agree, or one has a second figure: 'requested 100 Hz, measured 99 Hz'."""
    found: dict[float, str] = {}
    for line in re.sub(r":[ \t]*\n", ": ", hints).split("\n"):
        line = unicodedata.normalize("NFKC", line[: limits.MAX_NOTE]).strip()
        if _THINNED.search(line):
            return None
        figures = _FIGURE.findall(_in_hz(line))
        if _DOUBLE.search(line) and len({_value(f) for _, f, u in figures if _is_hz(u)}) > 1:
            return None
        for before, figure, unit in figures:
            name = re.split(r"[,;|]", before.rstrip(" \t:=,;|@"))[-1]
            rate = _rate(name, _value(figure), unit)
            sure = _is_hz(unit) or "sampl" in names.plain(name)
            most = limits.MOST_RATE_HZ if sure else limits.TYPICAL_RATES_HZ[1]
            if rate is not None and limits.TYPICAL_RATES_HZ[0] <= rate <= most:
                found.setdefault(round(rate, 6), line)
    return next(iter(found.items())) if len(found) == 1 else None


def _in_hz(line: str) -> str:
    """'100 samples per second' as '100 Hz', '10 ms per sample' and '1 sample every 10 ms' as 'dt 10 ms', and
    a line of nothing but '100 Hz', or a sensor before it, as 'rate 100 Hz'."""
    words = names.words()["rate"]
    samples, per = "|".join(words["samples"]), "|".join(words["per"])
    second, size = r"(?:s|sec|second|sekunde|seconde|segundo|secondo)\b", rf"({_NUMBER}\s*{_UNIT})"
    sample = rf"(?:{samples})\b"
    for said, as_if in (
        (rf"\b{sample}\s*(?:\b(?:{per})\b|/)\s*{second}", "Hz"),
        (rf"{size}\s*(?:\b(?:{per})\b|/)\s*{sample}", r"dt \1"),
        (rf"\b(?:1|one)\s+{sample}\s*(?:{per})\s+{size}", r"dt \1"),
    ):
        line = re.sub(said, as_if, line, flags=re.IGNORECASE)
    bare = _BARE.fullmatch(line)
    if bare and _is_hz(bare[3]) and _is_of_all(names.tokens(bare[1]), names.tokens(bare[4])):
        return f"rate {bare[2]} {bare[3]}"
    return line


def _is_of_all(before: tuple[str, ...], behind: tuple[str, ...]) -> bool:
    """Whether words about a figure in Hz say that something was recorded so, and nothing else; a sensor alone
    may stand before it as well."""
    words = names.words()["rate"]
    said = [*before, *behind]
    of_sensor = [names.kind_of(word) == "acceleration" for word in said]
    if not any(names.has_word(word, words["recorded"]) for word in said):
        return not behind and (not said or of_sensor == [True])
    rest = [word for word, known in zip(said, of_sensor, strict=True) if not known]
    return all(
        word in words["beside"] + words["samples"] or names.has_word(word, words["recorded"]) for word in rest
    )


def rate_named(source: str) -> float | None:
    """Samples a second that the name of a file tells, 'idle_100Hz.csv'; None if it tells none or several."""
    found = {(figure, unit) for figure, unit in _IN_NAME.findall(names.plain(source))}
    if len(found) != 1 or names.is_smoothed(source) or names.has_word(source, names.words()["rate"]["never"]):
        return None
    figure, unit = found.pop()
    rate = _value(figure) * _HZ[names.unit_of_cell(unit)]
    return rate if _LEAST_IN_NAME_HZ <= rate <= limits.MOST_RATE_HZ else None


def _value(figure: str) -> float:
    return float(figure.replace(",", "."))


def _is_hz(unit: str) -> bool:
    return bool(unit) and names.unit_of_cell(unit) in _HZ


def _rate(name: str, value: float, unit: str) -> float | None:
    """Samples a second that a figure under a name is, or None."""
    words = names.words()["rate"]
    known = names.unit_of_cell(unit) if unit else names.unit_in(name) or names.unit_of_cell(name)
    said = [t for t in names.tokens(name) if not names.unit_of_cell(t)]
    whole = "".join(t for t in said if names.kind_of(t) != "acceleration")
    sampling = whole in words["with_unit"] and known != ""
    if value == 0 or (names.kind_of(name) in (*names.OTHER_SENSORS, "gravity") and not sampling):
        return None
    if names.has_word(name, words["never"]):
        return None
    alone = whole in words["alone"] or _is_hz(name.strip())
    if known in names.TIME_UNITS_S:
        spaced = alone or sampling or whole in words["step"]
        if spaced or names.has_word(name, words["rate"] + words["interval"]):
            return 1.0 / (value * names.TIME_UNITS_S[known])
    if known not in _HZ and unit and not unit.lower().startswith("sampl"):
        return None
    if alone or sampling or names.has_word(name, words["rate"]):
        return value * _HZ.get(known, 1.0)
    spaced = whole in words["step"] or names.has_word(name, words["interval"])
    return _of_bare_interval(value) if spaced and known not in _HZ else None


def _of_bare_interval(value: float) -> float | None:
    """Samples a second of a time between them without a unit: one unit at most makes it plausible."""
    low, high = limits.TYPICAL_RATES_HZ
    rates = (1.0 / (value * names.TIME_UNITS_S[unit]) for unit in ("s", "ms", "us", "ns"))
    return next((rate for rate in rates if low <= rate <= high), None)


def unit_told(hints: str) -> str:
    """A unit of acceleration named beside the word unit, or behind what it is of: 'values in g',
    'Accelerometer (g)'; else ''."""
    lines = [line[: limits.MAX_NOTE].strip().rstrip(".;,:") for line in hints.split("\n")]
    parts = [part.strip() for line in lines for part in re.split(r"[,;|]\s", line)[:-1]]
    for line in (*lines, *parts):
        said = _BEHIND.fullmatch(line)
        of, unit = (said[1], names.unit_of_cell(said[2])) if said is not None else ("", "")
        named = "unit" in line.lower() or "einheit" in line.lower()
        if named and unit not in names.ACCELERATION_UNITS:
            unit = "" if _A_FIGURE_OF.search(line) else names.unit_in(line)
        of_all = names.has_word(of, names.words()["all_values"]["words"])
        meant = named or of_all or names.kind_of(of) in ("acceleration", "linear", "total")
        if meant and unit in names.ACCELERATION_UNITS:
            return unit
    return ""

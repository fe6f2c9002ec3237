"""What the names of columns, sheets and files say: sensor, axis, unit. The words are data, in words.toml."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from functools import lru_cache
from importlib import resources
from typing import Any

from . import limits

TIME_UNITS_S = {
    "s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "min": 60.0, "h": 3600.0, "d": 86400.0, "100 ns": 1e-7,
}  # fmt: skip
ACCELERATION_UNITS = frozenset(
    {"m/s2", "g", "mg", "ug", "%g", "dm/s2", "cm/s2", "mm/s2", "um/s2", "km/h/s", "ft/s2", "in/s2", "mGal"}
) | {"counts"}
_KIND_OF_UNIT = {
    **dict.fromkeys(ACCELERATION_UNITS - {"counts"}, "acceleration"),
    "rad/s": "rotation", "deg/s": "rotation", "uT": "magnetic", "deg": "orientation", "rad": "orientation",
    "m/s": "speed", "Pa": "pressure", "m": "location", "dB": "sound",
    **dict.fromkeys(("N", "V", "K", "%", "lx", "rpm"), "foreign"),
}  # fmt: skip
RANK = {"total": 0, "acceleration": 1, "": 2, "linear": 3, "gravity": 9}  # acceleration with gravity first
OTHER_SENSORS = ("rotation", "magnetic", "orientation", "location", "speed", "sound", "pressure")
_AXIS_NAME = 2  # letters of a name such as ax
_RUNNING = re.compile(r"^\D*\d+")  # up to the number of a channel
_LONGEST_NAME = 80  # characters; a longer cell is prose
_SHORT = 3  # Latin words up to this long must stand alone


@lru_cache(maxsize=1)
def words() -> dict[str, Any]:
    import tomllib

    text = (resources.files(__package__) / "words.toml").read_text(encoding="utf-8")
    data = _spelled(tomllib.loads(text))
    data["unit_of"] = {w: unit for unit, ws in data["units"].items() for w in ws}
    return data


def _spelled(data: Any) -> Any:
    """All words as the names that they are looked for in are spelled: accents of any script off."""
    if isinstance(data, dict):
        return {k: v if k == "units" else _spelled(v) for k, v in data.items()}
    return [_spelled(v) for v in data] if isinstance(data, list) else plain(data)


@lru_cache(maxsize=4096)
def tokens(name: str) -> tuple[str, ...]:
    """Words of a name: parted at signs, blanks, digits' edges and capitals; small letters, accents off."""
    name = re.sub(r"(?<=[a-z0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", name)
    return tuple(t for t in re.split(r"[^\w]+|_+", plain(name)) if t)


@lru_cache(maxsize=4096)
def plain(text: str) -> str:
    """Small letters without accents."""
    text = unicodedata.normalize("NFKD", text)
    return unicodedata.normalize("NFC", "".join(c for c in text if not unicodedata.combining(c))).lower()


@lru_cache(maxsize=1)
def _telling() -> frozenset[str]:
    """All words long enough not to stand in a text by chance."""

    def leaves(data: Any) -> Iterator[str]:
        for part in data.values() if isinstance(data, dict) else data:
            yield from [part] if isinstance(part, str) else leaves(part)

    return frozenset(w for w in leaves(words()) if len(w) > (_SHORT if w.isascii() else 1))


def words_in(text: str) -> int:
    """How many of the words known here a text holds."""
    spelled = plain(text)
    return sum(word in spelled for word in _telling())


def has_word(name: str, group: tuple[str, ...] | list[str]) -> bool:
    """True if the name holds one of the words: short Latin ones alone ('g f' is 'gf'), others anywhere."""
    parts = tokens(name)
    joined = "".join(parts)
    return any(
        (word in parts or word == joined) if len(word) <= _SHORT and word.isascii() else word in joined
        for word in group
    )


@lru_cache(maxsize=1)
def _absent() -> re.Pattern[str]:
    data = words()["absent"]
    before, sensors, after = ("|".join(map(re.escape, data[k])) for k in ("before", "sensors", "after"))
    sensor = rf"(?:{sensors})[a-z]*"
    return re.compile(
        rf"(?<![a-z])(?:(?:{before})[\s_-]*{sensor}|{sensor}[\s_-]+(?:{after}))(?![a-z])", re.IGNORECASE
    )


@lru_cache(maxsize=2048)
def kind_of(name: str) -> str:
    """The sensor a name speaks of: a key of RANK, one of OTHER_SENSORS, or 'jerk'; '' if it is not known."""
    data = words()
    kinds = data["kinds"]
    name = _absent().sub(" ", name)
    moving = has_word(name, kinds["acceleration"])
    for kind in (*OTHER_SENSORS, "jerk"):
        if has_word(name, [w for w in kinds[kind] if not moving or w not in data["axes"]["of_cars"]]):
            return kind
    if has_word(name, data["without_gravity"]["words"]):
        return "linear"
    if has_word(name, data["with_gravity"]["words"]) and moving:
        return "total"
    if moving:
        return "acceleration"
    return "gravity" if has_word(name, kinds["gravity"]) else ""


@lru_cache(maxsize=2048)
def is_foreign(name: str) -> bool:
    """True if a column's name speaks of what is no motion: a temperature, a voltage, a torque."""
    return not kind_of(name) and has_word(name, words()["foreign"]["words"])


@lru_cache(maxsize=256)
def kind_of_file(source: str) -> str:
    """The sensor that a file or sheet is named after. People name their files after anything ('idle speed',
    'seat position 2', a car), so what is no acceleration must be all that the name says; a gyroscope need
    not, for nothing else is called so."""
    own = _absent().sub(" ", re.sub(r"\.\w{2,4}$", "", source.rsplit(", ", 1)[-1]))
    if has_word(own, [w for w in words()["kinds"]["acceleration"] if len(w) > 1]):
        return kind_of(own) if kind_of(own) in ("acceleration", "linear", "total") else ""
    kind = kind_of(own)
    if kind in ("", "acceleration", "linear", "total", "gravity"):
        return kind
    told = [word for word in words()["kinds"][kind] if len(word) > _SHORT or not word.isascii()]
    if kind == "rotation" and has_word(own, told):
        return kind
    others = [t for t in tokens(own) if not t.isdigit() and not has_word(t, told)]
    return "" if others else kind


def kind_of_unit(unit: str) -> str:
    return _KIND_OF_UNIT.get(unit, "")


def _squeeze(text: str) -> str:
    text = unicodedata.normalize("NFKC", text).lower().strip(" .:\"'")
    text = text.replace("\u03bc", "u").replace("\u00b5", "u").replace("\u2212", "-")
    text = re.sub(r"[\s^*·⋅]+", "", text).replace("{", "").replace("}", "")
    return re.sub(r"(?<=[a-z])\.(?=[a-z])|\.$", "", text)


@lru_cache(maxsize=2048)
def unit_of_cell(cell: str) -> str:
    """The unit that a whole cell such as '(m/s^2)' or 'sec' names, or ''."""
    return str(words()["unit_of"].get(_squeeze(cell.strip("()[]{}<> ")), ""))


@lru_cache(maxsize=2048)
def unit_in(name: str) -> str:
    """The unit in a column's name, 'ax (m/s^2)', 'ay in g', 't/ms', 'x_m_s2', or ''."""
    for inside in reversed(re.findall(r"[(\[{<]([^()\[\]{}<>]*)[)\]}>]", name)):
        for part in (inside, *re.split(r"[,;]| in ", inside)):
            if unit := unit_of_cell(part):
                return unit
    for at in re.finditer(r"\s+in\s+|[/,:;]\s*|\s+", name):
        if unit := unit_of_cell(name[at.end() :]):
            return unit
    parts = [p for p in re.split(r"[_\s.\-]+", name) if p]
    for count in (3, 2, 1):
        if len(parts) > count and (
            unit := unit_of_cell("_".join(parts[-count:])) or unit_of_cell("/".join(parts[-count:]))
        ):
            return unit
    return ""


@lru_cache(maxsize=2048)
def time_unit_in(name: str) -> str:
    """The unit of time anywhere in a name ('elapsedMillis', 'seconds_elapsed', 'Zeit in s'), or ''."""
    if unit := unit_in(name) or unit_of_cell(name):
        return unit if unit in TIME_UNITS_S else ""
    found = [unit_of_cell(t) for t in tokens(name) if len(t) > 1]
    return next((u for u in reversed(found) if u in TIME_UNITS_S), "")


@lru_cache(maxsize=2048)
def is_time(name: str) -> bool:
    """True if a name speaks of time."""
    data = words()["time"]
    if has_word(name, data["never"]):
        return False
    return has_word(name, data["words"]) or time_unit_in(name) != ""


@lru_cache(maxsize=2048)
def is_frequency(name: str) -> bool:
    """True if a name is that of a frequency, as under a spectrum."""
    own = "".join(t for t in tokens(name) if not unit_of_cell(t))
    return (unit_in(name) or unit_of_cell(name)) in ("Hz", "kHz") or own in words()["rate"]["alone"]


@lru_cache(maxsize=256)
def is_uncalibrated(name: str) -> bool:
    """True if a name says that the sensor's own errors are left in."""
    return has_word(name, words()["uncalibrated"]["words"])


@lru_cache(maxsize=256)
def is_smoothed(name: str) -> bool:
    """True if a name says that fast motion has been filtered out."""
    data = words()["smoothed"]
    return has_word(name, data["words"]) and not has_word(name, data["never"])


def said_by(cells: list[str]) -> float:
    """How much a line's cells say about columns: to tell the header from other lines of text."""
    axes = words()["axes"]["letters"]
    score = 0.0
    for cell in cells[: limits.MAX_COLUMNS]:
        if len(cell) > _LONGEST_NAME:
            continue
        signs = {t[-1] for t in tokens(cell) if len(t) <= _AXIS_NAME}  # x, or ax
        score += bool(is_time(cell) or kind_of(cell) or unit_in(cell) or signs & set(axes))
    return score


def triples(names: list[str]) -> list[tuple[str, tuple[int, int, int]]]:
    """Columns that differ only in the sign of their axis, or in a running number as well ('Ch4 acc x'): (what
    is left of the name, indices of x, y, z)."""
    spelled = [plain(n) for n in names]
    taken: set[int] = set()
    found = _differing(names, spelled, words()["axes"]["sets"], taken)
    behind = [_RUNNING.sub("", n) for n in spelled]
    return found + _differing(names, behind, [words()["axes"]["letters"]], taken)


def _differing(
    names: list[str], spelled: list[str], sets: list[list[str]], taken: set[int]
) -> list[tuple[str, tuple[int, int, int]]]:
    """Columns whose names, so spelled but for what is left off before, differ only in signs of one of these
    sets; they are taken."""
    keys = _occurrences(spelled)
    at = {key: i for i, key in enumerate(keys)}
    found: list[tuple[str, tuple[int, int, int]]] = []
    for one, two, three in sets:
        for i, (key, copy) in enumerate(keys):
            if i in taken:
                continue
            for hit in re.finditer(re.escape(one), key):
                left, right = key[: hit.start()], key[hit.end() :]
                j, k = at.get((left + two + right, copy)), at.get((left + three + right, copy))
                if j is None or k is None or {j, k} & taken or not _alone(one, left, right):
                    continue
                if one.isdigit() and _goes_on(left, right, copy, int(one), at):
                    continue
                off = len(plain(names[i])) - len(key)
                found.append((_stem(names[i], off + hit.start(), off + hit.end()), (i, j, k)))
                taken |= {i, j, k}
                break
    return found


def _goes_on(left: str, right: str, copy: int, first: int, at: dict[tuple[str, int], int]) -> bool:
    """True if numbers before or after these three stand in the same name: they count columns, not axes."""
    return any((f"{left}{n}{right}", copy) in at for n in (first - 1, first + 3))


def _alone(sign: str, left: str, right: str) -> bool:
    """Digits and the letters a, b, c, i, j, k count as axes only where they do not sit inside a longer
    word or number."""
    if len(sign) > 1 or sign in words()["axes"]["free"]:
        return True
    edge = r"(^|[^a-z0-9])" if not sign.isdigit() else r"(^|[^0-9])"
    return re.search(edge + "$", left) is not None and re.match(r"($|[^a-z0-9])", right) is not None


def _stem(name: str, start: int, end: int) -> str:
    if len(plain(name)) != len(name):
        name = plain(name)
    return name[:start] + " " + name[end:]


def _occurrences(names: list[str]) -> list[tuple[str, int]]:
    """Each name with how often it stood before: 'x' twice makes two triples, not a muddle."""
    seen: dict[str, int] = {}
    out = []
    for name in names:
        seen[name] = seen.get(name, -1) + 1
        out.append((name, seen[name]))
    return out

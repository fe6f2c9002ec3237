"""Which columns are the acceleration: by name, unit and content.

Every choice between several candidates is told; what is no acceleration is refused in words.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vibecore.errors import ReadingError
from vibecore.model import Floats, Warn

from . import limits, names, rising, scale
from .table import Column, Table

WORDS = {
    "rotation": "turning rates (a gyroscope)",
    "magnetic": "a magnetic field (a compass)",
    "orientation": "angles of the phone",
    "location": "positions (satellite navigation)",
    "speed": "speeds",
    "sound": "sound levels",
    "pressure": "air pressure",
    "jerk": "jerks (how fast acceleration changes)",
    "gravity": "the direction of gravity alone",
    "foreign": "what is no motion (such as temperatures, voltages or an engine's own figures)",
    "either": "columns named g, perhaps a gyroscope's",
}
_DOUBTED = (*names.OTHER_SENSORS, "foreign")  # never a steady 9.8 by their nature
_SAMPLE_ROWS = 16_384  # rows that judge a triple
_SPOT_ROWS = 1024  # taken together, a second and more
_WORD = 3  # letters, at least, of what is more than the sign of an axis
_SHOWN = 30  # letters of a name that a message quotes
_TURN = 0.01  # by which the squares of a turn of four printed numbers may miss 1


@dataclass(frozen=True, eq=False)
class Triple:
    """Three columns in the order x, y, z. `kind` by names ('' unknown), `unit` as named ('' unknown)."""

    stem: str
    kind: str
    unit: str
    columns: tuple[Column, Column, Column]
    uncalibrated: bool = False
    doubt: Warn | None = None  # what its unit or the file's name says against its contents

    def values(self) -> Floats:
        """(n, 3) numbers, nan where empty, in memory column by column: sums over the axes are fast so."""
        out = np.empty((3, len(self.columns[0])))
        for i, column in enumerate(self.columns):
            out[i] = column.floats()
        return out.T

    def sample(self) -> Floats:
        """(m, 3) complete rows from all over the recording, enough to judge it by, rows of zeros left out;
        zeros if there are none."""
        n = len(self.columns[0])
        rows = slice(None) if n <= _SAMPLE_ROWS else _spots(n)
        axes = np.stack([c.floats()[rows] for c in self.columns])
        whole = (np.abs(axes) < limits.MOST_BELIEVED).all(axis=0)
        if not axes[0].all():
            whole &= axes.any(axis=0)
        if not whole.all():
            axes = axes[:, whole]
        return axes.T if axes.size else np.zeros((1, 3))

    @property
    def title(self) -> str:
        return ", ".join(c.name or c.title for c in self.columns)


def find_triple(table: Table) -> tuple[Triple, list[Triple], tuple[Warn, ...]]:
    """The acceleration, all triples there are, and what to tell about the choice.

    Raises ReadingError if none of the columns is an acceleration: the message says what they hold.
    """
    found = named_triples(table)
    usable = [t for t in found if t.kind in ("total", "acceleration", "linear", "")]
    sure = [t for t in usable if t.kind or _is_plain(t)] or usable
    if not found:
        found = _by_content(table)
        sure = [t for t in found if t.kind in names.RANK]
    if not sure:
        sure = [replace(t, kind="") for t in found if _lone_g(t)]
    if not sure:
        raise ReadingError(_refusal(table, found))
    ranked = sorted(sure, key=_rank) if len(sure) > 1 else sure
    best = ranked[0]
    doubts = (best.doubt,) if best.doubt is not None else ()
    if not table.named or len(found) == 1:
        return best, found, doubts
    text = f"The file holds {len(found)} sets of three axes; {best.title} was taken as the acceleration."
    if len(ranked) > 1 and _rank(ranked[1]) == _rank(best):
        text += f" {ranked[1].title} could be it as well: give a file with one of them if that is wrong."
    return best, found, (*doubts, Warn("columns-chosen", text))


def _rank(triple: Triple) -> tuple[bool, int, bool]:
    """The less, the better: what was smoothed has lost the engine's orders, whatever else it has."""
    rank = names.RANK[triple.kind]
    if triple.kind in ("acceleration", "linear", ""):
        known = triple.unit in scale.M_S2_PER_UNIT
        units = [triple.unit] if known else ["m/s2", "g", "mg"]
        if scale.is_gravity_in(scale.steady_size(triple.sample()), units):
            rank = 0
    return names.is_smoothed(triple.stem), rank, triple.uncalibrated


def _is_plain(triple: Triple) -> bool:
    """Axes under nothing but their signs, 'x, y, z', with gravity in them: beside others that have a name as
    well, these are the accelerometer's own."""
    return not names.tokens(bare(triple.stem)) and _rank(triple)[1] == 0


def _spots(n: int) -> NDArray[np.intp]:
    """Rows of stretches spread over n rows."""
    starts = np.linspace(0, n - _SPOT_ROWS, _SAMPLE_ROWS // _SPOT_ROWS).astype(np.intp)
    return (starts[:, None] + np.arange(_SPOT_ROWS)).ravel()


def named_triples(table: Table) -> list[Triple]:
    """Every set of three columns whose names differ only in the axis."""
    numeric = [c for c in table.columns if c.numbers is not None and c.name]
    triples = names.triples([c.name for c in numeric])
    found = [_named_triple(stem, (numeric[i], numeric[j], numeric[k]), table) for stem, (i, j, k) in triples]
    return [replace(t, kind="orientation") if _is_turn(t, numeric) else t for t in found]


def _is_turn(triple: Triple, numeric: list[Column]) -> bool:
    """Whether a column beside these three makes the sum of squares 1 row by row: four numbers of a turn."""
    if triple.kind:
        return False
    squares = [c.floats()[:_SPOT_ROWS] ** 2 for c in triple.columns]
    others = (c.floats()[:_SPOT_ROWS] ** 2 for c in numeric if c not in triple.columns)
    return any(np.all(np.abs(sum(squares, other) - 1.0) < _TURN) for other in others)


def _named_triple(stem: str, columns: tuple[Column, Column, Column], table: Table) -> Triple:
    """Three columns under one name, with what their name, unit and file say they are."""
    unit = _unit_of(columns) or names.unit_in(stem)
    by_unit, by_source = names.kind_of_unit(unit), names.kind_of_file(table.source)
    lone_g = bare(stem).strip().lower() == "g" and not by_unit
    by_name = "either" if lone_g else names.kind_of(bare(stem))
    if not by_name and not by_unit and names.is_foreign(bare(stem)):
        by_name = "foreign"
    kind = by_name or by_unit or by_source
    if by_unit not in ("", "acceleration"):
        kind = by_unit
    elif kind == "acceleration" and by_source in ("total", "linear"):
        kind = by_source
    if not unit and names.has_word(bare(stem), ["gforce", "gf"]):
        unit = "g"
    known = unit if unit in names.ACCELERATION_UNITS else ""
    triple = Triple(stem, kind, known, columns, names.is_uncalibrated(stem))
    if kind != by_name:
        triple = _by_gravity(triple, f"unit ({unit})" if kind == by_unit else "file's name")
    return triple


def _unit_of(columns: tuple[Column, ...]) -> str:
    """The unit of three axes: one may name it for all; where they do not agree, as the first has it."""
    units = [names.unit_of_cell(c.unit) or names.unit_in(c.name) for c in columns]
    return units[0] or (next(iter(set(units) - {""})) if len(set(units) - {""}) == 1 else "")


def _by_gravity(triple: Triple, said_by: str) -> Triple:
    """Steady gravity in m/s2 beats what the unit or the file's name say; in g it does not, for turning rates
    at rest may be 1 degree a second off."""
    if triple.kind not in _DOUBTED:
        return triple
    size = scale.steady_size(triple.sample())
    if not scale.is_gravity(size, 1.0):
        return triple
    text = (
        f"By the {said_by}, {triple.title} would be {WORDS[triple.kind]}, but a steady {size:.3g} is "
        "gravity in m/s2: read as acceleration. Correct the header or the name if that is right."
    )
    return replace(triple, kind="", doubt=Warn("contents-mismatch", text))


def bare(stem: str) -> str:
    """A name without its unit, so that the letters of the unit are not read as words."""
    stem = re.sub(
        r"[(\[{<][^()\[\]{}<>]*[)\]}>]", lambda m: " " if names.unit_in(m.group()) else m.group(), stem
    )
    return re.sub(r"\s+in\s+\S+$|[_\s](m_s2|ms2|m/s2|g|mg)\s*$", " ", stem)


def _lone_g(triple: Triple) -> bool:
    """'gx, gy, gz' alone: acceleration if its steady part is gravity, though the g might mean a gyroscope."""
    return triple.kind == "either" and _rank(replace(triple, kind=""))[1] == 0


def _by_content(table: Table) -> list[Triple]:
    """Three columns out of a table whose names do not tell: what is left beside time, counter and
    magnitude."""
    left = [c for c in table.columns if rising.is_measured(c) and not _is_other(c)]
    moving = [c for c in left if np.nanmax(c.floats()) > np.nanmin(c.floats())]
    if len(left) > 3 and len(moving) >= 3:
        left = moving
    if len(left) == 4 and rising.is_size(left[3].floats(), left[:3]):
        left = left[:3]
    kind = names.kind_of_file(table.source)
    if len(left) == 3:
        a, b, c = left
        unit = _unit_of((a, b, c))
        known = unit if unit in names.ACCELERATION_UNITS else ""
        triple = Triple("", kind, known, (a, b, c))
        return _told_by_gravity(triple) if _named_apart(triple) else [_by_gravity(triple, "file's name")]
    if len(left) in (6, 9):
        # Of several sets at least one is not what the file's name says: their contents tell more.
        sets = [Triple("", "", "", (left[i], left[i + 1], left[i + 2])) for i in range(0, len(left), 3)]
        return [t for t in sets if _rank(t)[1] == 0][:1]
    return []


def _is_other(column: Column) -> bool:
    """True if a column's name or unit says that it is no acceleration."""
    by_unit = names.kind_of_unit(names.unit_of_cell(column.unit) or names.unit_in(column.name))
    return by_unit in WORDS or names.kind_of(column.name) in WORDS or names.is_foreign(column.name)


def _named_apart(triple: Triple) -> bool:
    """Whether each of the three has a word of its own, none of which speaks of acceleration."""
    words = {max(names.tokens(re.sub(r"\d", " ", c.name)), key=len, default="") for c in triple.columns}
    said = triple.kind or triple.unit or any(names.kind_of(c.name) for c in triple.columns)
    return not said and len(words) == 3 and min(map(len, words)) >= _WORD


def _told_by_gravity(triple: Triple) -> list[Triple]:
    """Columns that are called by words of their own, if gravity is in them; whole numbers near a power of two
    are no proof."""
    size = scale.steady_size(triple.sample())
    if not scale.is_gravity_in(size):
        return []
    text = (
        f"No column is named as acceleration; a steady {size:.3g} in {triple.title} is gravity, so these "
        "were read as its axes. Name them x, y and z if that is right."
    )
    return [replace(triple, doubt=Warn("axes-by-contents", text))]


def _refusal(table: Table, found: list[Triple]) -> str:
    """What the columns hold instead of acceleration."""
    kinds = [t.kind for t in found] + [names.kind_of(c.name) for c in table.columns if c.name]
    held = list(dict.fromkeys(WORDS[k] for k in kinds if k in WORDS))
    title = table.source
    if held:
        what = f"{title} holds {' and '.join(held)}, no acceleration"
    elif any(names.kind_of(c.name) for c in table.columns if c.name):
        what = f"{title} holds acceleration, but not on three axes"
    else:
        shown = ", ".join(c.name[:_SHOWN] for c in table.columns[:8] if c.name)
        what = f"{title} holds no three columns of acceleration" + (
            f" (its columns: {shown})" if shown else ""
        )
    return f"{what}. Export the accelerometer with its x, y and z columns."

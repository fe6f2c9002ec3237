"""The recordings of a job: which before belongs to which after, and what are the fault's own lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vibecore.constants import DEFAULT_PLACING_DB, SOUND, SWAY_HZ, Z_95
from vibecore.engine import Engine
from vibecore.evidence.line_findings import behind_converter
from vibecore.evidence.lines import MAKES_THE_SHAKE_DB, strongest_kept
from vibecore.evidence.lone_lines import can_tell, only_in
from vibecore.evidence.road_findings import ROAD_HZ
from vibecore.evidence.scene import last_of_each_kind, scene_of
from vibecore.evidence.told_apart import turns
from vibecore.model import Analysis, FaultLines, Line, Repair
from vibecore.repair.compare import FaultSignature, LevelCourse, compare
from vibecore.repair.likeness import ROAD_SPEED_SHARE, SPEED_NOTE_SHARE
from vibecore.repair.lines import standing_out
from vibecore.repair.own import together
from vibecore.repair.pairing import most_alike, paired
from vibecore.repair.tapings import measured_placing, placing_db_of
from vibecore.resonance import Resonance, fit, order_points
from vibecore.spoken import spoken, spoken_names
from vibecore.units import DB_PER_LOG_POWER, signed, times

_LINES_WITH_THE_STRONGEST_DB = 10.0  # other lines this much under the strongest belong to something else
# A dragging or slipping driveline shakes below the firing order, from the body's sway up.
_UNDER_FIRING = 0.85
_BRIDGES = ("engine-mount", "exhaust-contact")  # metal or hard rubber passes every order, not its own alone
_LEAST_TOP_ORDER = 2.0  # engines of few cylinders: their unsteadiness reaches this far at least


def fault_lines(
    cause_id: str | None, before: Analysis, engine: Engine, befores: Sequence[Analysis] = ()
) -> FaultLines:
    """The lines that belong to a cause (design: physics of each); for a cause without lines of its own, or
    none named, the orders that stand out most. befores: all from before the repair, which show what a line
    keeps to."""
    # One weak cylinder repeats with the working cycle: a two-stroke has no half orders.
    below_firing = tuple(o for o in engine.orders if o < engine.firing_order and o % engine.cycle_order == 0)
    match cause_id:
        case "cylinder-misfire" if below_firing:
            return FaultLines(below_firing)
        case "uneven-combustion":
            return FaultLines(between=max(engine.firing_order, _LEAST_TOP_ORDER))
        case "engine-mount" | "idle-resonance" | "exhaust-contact":
            return FaultLines(engine.firing_orders(2))
        case "rotating-imbalance":
            return FaultLines((1.0,))
        case "accessory-drive" if orders := _turning_orders(before, befores):
            return FaultLines(orders)
        case "cooling-fan" if hz := _own_speeds_hz(before, befores):
            return FaultLines((), hz)
        case "driveline" if (order := _behind_converter(before, befores)) is not None:
            return FaultLines((order,))
        case "driveline" if before.speed is not None:
            firing_hz = before.speed.turns_hz * engine.firing_order
            return FaultLines(band_hz=(SWAY_HZ, _UNDER_FIRING * firing_hz))
        case "wheel-imbalance" | "propshaft" if at := _strongest_in(before, ROAD_HZ[cause_id]):
            return FaultLines(band_hz=(at * (1 - ROAD_SPEED_SHARE), at * (1 + ROAD_SPEED_SHARE)))
    return FaultLines(standing_out(before, engine))


def _turning_orders(before: Analysis, befores: Sequence[Analysis]) -> tuple[float, ...]:
    """Orders of the lines that turn with the engine at a ratio of their own."""
    followed = strongest_kept(scene_of(befores), "order") if befores else None
    if followed is not None and followed.order is not None:
        return (followed.order,)
    lines = _strongest([ln for ln in before.off_orders if ln.drifts_with != "clock" and ln.order is not None])
    return tuple(ln.order for ln in lines if ln.order is not None)


def _behind_converter(before: Analysis, befores: Sequence[Analysis]) -> float | None:
    """Order of the line in gear only that is most of this recording's shake; None where that is a mode which
    judders, for that is wide."""
    scene = scene_of(befores or [before])
    found = only_in(scene, "drive") if can_tell(scene, "drive") else None
    if found is None or found[1] is not before or before.orders is None or not behind_converter(found[0]):
        return None
    line, least = found[0], 10 ** (MAKES_THE_SHAKE_DB / 20) * before.overall.rms_m_s2
    narrow = line.order is not None and turns(before.orders.spectrum, line.order)
    return line.order if narrow and line.rms_m_s2 >= least else None


def _own_speeds_hz(before: Analysis, befores: Sequence[Analysis]) -> tuple[float, ...]:
    """Frequencies of the lines that the engine's speed does not move."""
    followed = strongest_kept(scene_of(befores), "hertz") if befores else None
    if followed is not None:
        return (followed.hertz,)
    # A steady idle does not show what a line keeps to: any that does not turn with the engine may be the
    # fan's.
    own_speed = [ln for ln in before.off_orders if ln.drifts_with != "engine"] or before.off_orders
    return tuple(ln.frequency_hz for ln in _strongest(own_speed))


def _strongest_in(analysis: Analysis, band_hz: tuple[float, float]) -> float | None:
    low, high = band_hz
    inside = [ln for ln in analysis.lines if low <= ln.frequency_hz <= high]
    return max(inside, key=lambda ln: ln.rms_m_s2).frequency_hz if inside else None


def _strongest(lines: Sequence[Line]) -> list[Line]:
    if not lines:
        return []
    least = max(ln.rms_m_s2 for ln in lines) * 10 ** (-_LINES_WITH_THE_STRONGEST_DB / 20)
    return [ln for ln in lines if ln.rms_m_s2 >= least]


def repair_of_job(
    analyses: Sequence[Analysis],
    engine: Engine,
    *,
    cause_id: str | None = None,
) -> Repair | None:
    """Proof of repair of a job: the last `after` recording of each kind against the `before` most like it,
    and of these pairs the one in which the fault's own lines stood out most. None without an `after`
    recording. What taping on does is taken from recordings said to be taped on anew, else the default."""
    measured = measured_placing(analyses)
    placing_db = placing_db_of(measured)
    befores = [a for a in analyses if a.condition.stage == "before"]
    afters = [a for a in analyses if a.condition.stage == "after"]
    if not afters:
        return None
    if not befores:
        return Repair.cannot_tell("There is no recording from before the repair.")
    called = {id(a): name for a, name in zip(analyses, spoken_names(analyses), strict=True)}

    def proof(before: Analysis, after: Analysis) -> Repair:
        return repair_of_pair(before, after, befores, engine, cause_id, placing_db)

    pairs = [
        _Match(b, a, paired(b, a, befores, proof, called), _told_of(b, a, called))
        for a in last_of_each_kind(afters)
        for b in [most_alike(befores, a)]
    ]
    told = (measured.words(),) if measured is not None else ()
    return _joined(pairs, engine, told)


@dataclass(frozen=True)
class _Match:
    """A recording from before the repair and one from after it, what the two alone say, and which they are
    in words."""

    before: Analysis
    after: Analysis
    repair: Repair
    names: str


def _told_of(before: Analysis, after: Analysis, called: Mapping[int, str]) -> str:
    """'in drive at idle', where both were made so and no others; else each by its name."""
    one, other = called[id(before)], called[id(after)]
    alike = before.condition.made_as(replace(after.condition, stage="before"))
    return f"in {one}" if alike and one == spoken(before.condition) else f"{one} against {other}"


def _joined(pairs: Sequence[_Match], engine: Engine, told: tuple[str, ...]) -> Repair:
    """What the pairs say together: the one in which the fault's lines stood out most before speaks, but it is
    no cure while another still shakes."""
    sure = [p for p in pairs if p.repair.change_db is not None]
    if not sure:
        return replace(pairs[0].repair, notes=(*pairs[0].repair.notes, *_not_compared(pairs[1:])))
    told = (*told, *_not_compared([p for p in pairs if p.repair.change_db is None]))
    first, *rest = sorted(
        sure, key=lambda p: _standing_out_db(p.before, p.repair.lines, engine), reverse=True
    )
    chosen = first.repair
    if not rest:
        return replace(chosen, notes=chosen.notes + told)
    said = chosen.why.replace("The ", "the ", 1) if chosen.why.startswith("The ") else chosen.why
    verdict, why = chosen.verdict, f"{_begun(first.names)}: {said}"
    if verdict == "cured" and (still := next((p for p in rest if _still_shakes(p, engine)), None)):
        verdict = "improved"
        why = (
            f"{why} But {still.names} it is not: {still.repair.verdict}, with more left than a sound car "
            "shows."
        )
    others = tuple(f"{_begun(p.names)}: {_outcome(p.repair)}." for p in rest)
    return replace(chosen, verdict=verdict, why=why, notes=chosen.notes + told + others)


def _not_compared(pairs: Sequence[_Match]) -> tuple[str, ...]:
    """That these were left out, and why: a verdict must not look as if it rested on them."""
    return tuple(f"Not compared, {p.names}: {p.repair.why}" for p in pairs)


def _outcome(repair: Repair) -> str:
    """'cured, 5.0 times weaker (-14.0 dB)'."""
    verdict = repair.verdict.replace("-", " ")
    db = repair.change_db
    return verdict if db is None else f"{verdict}, {times(db)} ({signed(db)} dB)"


def _begun(names: str) -> str:
    """As a sentence begins, unless it does so with the name of a file."""
    return names[:1].upper() + names[1:] if names.startswith("in ") else names


def _still_shakes(pair: _Match, engine: Engine) -> bool:
    """Whether the fault's lines were not mended in this pair and stand over what most sound cars show."""
    if pair.repair.verdict not in ("improved", "unchanged", "worse") or pair.repair.lines is None:
        return False
    left = together(pair.after, pair.repair.lines, engine)
    return left is not None and left[0].rms_m_s2 > left[1].band_m_s2[1]


def repair_of_pair(
    before: Analysis,
    after: Analysis,
    befores: Sequence[Analysis],
    engine: Engine,
    cause_id: str | None,
    placing_db: float,
) -> Repair:
    """Proof of repair by these two alone; befores: all from before the repair, which show how the level of an
    order goes with speed."""
    lines = FaultLines() if cause_id == SOUND else fault_lines(cause_id, before, engine, befores)
    whole, speed_mended = cause_id == SOUND, cause_id == "idle-resonance"
    fault = FaultSignature(lines, whole, speed_mended, others_tell=cause_id not in _BRIDGES)
    courses = {} if speed_mended else _courses(before, after, befores, lines.orders)
    return compare(before, after, fault, engine=engine, placing_db=placing_db, courses=courses)


def _courses(
    before: Analysis, after: Analysis, befores: Sequence[Analysis], orders: Sequence[float]
) -> dict[float, LevelCourse]:
    """Level over frequency of each order, where the speeds differ and the other recordings from before the
    repair, on the same place, show a natural frequency that the order passes."""
    if before.speed is None or after.speed is None:
        return {}
    if abs(after.speed.mean_rpm / before.speed.mean_rpm - 1) <= SPEED_NOTE_SHARE:
        return {}
    found: dict[float, LevelCourse] = {}
    for order in orders:
        points = [
            order_points(one.signal, one.speed, order)
            for one in befores
            if one.speed is not None and one.condition.place == before.condition.place
        ]
        mode = fit(points)
        if isinstance(mode, Resonance):
            found[order] = mode.course_db
    return found


def _standing_out_db(before: Analysis, lines: FaultLines | None, engine: Engine) -> float:
    """How far the lines that were compared together stood over a sound car's."""
    level = together(before, lines, engine) if lines is not None else None
    if level is None:
        return -np.inf
    return float(10 * np.log10(level[0].guarded) - level[1].median_db)


@dataclass(frozen=True)
class Visit:
    """The fault's own lines together at one visit: rms and 95 % interval in m/s2, and the band of sound
    cars."""

    name: str
    rms_m_s2: float
    low_m_s2: float
    high_m_s2: float
    sound_band_m_s2: tuple[float, float]


def visits(
    analyses: Sequence[Analysis],
    lines: FaultLines,
    engine: Engine,
    *,
    placing_db: float = DEFAULT_PLACING_DB,
) -> tuple[Visit, ...]:
    """Level of the same lines over many visits, in the order given; what cannot show them is left out.

    One taping of the phone scatters by placing_db / sqrt(2): placing_db belongs to the change between two.
    """
    found = []
    for analysis in analyses:
        both = together(analysis, lines, engine)
        if both is None:
            continue
        level, sound = both
        scatter_db = DB_PER_LOG_POWER * np.sqrt(level.log_variance)
        half = 10 ** (Z_95 * float(np.hypot(scatter_db, placing_db / np.sqrt(2))) / 20)
        low, high = level.rms_m_s2 / half, level.rms_m_s2 * half
        found.append(Visit(analysis.name, level.rms_m_s2, low, high, sound.band_m_s2))
    return tuple(found)

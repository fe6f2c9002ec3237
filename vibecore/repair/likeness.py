"""What differs between two recordings besides the repair, and what that does to the comparison."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibecore import angles
from vibecore.constants import SPEED_SD_DB_PER_OCTAVE
from vibecore.copies import same_contents
from vibecore.model import Analysis, Line, Recording
from vibecore.units import STANDARD_GRAVITY_M_S2

SPEED_NOTE_SHARE = 0.03  # 'within a few percent': from here on the difference is told
SPEED_LIMIT_SHARE = 0.25  # beyond it the engine is in another condition altogether
# A unit's load on the engine moves the firing order by a few dB. Common practice, no source.
ACCESSORY_SD_DB = 2.0
UNKNOWN_OCTAVES = 0.1  # an idle held alike returns to within some percent, 7 here; common practice, no source
ROAD_SPEED_SHARE = 0.1  # who drives a road again at the same speed is within this
# Where the strongest line was mended the drive is told by others. Of the six strongest lines between 7 and
# 100 Hz in two drives that have nothing to do with one another, three stand at one ratio within a tenth in
# seven of a thousand cases, two in a sixth of them (drawn evenly over the logarithm).
_STRONGEST, _AT_ONE_RATIO, _ONE_RATIO = 6, 3, 0.005
ROLLS_FROM_HZ = 7.0  # a wheel of 0.35 m at 15 m/s; slower, nobody feels its imbalance
OTHER_RATE = 1.05  # times the slower rate: one phone keeps its own within a percent or two
TURNED_DEG = 30.0  # the phone was taped on at plainly another angle
_UNLOADED = {"neutral", "park"}
When = tuple[str, str]


@dataclass(frozen=True)
class Likeness:
    """blocking: why the two cannot be compared order by order, or None; `whole` says that the whole shake can
    be compared, be the speeds known or not, and `road` that both are of drives at one speed, where bands of
    hertz can. extra_sd_db: what the differences may do to levels, apart from speed, whose share speed_sd_db
    is for orders that have no known course over speed; both standard deviations in dB."""

    blocking: str | None
    notes: tuple[str, ...]
    extra_sd_db: float
    speed_sd_db: float
    whole: bool = False
    road: bool = False


def alike(one: Analysis, other: Analysis) -> bool:
    """Whether two recordings were made in the same place, gear and way, as far as was said."""
    return _conditions_unlike(one, other) is None


def likeness(
    before: Analysis, after: Analysis, when: When = ("before", "after"), *, speed_mended: bool = False
) -> Likeness:
    """What differs between the two; `when` names them in the notes. speed_mended: another speed may be what
    the repair is about, and is then no reason not to compare."""
    unlike = _conditions_unlike(before, after) or sizes_unlike(before, after)
    unknown = _not_known(before, after)
    blocking = unlike or unknown or (None if speed_mended else _speeds_unlike(before, after))
    notes = [*_accessory_notes(before, after, when), *_phone_notes(before, after, when)]
    octaves = _octaves_apart(before, after)
    if abs(octaves) > np.log2(1 + SPEED_NOTE_SHARE) and before.speed and after.speed:
        notes.append(
            f"The engine ran at {before.speed.mean_rpm:.0f} rpm {when[0]} and {after.speed.mean_rpm:.0f} "
            f"{when[1]}: the level of an order changes with speed"
            + (", and that may be the cure itself." if speed_mended else ".")
        )
    other_units = _units(before) != _units(after)
    extra = ACCESSORY_SD_DB if other_units else 0.0
    doubtful = UNKNOWN_OCTAVES if unknown is not None else 0.0 if speed_mended else abs(octaves)
    speed_sd_db = SPEED_SD_DB_PER_OCTAVE * doubtful
    comparable = unlike is None and (blocking is None or unknown is not None)
    whole = comparable and _held(before) and _held(after)
    road = comparable and _same_drive(before, after)
    return Likeness(
        blocking=blocking,
        notes=tuple(notes),
        extra_sd_db=extra,
        speed_sd_db=speed_sd_db,
        whole=whole,
        road=road,
    )


def _held(analysis: Analysis) -> bool:
    """Whether the engine ran at one speed that it comes back to: on the road and in a sweep it does not."""
    return analysis.condition.speed_hold in ("idle", "raised") and not analysis.condition.on_road


def copy_words(before: Analysis, after: Analysis) -> str | None:
    """A sentence if the two are one recording, given twice."""
    if not same_contents(before.recording, after.recording):
        return None
    return (
        f"{after.name} has the same contents as {before.name}: one recording shows no change. Give the other."
    )


def _conditions_unlike(before: Analysis, after: Analysis) -> str | None:
    if copied := copy_words(before, after):
        return copied
    b, a = before.condition, after.condition
    if b.place and a.place and b.place != a.place:
        return f"The phone was on the {b.place} before and on the {a.place} after: use the same place twice."
    if b.gear and a.gear and b.gear != a.gear and not {b.gear, a.gear} <= _UNLOADED:
        return f"Before was in {b.gear}, after in {a.gear}: record both in the same gear."
    if "engine off" in (b.speed_hold, a.speed_hold):
        return "The engine was off: there is no engine shake to compare. Record both with it running."
    if b.speed_hold and a.speed_hold and b.speed_hold != a.speed_hold:
        return f"Before was at '{b.speed_hold}', after at '{a.speed_hold}': record both alike."
    return None


def sizes_unlike(before: Analysis, after: Analysis) -> str | None:
    """A sentence if one of the two may be in another unit than it was taken for, and they would shake more
    alike in that: no repair is told by what may be a unit. Where they would be further apart it is none."""
    both = before.recording, after.recording
    if _same_size(*both):
        return None
    unsure = next(r for r in reversed(both) if r.other_unit)
    unit = unsure.other_unit
    times = STANDARD_GRAVITY_M_S2 if unit == "g" else 1 / STANDARD_GRAVITY_M_S2
    change = np.log(after.overall.rms_m_s2 / before.overall.rms_m_s2)
    other = change + (np.log(times) if unsure is after.recording else -np.log(times))
    if abs(other) >= abs(change):
        return None
    how = "as much" if unit == "g" else "less"
    return (
        f"The unit of {unsure.name} is not known: if it were {unit}, all in it would be 9.8 times {how}, and "
        "the two about alike. Record before and after with the same app, with gravity in."
    )


def _same_size(one: Recording, other: Recording) -> bool:
    """Whether the ratio of the two stands: the size of both is sure, or the same program wrote both and they
    were read alike, so that a wrong unit is wrong for both."""
    if not (one.other_unit or other.other_unit):
        return True
    alike = (one.unit, one.gravity_included) == (other.unit, other.gravity_included)
    return alike and one.columns == other.columns


def _not_known(before: Analysis, after: Analysis) -> str | None:
    for name, analysis in (("before", before), ("after", after)):
        if analysis.speed is None:
            return (
                f"The engine speed of the recording {name} the repair could not be told, "
                "so no order can be compared."
            )
        if analysis.orders is None:
            return "Say how many cylinders the engine has: without that no engine order can be compared."
    return None


def _speeds_unlike(before: Analysis, after: Analysis) -> str | None:
    if abs(_octaves_apart(before, after)) > np.log2(1 + SPEED_LIMIT_SHARE):
        return (
            f"The engine ran at {_rpm(before):.0f} rpm before and {_rpm(after):.0f} after: too far apart "
            "to compare. Record both at the same speed."
        )
    return None


def _rpm(analysis: Analysis) -> float:
    """The speed as found, else as read off the tachometer, else not a number."""
    if analysis.speed is not None:
        return analysis.speed.mean_rpm
    return analysis.condition.tachometer_rpm or float("nan")


def _octaves_apart(before: Analysis, after: Analysis) -> float:
    """How far apart the speeds are; 0 where one is not known."""
    octaves = float(np.log2(_rpm(after) / _rpm(before)))
    return octaves if np.isfinite(octaves) else 0.0


def _same_drive(before: Analysis, after: Analysis) -> bool:
    """Whether two drives in gear were at one speed: by the engine's, else by what turns with wheels and
    engine. What shakes most does; once it is mended, several lines that all moved by one ratio tell."""
    if not (before.condition.on_road and after.condition.on_road):
        return False
    apart, limit = np.log(_rpm(after) / _rpm(before)), np.log(1 + ROAD_SPEED_SHARE)
    if np.isfinite(apart):
        return bool(abs(apart) < limit)
    b, a = (np.log([line.frequency_hz for line in _rolling(one)]) for one in (before, after))
    if not (len(b) and len(a)):
        return False
    ratios = (a[:, None] - b).ravel()  # the first: of the strongest
    near = ratios[np.abs(ratios) < limit]
    together = (np.abs(near[:, None] - near) <= _ONE_RATIO).sum(axis=1)
    return bool(abs(ratios[0]) < limit or (together >= _AT_ONE_RATIO).any())


def _rolling(analysis: Analysis) -> list[Line]:
    """The strongest lines of a drive above the body's sway, by falling strength."""
    lines = [line for line in analysis.lines if line.frequency_hz >= ROLLS_FROM_HZ]
    return sorted(lines, key=lambda line: line.rms_m_s2, reverse=True)[:_STRONGEST]


def _units(analysis: Analysis) -> set[str]:
    """The units that were on, however their names were written."""
    return {name.strip().casefold() for name in analysis.condition.accessories}


def _accessory_notes(before: Analysis, after: Analysis, when: When) -> list[str]:
    b, a = _units(before), _units(after)
    if b == a:
        return []
    parts = [
        f"{', '.join(sorted(units))} on only {name}"
        for units, name in ((b - a, when[0]), (a - b, when[1]))
        if units
    ]
    return [f"Not alike: {' and '.join(parts)}; a unit's load changes the shake too."]


def _phone_notes(before: Analysis, after: Analysis, when: When) -> list[str]:
    notes = []
    slow, fast = sorted((before.signal.fs_hz, after.signal.fs_hz))
    if fast > OTHER_RATE * slow:
        notes.append(
            f"Another phone or setting: {before.signal.fs_hz:.0f} samples a second {when[0]}, "
            f"{after.signal.fs_hz:.0f} {when[1]}. Only orders under {slow / 2:.0f} Hz count."
        )
    angle = _turned_deg(before.recording, after.recording)
    if angle is not None and angle > TURNED_DEG:
        notes.append(
            f"The phone was turned by about {angle:.0f} degrees between the two. The sum over its three "
            "axes stands that, but taping it on the same way is better."
        )
    return notes


def _turned_deg(before: Recording, after: Recording) -> float | None:
    """Angle between the directions of gravity in the phone's own axes; None where gravity was left out."""
    was, now = before.gravity_direction, after.gravity_direction
    if was is None or now is None:
        return None
    return float(angles.degrees(was @ now))

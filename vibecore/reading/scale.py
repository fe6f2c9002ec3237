"""What the numbers of a triple mean: the size of gravity, raw counts, the step of a sensor, units.

Standard gravity is exact by definition (SI Brochure, 9th edition, 2019). On earth it is 9.780 to 9.832 m/s2,
and phones read it true to a few per cent, so a steady part of that size is gravity and tells the unit.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from vibecore.constants import UNIT_ASSUMED, UNIT_DOUBTFUL
from vibecore.model import Floats, Warn
from vibecore.units import STANDARD_GRAVITY_M_S2 as G

M_S2_PER_UNIT = {
    "m/s2": 1.0, "g": G, "mg": G / 1e3, "ug": G / 1e6, "%g": G / 100, "cm/s2": 0.01, "mm/s2": 0.001,
    "mGal": 1e-5, "ft/s2": 0.3048, "in/s2": 0.0254, "dm/s2": 0.1, "um/s2": 1e-6, "km/h/s": 1 / 3.6,
}  # fmt: skip
GRAVITY_TOLERANCE = 0.12  # offset and scale errors of cheap sensors, and a phone that turns a little
# 16384 to 256: data sheets of phone-class parts, +-2 g to +-16 g.
COUNTS_PER_G = tuple(2**k for k in range(14, 7, -1))
MG_PER_G = 1000  # by definition of the prefix
_BLOCK_ROWS = (64, 1024)  # about a second at any rate: long enough for engine shake to average out
_BLOCKS = 60
_MOST_SHAKE = 0.7  # rms shake over the steady part, above which that is no gravity at idle but chance
_STRONGEST_SHAKE = 2.0  # the same for a mean that lasts: an engine block on broken mounts shakes by 1 g
_PARTS = 8  # of a recording, whose means are held against each other
_LASTING = 0.05  # share of the mean by which they may scatter: a phone in the hand turns by more
_PHONE_RANGE_G = 16.0  # no phone-class part measures more
MOST_M_S2 = 1.25 * _PHONE_RANGE_G * G  # and no scale is so far off
_MOST_STEADY_M_S2 = 1.5 * G  # a car stands still in 1 g, and no corner or brake adds more than half of one
_COARSE_M_S2 = 0.1  # whole numbers of more than this show nothing of an engine: they count something else
# Noise of the best phone-class parts over 50 Hz (70 ug/sqrt(Hz), data sheets): no file is quieter.
_QUIETEST_M_S2 = 0.002
# The shake of a hand that a day's work may have before something must be done (2002/44/EC, article 3; from
# memory). Few wheels, seats or floors of an idling car shake so: in m/s2 it is likelier than in g.
_STRONG_M_S2 = 2.5
_MOST_RMS_M_S2 = G  # broken mounts shake an engine block by 1 g: over it the values are in a smaller unit
_ALIKE = ("mg", "cm/s2")  # 1000 and 980.665 to 1 g: no phone's own error tells them apart
# Zero-g offset of phone-class parts, +-40 mg (BMI160 data sheet; from memory): with a still engine it is all
# there is.
ZERO_G_OFFSET = 0.04
# In m/s2 that offset is 0.4. But a compass in gauss, steady as well, shows 0.22 to 0.67 (Earth's field, 22 to
# 67 microtesla; the geomagnetic reference field, from memory): without a unit an offset is sure only below.
_WEAKEST_FIELD_GAUSS = 0.22
_MIDDLES = (128, 512, 2048, 8192, 32768)  # counts: half the range of converters of 8 to 16 bits
# 1 g is a half of half the range at most, +-2 g; where gravity lies just so that signed counts would show 1 g
# askew by the same numbers, they must be nearer.
_ABOUT_MIDDLE, _NEAR_MIDDLE = 0.55, 0.3
_ODD_STEADY = 0.25  # of 1 g: a larger steady part is no offset of a sensor
_STEP_BITS = (6.5, 14.5)  # of 1 g: a sensor has 2^7 to 2^14 steps to it
_STEP_TOLERANCE = 0.02  # printed decimals round a sensor's step
_OFF_STEP, _MOSTLY = 0.1, 0.95  # of a step, off a multiple of it; share of the gaps that are no further off
_OTHER = {"m/s2": "g", "g": "m/s2"}  # what the two units of phones are mistaken for
_IN_ERROR = {"m/s2": "less", "g": "as much"}  # how all changes if it is the other


def steady_size(accel: Floats) -> float:
    """Size of the steady part of (n, 3) values: median over stretches of the length of the mean vector."""
    return steady_and_spread(accel)[0]


def steady_and_spread(accel: Floats) -> tuple[float, float]:
    """Size of the steady part of (n, 3) values, and their rms about it as a vector, from stretches of rows
    all over the recording; each has a steady part of its own, for a phone may be turned round half-way."""
    n = len(accel)
    rows = min(n, int(np.clip(n // _BLOCKS, *_BLOCK_ROWS)))
    starts = np.linspace(0, n - rows, min(_BLOCKS, max(1, n // rows))).astype(np.intp)
    some = np.take(accel.T, (starts[:, None] + np.arange(rows)).ravel(), axis=1)
    stretches = some.reshape(3, len(starts), rows)
    means = stretches.mean(axis=2)
    size = float(np.median(np.sqrt(np.sum(means**2, axis=0))))
    return size, float(np.sqrt(np.sum(np.mean(np.var(stretches, axis=2), axis=1))))


def is_gravity(size: float, unit_m_s2: float, tolerance: float = GRAVITY_TOLERANCE) -> bool:
    """True if a steady part of this size, in a unit of so many m/s2, is gravity."""
    return abs(size * unit_m_s2 / G - 1.0) <= tolerance


def is_gravity_in(size: float, units: Iterable[str] = ("m/s2", "g")) -> bool:
    """True if a steady part of this size is gravity in one of these units."""
    return any(is_gravity(size, M_S2_PER_UNIT[unit]) for unit in units)


def with_gravity(sizes: list[float], units: Iterable[str] = ("m/s2", "g", "mg")) -> list[bool]:
    """Which of several steady parts are gravity, in one unit for all: turning rates may be a steady 1 beside
    9.8 m/s2."""
    for unit in units:
        heavy = [is_gravity(size, M_S2_PER_UNIT[unit]) for size in sizes]
        if any(heavy):
            return heavy
    return [False] * len(sizes)


@dataclass(frozen=True)
class Scale:
    """What one unit of the file is in m/s2, whether gravity is in, and what to tell about it. unit: its name;
    other_unit: what it may be instead, empty where that is sure."""

    m_s2: float
    gravity: bool
    warnings: tuple[Warn, ...]
    note: str
    unit: str = ""
    other_unit: str = ""


def find_scale(accel: Floats, stated: str, gravity_size: float | None) -> Scale | None:
    """The unit of (n, 3) values: by the size of gravity, else as stated, else by what evidence there is.

    `gravity_size`: steady size of another triple of the same file that holds gravity alone. None if a steady
    part is there that is no gravity in any unit, and no unit is stated: then it is no acceleration.
    """
    size, spread = steady_and_spread(accel)
    gravities = [u for u in ("m/s2", "g", _nearer(size)) if is_gravity(size, M_S2_PER_UNIT[u])]
    calm = spread <= _MOST_SHAKE * size or (spread <= _STRONGEST_SHAKE * size and _lasts(accel))
    by_size = gravities if calm else []
    counts = _counts(accel, size)
    if stated in M_S2_PER_UNIT:
        return _as_stated(accel, stated, by_size)
    if counts and (not by_size or by_size[0] in _ALIKE) and stated in ("", "counts"):
        return counts
    if by_size:
        return _by_size(size, by_size[0])
    offset_only = size < _WEAKEST_FIELD_GAUSS and spread > _QUIETEST_M_S2 / G
    if (size > 2.0 * spread and not offset_only) or is_too_large(accel):
        return None
    return _without_gravity(accel, spread, gravity_size)


def is_too_large(accel: Floats) -> bool:
    """Whether (n, 3) values are too large for m/s2, whatever they are of."""
    return float(np.max(np.abs(accel))) > MOST_M_S2 or steady_and_spread(accel)[1] > _MOST_RMS_M_S2


def impossible(accel: Floats, size: Scale, unit: str) -> str:
    """What forbids (n, 3) values to be in this unit, in words; '' if nothing does."""
    most = float(np.max(np.abs(accel))) * size.m_s2
    if most > MOST_M_S2:
        return f"would reach {most:.4g} m/s2 in {unit}, which no phone measures"
    if size.gravity:
        return ""
    steady = steady_size(accel) * size.m_s2
    if steady > _MOST_STEADY_M_S2:
        return f"would have a steady part of {steady:.4g} m/s2 in {unit}, which is more than gravity"
    if size.m_s2 > _COARSE_M_S2 and np.array_equal(accel, np.rint(accel)):
        return f"are whole numbers without gravity, too coarse for {unit}: perhaps counts of the sensor"
    return ""


def middle_of_range(accel: Floats) -> int:
    """Half the range of a converter about which all axes of (n, 3) values lie; 0 if they lie about none. A
    sensor with voltages for its outputs has half of one at rest, and gravity is little beside it."""
    if np.min(accel) < 0 or not np.array_equal(accel, np.rint(accel)):
        return 0
    means = accel.mean(axis=0)
    size = float(np.linalg.norm(means))
    sure = any(abs(size / one_g - 1.0) < ZERO_G_OFFSET for one_g in (*COUNTS_PER_G, MG_PER_G))
    about = _NEAR_MIDDLE if sure else _ABOUT_MIDDLE
    return next((m for m in _MIDDLES if np.all(np.abs(means / m - 1.0) < about)), 0)


def _lasts(accel: Floats) -> bool:
    """Whether the mean of (n, 3) values is the same all along, as gravity is under any shake."""
    if len(accel) < _PARTS:
        return False
    means = np.array([part.mean(axis=0) for part in np.array_split(accel, _PARTS)])
    scatter = float(np.linalg.norm(means.std(axis=0)))
    return scatter < _LASTING * float(np.linalg.norm(means.mean(axis=0)))


def _nearer(size: float) -> str:
    """The one of the two units that are alike in which a steady part of this size is nearer to gravity."""
    return min(_ALIKE, key=lambda unit: abs(size * M_S2_PER_UNIT[unit] / G - 1.0))


def _by_size(size: float, unit: str) -> Scale:
    text = (
        f"No unit is named. A steady {size:.4g} is gravity in mg, and in cm/s2, which is 2 % less: {unit} "
        "was taken. Name the unit in the header."
    )
    told = (Warn("unit-by-size", text),) if unit in _ALIKE else ()
    return Scale(M_S2_PER_UNIT[unit], True, told, f"{unit} by the size of gravity")


def _as_stated(accel: Floats, stated: str, by_size: list[str]) -> Scale:
    size, spread = steady_and_spread(accel)
    factor = M_S2_PER_UNIT[stated]
    if is_gravity(size, factor):
        return Scale(factor, True, (), f"{stated} as named, gravity in")
    if by_size:
        unit = by_size[0]
        text = (
            f"The header says {stated}, but a steady {size:.4g} is gravity in {unit}: {unit} was "
            "taken. Check the export settings."
        )
        return Scale(
            M_S2_PER_UNIT[unit],
            True,
            (Warn("unit-mismatch", text),),
            f"{unit} by the size of gravity, not {stated}",
        )
    warnings: tuple[Warn, ...] = ()
    if size * factor > _ODD_STEADY * G:
        text = (
            f"The steady part is {size * factor:.3g} m/s2, neither gravity nor nothing: the phone was "
            "moved or is badly calibrated. Record again with the phone taped down."
        )
        warnings = (Warn("odd-gravity", text),)
    likely, why = _evidence(accel, spread)
    other_unit = ""
    if stated in _OTHER and likely == _OTHER[stated]:
        text = (
            f"The header says {stated}, and so it was read, but {why}. Gravity, which would decide it, is "
            f"not in the data. If they are in {likely}, all is 9.8 times {_IN_ERROR[likely]}: check the "
            "export settings, or record with gravity in."
        )
        warnings, other_unit = (*warnings, Warn(UNIT_DOUBTFUL, text)), likely
    return Scale(factor, False, warnings, f"{stated} as named, gravity out", stated, other_unit)


def _counts(accel: Floats, size: float) -> Scale | None:
    """Raw sensor counts: whole numbers whose steady part is near a power of two."""
    some = accel[:: max(1, len(accel) // 5000)]
    if size < COUNTS_PER_G[-1] * (1 - GRAVITY_TOLERANCE) or not np.array_equal(some, np.rint(some)):
        return None
    near = min((*COUNTS_PER_G, MG_PER_G), key=lambda c: abs(np.log(size / c)))
    if near == MG_PER_G or abs(size / near - 1) > GRAVITY_TOLERANCE:
        return None
    text = (
        f"No unit: whole numbers with a steady {size:.0f} were read as raw counts, {near} to 1 g. "
        "Name the unit in the header if that is wrong."
    )
    return Scale(
        G / near, True, (Warn("raw-counts", text),), f"raw counts, {near} to 1 g, by the size of gravity"
    )


def _without_gravity(accel: Floats, spread: float, gravity_size: float | None) -> Scale:
    """No gravity and no unit: g and m/s2 cannot be told apart for sure. Says what was taken and why."""
    if gravity_size is not None:
        for unit in ("m/s2", "g"):
            if is_gravity(gravity_size, M_S2_PER_UNIT[unit]):
                note = f"{unit} by the gravity columns beside it, gravity out"
                return Scale(M_S2_PER_UNIT[unit], False, (), note, unit)
    unit, why = _evidence(accel, spread)
    unit, why = (unit, why) if unit else ("m/s2", "most phones give that")
    text = (
        f"The file does not name its unit, and gravity is not in the data: {unit} was taken, as {why}. If "
        f"the app shows {_OTHER[unit]}, all is 9.8 times {_IN_ERROR[_OTHER[unit]]}: record with gravity in, "
        f"or write the unit into the header, as in 'x ({_OTHER[unit]})'."
    )
    told, note = (Warn(UNIT_ASSUMED, text),), f"{unit} assumed, gravity out"
    # In steps of a sensor the unit is as good as told: in another they would be none.
    other_unit = "" if _is_a_sensors(value_step(accel), unit) else _OTHER[unit]
    return Scale(M_S2_PER_UNIT[unit], False, told, note, unit, other_unit)


def _evidence(accel: Floats, spread: float) -> tuple[str, str]:
    """Which of m/s2 and g (n, 3) values without gravity are likelier in, and why; '' if nothing tells."""
    if float(np.max(np.abs(accel))) > _PHONE_RANGE_G:
        return "m/s2", f"no phone measures over {_PHONE_RANGE_G:.0f} g"
    step = value_step(accel)
    for unit in _OTHER:
        if _is_a_sensors(step, unit):
            return unit, f"phones measure in steps such as these ({step:.3g}) in {unit}"
    if spread < _QUIETEST_M_S2 * 2.0:
        return "g", "no phone is so quiet in m/s2"
    if spread * G > _STRONG_M_S2:
        return "m/s2", f"in g they would shake by {spread * G:.2g} m/s2, more than most cars do at idle"
    return "", ""


def _is_a_sensors(step: float, unit: str) -> bool:
    """Whether a step in this unit is 1 g over a power of two, as sensors have it; 0 is no step."""
    if step <= 0:
        return False
    bits, (least, most) = float(np.log2(G / M_S2_PER_UNIT[unit] / step)), _STEP_BITS
    return least < bits < most and abs(2.0 ** (bits - round(bits)) - 1.0) < _STEP_TOLERANCE


def value_step(accel: Floats) -> float:
    """The smallest step between neighbouring values of (n, 3) numbers that all others are multiples of; 0
    if none."""
    some = accel[:: max(1, len(accel) // 4000)].ravel()
    levels = np.unique(some)
    gaps = np.diff(levels)
    gaps = gaps[gaps > 1e-9 * max(1.0, float(np.max(np.abs(levels))))]
    if len(gaps) < 8:
        return 0.0
    step = float(np.median(gaps[gaps <= 1.5 * np.min(gaps)]))
    off = np.abs(gaps / step - np.rint(gaps / step))
    return step if float(np.mean(off < _OFF_STEP)) > _MOSTLY else 0.0

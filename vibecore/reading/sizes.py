"""Is it sure how large the numbers of a recording are? Without gravity in them a unit may be another's."""

from __future__ import annotations

from vibecore.constants import UNIT_ASSUMED, UNIT_DOUBTFUL
from vibecore.model import Recording
from vibecore.reading.scale import sensor_bits, value_step
from vibecore.units import STANDARD_GRAVITY_M_S2

_FROM = "acceleration from "  # begins the line of a recording's history that names its columns


def unit_taken(recording: Recording) -> str:
    """The unit that its numbers were read in where gravity, which would prove one, is not in them."""
    told = [line.split()[0] for line in recording.history if line.endswith("gravity out")]
    return told[-1] if told else "m/s2"


def other_unit(recording: Recording) -> str:
    """The unit that its numbers may be in instead of the one taken; empty where their size is sure: gravity
    or a header tells it and nothing speaks against it, or they step as a sensor does in that unit."""
    codes = {w.code for w in recording.warnings}
    if UNIT_DOUBTFUL not in codes and (UNIT_ASSUMED not in codes or _steps_as_a_sensor(recording)):
        return ""
    return "m/s2" if unit_taken(recording) == "g" else "g"  # what phones' two units are mistaken for


def _steps_as_a_sensor(recording: Recording) -> bool:
    """A sensor's step of 1 g over a power of two: taken for another unit it would be none."""
    step = value_step(recording.accel_m_s2)
    return step > 0 and sensor_bits(STANDARD_GRAVITY_M_S2 / step) is not None


def same_size(one: Recording, other: Recording) -> bool:
    """Whether the ratio of the two stands: the size of both is sure, or the same program wrote both and they
    were taken alike, so that a wrong unit is wrong for both."""
    if not (other_unit(one) or other_unit(other)):
        return True
    alike = unit_taken(one) == unit_taken(other) and one.gravity_included == other.gravity_included
    return alike and _columns(one) == _columns(other)


def _columns(recording: Recording) -> list[str]:
    return [line for line in recording.history if line.startswith(_FROM)]

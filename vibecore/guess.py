"""Guess how a recording was made from the name of its file and from what it holds; a person confirms it.

Names: words in a few languages that phones and people write; the first that fits wins. Contents: only what
has a reason that can be told, and only where the name is silent. What neither tells stays unknown.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePosixPath
from typing import TypeVar

import numpy as np

from vibecore import angles
from vibecore.drives import IDLE_WORDS, is_moving
from vibecore.model import Condition, Gear, Place, Recording, Signal, SpeedHold, SpeedTrack, Stage
from vibecore.reading.archive import DATA_ENDINGS
from vibecore.words import condition_words

T = TypeVar("T")

# Whole words: 'driver' is no drive. Where a language joins its words, what may follow stands with them.
_PLACE: dict[Place, str] = {
    "steering wheel": r"steering(?:wheel)?|(?<!front )(?<!rear )(?<!back )wheel|lenkrad\w*|volante?|sterzo?",
    "seat": r"(?:drivers?)?seats?|chair|(?:(?:bei)?fahrer)?sitz|siege|asiento",
    "floor": r"floor|boden|plancher|suelo",
    "engine": r"on engine|engine side|block|motorblock|valve cover",
    "body": r"body|strut|tower|chassis|karosserie",
}
_GEAR: dict[Gear, str] = {
    "reverse": r"rev(?! up| \d)|reverse|ruckwarts\w*|r",
    "drive": r"drive|in gear|d|fahrstufe",
    "park": r"park(?:ed)?|p(?! m\b)",
    "neutral": r"neutral|leerlauf\w*|point mort|n|free",
}
_HOLD: dict[SpeedHold, str] = {
    "engine off": r"engine off|motor aus|moteur arrete|^off$|ignition only",
    "sweep": r"sweep|run ?up|rev ?up|ramp",
    "raised": r"raised|(?:fast|high)(?= idle| rpm| revs?|$)|erhoht\w*"
    r"|(?:1[1-9]|2\d|3\d)\d\d ?(?:rpm|u ?min|tr ?min)",
    "idle": r"idle|idling|leerlauf\w*|ralenti|standgas|neutral|drive|park(?:ed)?|reverse|in gear",
}
_HOLD_IN_WORDS: dict[SpeedHold, str] = {
    "sweep": r"sweep|run ?up|rev ?up|ramp",
    "raised": r"raised|erhoht\w*|(?:fast|high) idle",
    "idle": IDLE_WORDS,
}
_STAGE: dict[Stage, str] = {
    "after": r"after(?! lunch| work| school)|(?<!not )(?:repaired|fixed|mended|done)|nachher|apres"
}
_TOLD_BEFORE = r"before|not (?:repaired|fixed|mended|done)|vorher|avant"
_UNIT = {
    "air conditioning": r"(?:ac|a c|air ?con\w*|klima\w*|clim|climatis\w*)\b(?! off| aus)",
    "lights": r"(?:lights?|licht|phares)\b(?! off| aus)",
}
IDLE_UP_TO_RPM = 1000.0  # warm engines idle below it, small ones just; common practice, no source
RAISED_FROM = 1.15  # times the top of the idle: the plan asks for 1200 to 1500, between the two none can tell
IDLE_RPM = (450.0, 1100.0)  # of cars, cold and warm; common practice, no source
FAR_FROM_IDLE = 1.2  # times an end of the maker's idle: one cylinder more or less of six does as much
# A running engine leaves one line at least over the phone's noise: so it was in all of 56 simulated
# recordings, sound cars and faulty, on every place.
COARSE_M_S2 = 0.05  # steps of the file that could hide a smooth engine
# A hand lays the phone again within this of how it lay; by chance one in 500 lies so. Near one of its own
# axes (flat, upright) a phone lies in many places, and that tells nothing. Common practice, no source.
SAME_WAY_DEG = 5.0
FLAT_DEG = 10.0
_RPM = re.compile(r"\b(\d{3,4}) ?(?:rpm|u ?min|tr ?min)")
_ENDINGS = re.compile(rf"(?:{'|'.join(map(re.escape, (*DATA_ENDINGS, '.gz', '.zip')))})+$", re.IGNORECASE)


@dataclass(frozen=True)
class Guess:
    """How a recording was probably made, and why each thing is thought so, a sentence each."""

    condition: Condition
    reasons: tuple[str, ...] = ()


def guess(recording: Recording, others: Sequence[tuple[Recording, Place]] = ()) -> Guess:
    """From its name, and from what it holds beside others of the same job whose place is known."""
    from vibecore.conditioning import condition as make_ready  # signal libraries: not for a name alone

    named = guess_condition(recording.name)
    found = Guess(named, _said_by_name(named))
    signal = make_ready(recording)
    if named.speed_hold is None and is_moving(signal):
        found = _with(found, "It speeds up, slows down or turns all the time: a moving car.",
                      gear=named.gear or "drive", speed_hold="raised")  # fmt: skip
    elif nothing_turns(signal):
        found = _engine_off(found)
    if named.place is None:
        found = _placed_as(found, recording, others)
    return found


def nothing_turns(signal: Signal) -> bool:
    """Is there nothing but the phone's own noise? False where the file is too coarse to tell."""
    from vibecore.evidence.lines import STILL_M_S2  # signal libraries: not for a name alone
    from vibecore.orders import lines_in_hertz

    lines, spectrum = lines_in_hertz(signal)
    if lines or len(spectrum.x) < 2 or signal.resolution_m_s2 > COARSE_M_S2:
        return False
    return float(np.sqrt(spectrum.psd.sum() * spectrum.step)) < STILL_M_S2


def _said_by_name(named: Condition) -> tuple[str, ...]:
    told = condition_words(replace(named, tachometer_rpm=None))
    return (f"By its name: {told}.",) if told else ()


def _with(found: Guess, reason: str, **said: object) -> Guess:
    return Guess(replace(found.condition, **said), (*found.reasons, reason))  # type: ignore[arg-type]


def _engine_off(found: Guess) -> Guess:
    hold = found.condition.speed_hold
    if hold == "engine off":
        return found
    nothing = "Nothing in it stands over the phone's own noise"
    if hold is None and found.condition.gear is None:
        return _with(found, f"{nothing}: engine off.", speed_hold="engine off")
    return Guess(found.condition, (*found.reasons, f"{nothing}: was the engine off?"))


def _placed_as(found: Guess, recording: Recording, others: Sequence[tuple[Recording, Place]]) -> Guess:
    """On the place of the others in which the phone lay the same way round, if they agree."""
    down = recording.gravity_direction
    if down is None or angles.degrees(np.abs(down).max()) < FLAT_DEG:
        return found
    alike = [(o, place) for o, place in others if (its := o.gravity_direction) is not None
             and angles.degrees(down @ its) < SAME_WAY_DEG]  # fmt: skip
    if len({place for _, place in alike}) != 1:
        return found
    other, place = alike[0]
    return _with(found, f"The phone lay as in {other.name}: on the {place}.", place=place)


def guess_condition(file_name: str) -> Condition:
    """Place, gear, speed, stage, units on and tachometer reading as far as the name tells them."""
    words = _words(file_name)
    rpm = _RPM.search(words)
    return Condition(
        place=place_by_name(file_name),
        gear=_first(_GEAR, words),
        speed_hold=_first(_HOLD, words),
        stage=_first(_STAGE, words) or "before",
        tachometer_rpm=float(rpm.group(1)) if rpm else None,
        accessories=tuple(unit for unit, pattern in _UNIT.items() if _said(pattern, words)),
    )


def tells_stage(file_name: str) -> bool:
    """Does the name say whether it was made before or after a repair?"""
    words = _words(file_name)
    return _first(_STAGE, words) is not None or _said(_TOLD_BEFORE, words)


def held_by_name(file_name: str) -> Condition:
    """Gear and speed where the name says in so many words that the engine idled, was raised or swept; nothing
    else, and nothing from the gear alone: 'drive' may be a drive."""
    words = _words(file_name)
    hold = _first(_HOLD_IN_WORDS, words)
    return Condition() if hold is None else Condition(gear=_first(_GEAR, words), speed_hold=hold)


def place_by_name(file_name: str) -> Place | None:
    """Where the phone was taped, as far as the name tells."""
    return _first(_PLACE, _words(file_name))


def looks_raised(speed: SpeedTrack | None, idle_spec_rpm: tuple[float, float] | None) -> bool:
    """Does the speed that was read look like a raised idle? To be asked, not taken: it may be twice the true
    one, and a condition that follows from it would only make that surer."""
    _, top = idle_spec_rpm or (0.0, IDLE_UP_TO_RPM)
    return speed is not None and speed.mean_rpm > RAISED_FROM * top


def hardly_raised(speed: SpeedTrack | None, idles_rpm: Iterable[float]) -> bool:
    """Does an idle that is said to be raised read as hardly faster than the car idles? To be asked: it may be
    read, or was told, as half the true one."""
    fastest = max(idles_rpm, default=0.0)
    return speed is not None and speed.mean_rpm < RAISED_FROM * fastest


def is_odd_figure(idle_spec_rpm: tuple[float, float]) -> bool:
    """Is this no figure that a maker gives for a car's idle?"""
    return idle_spec_rpm[0] < IDLE_RPM[0] or idle_spec_rpm[1] > IDLE_RPM[1]


def is_odd_idle(speed: SpeedTrack, idle_spec_rpm: tuple[float, float] | None) -> bool:
    """Does an idle read as no idle of this car does? To be asked: the number of cylinders may be wrong."""
    low, top = IDLE_RPM
    if idle_spec_rpm is not None:
        low, top = idle_spec_rpm[0] / FAR_FROM_IDLE, idle_spec_rpm[1] * FAR_FROM_IDLE
    return not low <= speed.mean_rpm <= top


def _words(file_name: str) -> str:
    """Lower case, without accents, folders and endings; what parts words becomes one space. A number at a
    single letter stays there: 'R1' is no gear."""
    name = PurePosixPath(file_name.replace("\\", "/")).name
    bare = unicodedata.normalize("NFKD", _ENDINGS.sub("", name)).encode("ascii", "ignore").decode()
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", bare)
    parted = re.sub(r"(?<=[a-z]{2})(?=\d)|(?<=\d)(?=[a-z]{2})", " ", parted.lower())
    return re.sub(r"[^a-z0-9]+", " ", parted).strip()


def _said(pattern: str, words: str) -> bool:
    return re.search(rf"\b(?:{pattern})\b", words) is not None


def _first(table: dict[T, str], words: str) -> T | None:
    return next((value for value, pattern in table.items() if _said(pattern, words)), None)

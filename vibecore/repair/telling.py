"""A comparison in words: why the verdict, and what two recordings like these could have shown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibecore.model import Analysis, Compared, FaultLines, VerdictName
from vibecore.repair.beside import taken_off
from vibecore.repair.lines import Level, LevelChange, interval_db
from vibecore.repair.significance import FELT_DB, smallest_visible_db
from vibecore.sound_cars import ONE_IN_TWENTY, SoundLevel
from vibecore.units import factor, level_text, signed, spread_text, times, times_between

_LONGEST_ADVICE_S = 300.0
OFF_HALF = 0.1  # half orders: the width of a line, 0.05 order


@dataclass(frozen=True)
class Result:
    """Levels before and after a repair, beside what sound cars show there; everything a verdict rests on."""

    before: Level
    after: Level
    change: LevelChange
    extra_sd_db: float  # standard error of what else may have changed: the taping, the speed
    sound: SoundLevel
    names: str  # of the lines compared, as a person reads them
    compared: Compared
    taped: LevelChange  # of all levels alike, by how the phone was taped on: taken off the level after

    @property
    def sd_db(self) -> float:
        """Standard error of the change, from both recordings' scatter and from what else may have changed."""
        return float(np.hypot(self.change.sd_db, self.extra_sd_db))

    @property
    def interval_db(self) -> tuple[float, float]:
        """95 % interval of the change, lower end first."""
        return interval_db(self.before, self.after, self.extra_sd_db)

    @property
    def left_m_s2(self) -> float:
        """What the recording after the repair shows, taping and all: that is held against sound cars."""
        return self.after.lifted(self.taped.db).rms_m_s2

    @property
    def as_sound(self) -> bool:
        """Whether no more is left than most sound cars show."""
        return self.left_m_s2 <= self.sound.band_m_s2[1]

    @property
    def was_as_sound(self) -> bool:
        """Whether most sound cars show as much as there was before the repair."""
        return self.before.rms_m_s2 <= self.sound.band_m_s2[1]

    @property
    def surely_left_m_s2(self) -> float:
        """The least that it is with 95 % chance, the taping in mind."""
        return self.left_m_s2 * float(10 ** (-ONE_IN_TWENTY * self.sd_db / 20))


def why(verdict: VerdictName, r: Result) -> str:
    """The figures and what they mean, in the sentences that stand under the verdict."""
    low, high = r.interval_db
    what = "The fault's own lines" if r.compared == "lines" else "The whole shake"
    levels = f"{level_text(r.before.rms_m_s2)} to {level_text(r.left_m_s2)} m/s2"
    moved = f"{what} ({r.names}) went from {levels}: {taken_off(r.taped.db)}"
    moved += f"{times(r.change.db)} (95 % interval {times_between(low, high)}; {signed(r.change.db)} dB, "
    moved += f"{signed(low)} to {signed(high)})"
    usual = f"{spread_text(*r.sound.band_m_s2)} m/s2"
    if verdict == "cured":
        if r.was_as_sound:
            return (
                f"{moved}. That is surely lower. Before the repair, too, it was no more than most sound cars "
                f"show there ({usual})."
            )
        if r.as_sound:
            return f"{moved}. That is surely lower and back at what a sound car shows there (mostly {usual})."
        return (
            f"{moved}. That is surely lower, more than half a repair brings, and not surely more than sound "
            f"cars show: mostly {usual}, one in twenty over {spread_text(r.sound.most_m_s2)} m/s2."
        )
    if verdict == "improved" and r.as_sound:
        return (
            f"{moved}. That is surely lower, and sound cars show as much (mostly {usual}), but a fall like "
            "this is what half a repair brings too."
        )
    if verdict == "improved":
        return (
            f"{moved}. That is surely lower, but more is left than a sound car shows there (mostly {usual})."
        )
    if verdict == "worse":
        return f"{moved}. That is surely higher."
    if verdict == "unchanged":
        return f"{moved}. Taping the phone on again does as much; it is no halving and no doubling."
    return f"{moved}. Taping the phone on again may do as much, but a halving or a doubling is not ruled out."


def sensitivity_note(r: Result, before: Analysis, after: Analysis) -> str:
    """What could have been seen, and what longer recordings would do."""
    least_db = smallest_visible_db(r.sd_db)
    told = (
        f"With these two recordings a change of less than {factor(least_db)} times, up or down, could not be "
        f"seen ({least_db:.1f} dB)."
    )
    used_s = min(a.signal.used_span_s[1] - a.signal.used_span_s[0] for a in (before, after))
    wanted_sd = r.extra_sd_db / 2  # scatter worth half of the rest adds an eighth to the interval: enough
    no_help = f"{told} Longer recordings would not help: tape the phone on twice and record each time."
    if r.change.sd_db <= wanted_sd or wanted_sd <= 0 or used_s >= _LONGEST_ADVICE_S:
        return no_help
    needed_s = used_s * (r.change.sd_db / wanted_sd) ** 2  # standard error falls as 1 / sqrt(time)
    best_db = smallest_visible_db(float(np.hypot(wanted_sd, r.extra_sd_db)))
    if needed_s > _LONGEST_ADVICE_S:
        needed_s = _LONGEST_ADVICE_S
        best_db = smallest_visible_db(
            float(np.hypot(r.change.sd_db * np.sqrt(used_s / needed_s), r.extra_sd_db))
        )
    if factor(best_db) == factor(least_db):
        return no_help
    best = f"{factor(best_db)} times ({best_db:.1f} dB)"
    return f"{told} Record {max(needed_s, used_s):.0f} s each time to see one of {best}."


def shift_note(taped: LevelChange) -> list[str]:
    """A shift that a person could feel, if it were one of the car's."""
    if abs(taped.db) < FELT_DB:
        return []
    return [
        f"The lines that the fault has no part in are {times(taped.db)} ({signed(taped.db)} dB): that is put "
        "down to how the phone was taped on, and taken off the change."
    ]


def may_be_switched(lines: FaultLines, before: Analysis) -> bool:
    """Whether these lines come and go without a repair: a fan's with the coolant's heat, those of a unit that
    was switched on with its clutch."""
    return bool(lines.hz) or (_own_ratio(lines) and bool(before.condition.accessories))


def _own_ratio(lines: FaultLines) -> bool:
    """On no multiple of half an order: what turns on its own."""
    return any(abs(2 * order - round(2 * order)) > OFF_HALF for order in lines.orders)


def switched_note(verdict: VerdictName, lines: FaultLines) -> list[str]:
    """A word of warning with the cure of what turns on its own."""
    if verdict != "cured" or not (lines.hz or _own_ratio(lines)):
        return []
    return [
        "Such a line is also gone while its fan or unit does not run: make sure that it ran in both "
        "recordings."
    ]

"""What a person calls a recording: 'neutral at idle', so that a sentence can say 'in neutral at idle'.

The file's name comes in only where that does not tell it from another of the same job, or where nobody said
how it was made.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from vibecore.model import Analysis, Condition

HOLD = {
    "idle": "at idle",
    "raised": "at raised idle",
    "sweep": "with the speed swept",
    "engine off": "with the engine off",
}
UNSAID_GEAR = "the recording"  # with the engine off no gear is needed, and it is seldom said


def spoken_names(analyses: Sequence[Analysis]) -> tuple[str, ...]:
    """A name for each of a job's recordings, no two alike."""
    conditions = [a.condition for a in analyses]
    names = _told_by_place([spoken(c) for c in conditions], conditions)
    files, times = Counter(a.name for a in analyses), Counter(names)
    found = []
    for number, (name, analysis) in enumerate(zip(names, analyses, strict=True), start=1):
        file = analysis.name if files[analysis.name] == 1 else f"{analysis.name}, recording {number}"
        if not name:
            found.append(file)
        else:
            found.append(f"{name} ({file})" if times[name] > 1 else name)
    return tuple(found)


def spoken_by_file(analyses: Sequence[Analysis]) -> dict[str, str]:
    """The same by the name of the file."""
    return {a.name: name for a, name in zip(analyses, spoken_names(analyses), strict=True)}


def spoken(condition: Condition) -> str:
    """How it was made, to be said behind 'in'; empty if neither gear nor speed was said."""
    if condition.gear is None and condition.speed_hold is None:
        return ""
    words = made(condition)
    return words if words.startswith(condition.gear or UNSAID_GEAR) else f"{UNSAID_GEAR} {words}"


def made(condition: Condition) -> str:
    """The same with nothing in the gear's stead where none was said; empty if nothing was."""
    gear, hold = condition.gear, condition.speed_hold
    parts = [
        gear if gear and hold != "engine off" else "",
        HOLD[hold] if hold else "",
        f"with {' and '.join(condition.accessories)}" if condition.accessories else "",
        "after the repair" if condition.stage == "after" else "",
        "taped on anew" if condition.taped_anew else "",
    ]
    return " ".join(filter(None, parts))


def _told_by_place(names: Sequence[str], conditions: Sequence[Condition]) -> list[str]:
    """The same names, with the phone's place where that tells a recording from one of the same name."""
    placed = [
        f"{name} on the {c.place}" if name and c.place else name
        for name, c in zip(names, conditions, strict=True)
    ]
    times, times_placed = Counter(names), Counter(placed)
    return [
        full if times[name] > 1 and times_placed[full] == 1 else name
        for name, full in zip(names, placed, strict=True)
    ]

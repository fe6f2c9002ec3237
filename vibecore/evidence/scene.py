"""Which recording of the job is which: neutral idle, in gear, raised, engine off, unit on; and where the
phone was.

What the car shows before a repair is one scene, unless there is nothing from before it, and after it another;
no recording whose own words contradict each other counts. Levels are compared at one place only (the one with
most recordings), because the path from the engine differs from place to place.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from vibecore.model import Analysis, Place

Role = Literal["neutral", "drive", "raised", "unit on", "engine off", "sweep", "road"]

# A recording whose hold nobody told counts as raised when it runs this many times the lowest speed.
RAISED_TIMES = 1.2
# Where the driver feels the shake comes first when two places have as many recordings; None: nobody said.
PLACE_ORDER: tuple[Place | None, ...] = ("steering wheel", None, "seat", "floor", "body", "engine")


@dataclass(frozen=True, eq=False)
class Scene:
    """The recordings that count, sorted by role. place: where the levels are compared (None: nobody said)."""

    before: tuple[Analysis, ...]
    place: Place | None
    by_role: dict[Role, tuple[Analysis, ...]]  # at `place`

    def role(self, role: Role) -> tuple[Analysis, ...]:
        return self.by_role.get(role, ())

    @property
    def running(self) -> tuple[Analysis, ...]:
        """Every recording with the engine's speed known, at the place of comparison."""
        return tuple(a for group in self.by_role.values() for a in group if a.speed and a.orders)


def scene_of(analyses: Sequence[Analysis]) -> Scene:
    """Sort a job's recordings by what they show."""
    before = tuple(a for a in analyses if a.condition.stage == "before") or tuple(analyses)
    return _scene(before, _main_place(before))


def mended_scene(analyses: Sequence[Analysis], scene: Scene) -> Scene | None:
    """The same after a repair, the last recording of each kind, at the same place; None without such."""
    after = last_of_each_kind([a for a in analyses if a.condition.stage == "after"])
    return None if len(scene.before) == len(analyses) else _scene(after, scene.place)


def made_alike(scene: Scene, after: Scene) -> list[tuple[Analysis, Analysis]]:
    """Recordings of the running car that stands, before a repair and after it, made in one way."""
    roles: tuple[Role, ...] = ("neutral", "drive", "unit on", "raised")
    return [(before, now) for role in roles for before in scene.role(role) for now in after.role(role)]


def last_of_each_kind(afters: Sequence[Analysis]) -> tuple[Analysis, ...]:
    """After several repairs the last visit counts, in each gear, place and so on."""
    return tuple({a.condition.way: a for a in afters}.values())


def _scene(recorded: tuple[Analysis, ...], place: Place | None) -> Scene:
    here = [a for a in recorded if a.condition.place == place and not a.condition.contradicted]
    lowest = min((a.speed.mean_rpm for a in here if a.speed), default=None)
    by_role: dict[Role, tuple[Analysis, ...]] = {}
    for analysis in here:
        role = _role(analysis, lowest)
        by_role[role] = (*by_role.get(role, ()), analysis)
    if "neutral" not in by_role and "drive" not in by_role and "unit on" in by_role:
        by_role["neutral"] = by_role.pop("unit on")  # nothing to compare the unit with
    return Scene(recorded, place, by_role)


def _main_place(before: Sequence[Analysis]) -> Place | None:
    counts = Counter(a.condition.place for a in before)
    return min(counts, key=lambda p: (p == "engine", -counts[p], PLACE_ORDER.index(p)), default=None)


def _role(analysis: Analysis, lowest_rpm: float | None) -> Role:
    condition = analysis.condition
    if condition.speed_hold == "engine off":
        return "engine off"
    if condition.speed_hold == "sweep":
        return "sweep"
    if condition.on_road:
        return "road"
    rpm = analysis.speed.mean_rpm if analysis.speed else None
    fast = rpm is not None and lowest_rpm is not None and rpm > RAISED_TIMES * lowest_rpm
    if condition.speed_hold == "raised" or (condition.speed_hold is None and fast):
        return "road" if condition.in_gear else "raised"  # nobody revs against the brake
    if condition.accessories:
        return "unit on"
    return "drive" if condition.in_gear else "neutral"

"""What each cause does to the levels, as numbers: the physics of the design, in decibels.

Model. The level vector x (dB re 1 m/s2; families x conditions) of a car with cause c is

    x = sound + g 1 + h_family + e + u * pattern_c,   u about 1, spread SEVERITY_SPREAD

g: how well the car's body and the phone's place pass on shake, common to all levels; h: how this car's path
treats one family; e: what gear and speed change on top. u scales the fault from barely felt to gross. All
are taken as normal in decibels, so x is multivariate normal with a covariance that says which levels move
together; heavy tails are added where it is used. A gain common to all levels then tells nothing, as it
should.

What sound cars show, and the spreads of g, h and e, stand in `sound_cars`. What faults add follows the
physics named beside it and was set, to whole decibels, with simulated cars of the tuning seeds in view.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from vibecore.constants import NOT_LISTED, SOUND
from vibecore.model import Place
from vibecore.sound_cars import Family

SEVERITY_SPREAD = 0.35  # u: from barely felt to gross


@dataclass(frozen=True)
class Pattern:
    """What a cause adds to the levels at its usual size, dB; families and conditions left out: nothing.

    own_spread: further spread of a family's conditions among cars with this cause, dB. family_spread: h
    where the fault drowns what a sound car shows there, and so also how that differs from car to car.
    share: how often the cause shows itself this way (the shares of a cause add up to 1)."""

    adds: dict[Family, tuple[float, float, float]]  # neutral, drive, raised
    own_spread: dict[Family, float]
    why: str
    share: float = 1.0
    family_spread: Mapping[Family, float] = field(default_factory=dict)


NOTHING = (0.0, 0.0, 0.0)
# What these do shows behind the mounts, not on the engine itself.
BEHIND_MOUNTS = ("engine-mount", "idle-resonance", "exhaust-contact")
PATTERNS: dict[str, tuple[Pattern, ...]] = {
    SOUND: (Pattern({}, {}, "sound"),),
    "cylinder-misfire": (
        Pattern(
            {"half": (28.0, 28.0, 26.0), "one": (15.0, 15.0, 11.0), "ground": (2.0, 2.0, 2.0)},
            {"half": 3.0, "one": 4.0},
            "one missing torque pulse a cycle has half orders and order 1 nearly as strong as the firing "
            "order; they lie lower in frequency, where mounts pass more",
            0.85,
            family_spread={"half": 6.0, "one": 5.0},
        ),
        Pattern(
            {"half": (22.0, 22.0, 20.0), "ground": (2.0, 2.0, 2.0)},
            {"half": 4.0, "one": 4.0},
            "several cylinders that differ steadily may cancel at order 1, as one alone never does",
            0.15,
            family_spread={"half": 6.0},
        ),
    ),
    "uneven-combustion": (
        Pattern(
            {"half": (16.0, 16.0, 13.0), "one": (5.0, 5.0, 2.0), "ground": (14.0, 15.0, 12.0)},
            {"half": 4.0},
            "pulses that differ from cycle to cycle spread over the half orders and the ground between",
            family_spread={"half": 7.0},
        ),
    ),
    "engine-mount": (
        Pattern(
            {
                "firing": (10.0, 14.0, 9.0),
                "second": (14.0, 18.0, 8.0),
                "half": (1.0, 4.0, 1.0),
                "one": (1.0, 1.0, 2.0),
                "ground": (3.0, 6.0, 2.0),
            },
            {"firing": 2.0, "second": 5.0, "one": 3.0},
            "rubber that is bridged passes the firing order and its multiples, more when torque presses",
            0.7,
        ),
        Pattern(
            {
                "firing": (2.0, 14.0, 2.0),
                "second": (2.0, 18.0, 2.0),
                "half": (0.0, 3.0, 0.0),
                "one": (0.0, 1.0, 0.0),
                "ground": (0.0, 5.0, 0.0),
            },
            {"firing": 2.0, "second": 5.0, "one": 3.0},
            "a gap that closes only when torque presses: nothing to see until it is in gear",
            0.3,
        ),
    ),
    "rotating-imbalance": (
        Pattern(
            {"one": (20.0, 20.0, 22.0)}, {"one": 3.0}, "a force that turns with the crank, whatever the gear"
        ),
    ),
    "idle-resonance": (
        Pattern(
            {"firing": (14.0, 13.0, 0.0)},
            {"firing": 3.0},
            "the firing order sits on a natural frequency at idle and leaves it when the idle is raised",
            0.4,
        ),
        Pattern({"firing": (13.0, 4.0, 0.0)}, {"firing": 3.0}, "the same, met in neutral only", 0.25),
        Pattern({"firing": (4.0, 13.0, 0.0)}, {"firing": 3.0}, "the same, met in gear only", 0.35),
    ),
    "exhaust-contact": (
        Pattern(
            {
                "firing": (4.0, 7.0, 4.0),
                "second": (19.0, 20.0, 6.0),
                "half": (2.0, 2.0, 0.0),
                "ground": (4.0, 5.0, 2.0),
            },
            {"firing": 3.0, "second": 6.0, "half": 4.0, "ground": 4.0},
            "metal that meets metal turns the firing order into its multiples and rattle, while the engine "
            "rocks far enough: less of it when the idle is raised",
            0.3,
            family_spread={"second": 5.0},
        ),
        Pattern(
            {
                "second": (15.0, 17.0, 5.0),
                "half": (1.0, 1.0, 0.0),
                "ground": (3.0, 4.0, 1.0),
            },
            {"firing": 2.0, "second": 6.0, "half": 3.0, "ground": 3.0},
            "a light touch: the engine rocks as before, its multiples and some rattle are new",
            0.17,
        ),
        Pattern(
            {
                "firing": (6.0, 7.0, 4.0),
                "second": (19.0, 20.0, 8.0),
                "half": (15.0, 15.0, 4.0),
                "one": (4.0, 4.0, 0.0),
                "ground": (12.0, 12.0, 5.0),
            },
            {"second": 5.0, "half": 4.0, "one": 4.0, "ground": 4.0},
            "a hanging part that swings out of step strikes at one firing and misses the next",
            0.25,
            family_spread={"second": 5.0},
        ),
        Pattern(
            {
                "firing": (1.0, 12.0, 1.0),
                "second": (1.0, 18.0, 1.0),
                "half": (0.0, 3.0, 0.0),
                "one": (0.0, 1.0, 0.0),
                "ground": (0.0, 5.0, 0.0),
            },
            {"firing": 4.0, "second": 6.0, "half": 3.0, "one": 3.0, "ground": 3.0},
            "torque leans the engine over and the pipe with it, until it touches: nothing to see until it is "
            "in gear, as with a mount's gap",
            0.1,
        ),
        Pattern(
            {"second": (2.0, 17.0, 2.0), "ground": (0.0, 6.0, 0.0)},
            {"firing": 2.0, "second": 6.0, "half": 3.0, "ground": 3.0},
            "a light touch that comes with the lean in gear",
            0.1,
        ),
        Pattern(
            {"second": (17.0, 2.0, 5.0), "ground": (6.0, 0.0, 2.0)},
            {"firing": 2.0, "second": 6.0, "half": 3.0, "ground": 3.0},
            "a light touch that the lean in gear parts",
            0.08,
        ),
    ),
    "driveline": (
        Pattern(
            {"ground": (0.0, 14.0, 0.0), "half": (0.0, 12.0, 0.0), "one": (0.0, 6.0, 0.0)},
            {"ground": 3.0, "half": 4.0, "one": 4.0},
            "judder under load is a broad low shake that is there in gear only",
            0.28,
        ),
        Pattern(
            {"ground": (0.0, 11.0, 0.0), "half": (0.0, 10.0, 0.0), "one": (0.0, 19.0, 0.0)},
            {"ground": 4.0, "half": 4.0, "one": 3.0},
            "judder, and a converter out of true beside it",
            0.14,
        ),
        Pattern(
            {"one": (0.0, 19.0, 0.0)},
            {"one": 3.0},
            "a converter out of true turns with the crank, loaded",
            0.28,
        ),
        Pattern({}, {}, "a turbine or a shaft behind it turns at no half order: see the other lines", 0.3),
    ),
    "accessory-drive": (Pattern({}, {}, "its lines are no half orders: see the other lines"),),
    "cooling-fan": (Pattern({}, {}, "its lines are no half orders: see the other lines"),),
    NOT_LISTED: (
        Pattern(
            {},
            {"firing": 8.0, "half": 8.0, "one": 8.0, "second": 8.0, "ground": 8.0},
            "anything may be raised",
        ),
    ),
}


def shown_as(cause: str, place: Place | None) -> str:
    """The cause whose pattern is to be expected of this one where the phone was."""
    return SOUND if place == "engine" and cause in BEHIND_MOUNTS else cause

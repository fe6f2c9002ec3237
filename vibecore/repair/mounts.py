"""How much a mount holds back: the same order on its engine side and on its body side.

Transmissibility here is the ratio of accelerations, body side over engine side, in decibels. A spring and
damper between a moving side and a free mass pass sqrt((1 + (2 z r)^2) / ((1 - r^2)^2 + (2 z r)^2)), r = f /
f0, z the damping ratio (any textbook on vibration): 0 dB at r = sqrt(2), less above.
"""

from __future__ import annotations

import numpy as np

from vibecore.constants import DEFAULT_PLACING_DB, SPEED_SD_DB_PER_OCTAVE
from vibecore.engine import Engine
from vibecore.model import Analysis, OrderChange
from vibecore.repair.likeness import SPEED_LIMIT_SHARE
from vibecore.repair.lines import order_changes
from vibecore.units import signed, times, times_against

# Aim for an engine mount, acceleration of active over passive side 10 : 1. Rule of thumb, from memory.
ISOLATION_AIM_DB = -20.0


def transmissibility(
    engine_side: Analysis, body_side: Analysis, *, placing_db: float = DEFAULT_PLACING_DB
) -> tuple[OrderChange, ...]:
    """Body side over engine side for every order that both recordings show, in dB with its 95 % interval.

    Empty when either speed is not known or the two are too far apart. A difference in speed widens the
    interval.
    """
    if engine_side.speed is None or body_side.speed is None:
        return ()
    octaves = abs(np.log2(body_side.speed.mean_rpm / engine_side.speed.mean_rpm))
    if octaves > np.log2(1 + SPEED_LIMIT_SHARE):
        return ()
    extra = float(np.hypot(placing_db, SPEED_SD_DB_PER_OCTAVE * octaves))
    return order_changes(engine_side, body_side, extra)


def isolation_note(changes: tuple[OrderChange, ...], engine: Engine) -> str | None:
    """What the mount does at the firing order against the aim of 20 dB, in words; None if that is not
    seen."""
    firing = next((c for c in changes if c.order == engine.firing_order), None)
    if firing is None:
        return None
    held = f"At the firing order the body side shakes {times_against(firing.change_db)} the engine side"
    held += f" ({signed(firing.change_db)} dB, {signed(firing.low_db)} to {signed(firing.high_db)})"
    aim = f"the usual aim of {times(ISOLATION_AIM_DB)} ({ISOLATION_AIM_DB:.0f} dB)"
    if firing.low_db > 0:
        return f"{held}: the mount makes it worse, as near its own natural frequency or when it is bridged."
    if firing.high_db < ISOLATION_AIM_DB:
        return f"{held}: better than {aim}."
    if firing.low_db > ISOLATION_AIM_DB:
        return f"{held}: short of {aim}."
    return f"{held}: about {aim}."

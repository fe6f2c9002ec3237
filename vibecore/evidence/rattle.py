"""Rattle: broad shake above the engine's last order that comes or goes with the gear.

Metal that strikes metal rings far above the engine's orders. What the phone itself hisses there, and what a
fan or the road adds, is alike in neutral and in gear; but an engine that leans with the load closes a gap or
opens it.
"""

from __future__ import annotations

import math

from vibecore.constants import WHOLE_SHARE
from vibecore.engine import Vehicle
from vibecore.evidence.ground import between_db
from vibecore.evidence.likelihood import Finding, Presence
from vibecore.evidence.scene import Role, Scene
from vibecore.model import Analysis
from vibecore.units import signed, times_against

LEAST_SPAN = 1.3  # highest over lowest frequency, to be a band at all
LEAST_CHANGE_DB = 2.0  # one phone's noise scatters by half as much from recording to recording
# Chance that it changes by more, and the rattle's share of its recording's whole shake (dB): of 105 simulated
# cars of six worlds without this fault a third had one, of -27 dB, spread 6.5; of ten with it, nine.
CHANGES = Presence((0.33, -26.0, 7.0), {"exhaust-contact": (0.6, -12.0, 7.0)})


def rattle_with_gear(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """How much of the shake rattles in gear and not in neutral, or the other way round."""
    last = vehicle.engine.orders[-1] + 0.5
    neutral, drive = (_first(scene, role) for role in ("neutral", "drive"))
    if neutral is None or drive is None or neutral.speed is None or drive.speed is None:
        return None
    fastest_hz = max(neutral.speed.turns_hz, drive.speed.turns_hz)
    slowest_rate = min(a.recording.sample_rate_hz for a in (neutral, drive))
    band_hz = last * fastest_hz, WHOLE_SHARE * slowest_rate
    if band_hz[1] < LEAST_SPAN * band_hz[0]:
        return None
    levels = between_db(neutral, band_hz), between_db(drive, band_hz)
    if levels[0] is None or levels[1] is None:
        return None
    change = levels[1] - levels[0]
    more, less, louder = (drive, neutral, levels[1]) if change > 0 else (neutral, drive, levels[0])
    text = f"the shake between the orders over {band_hz[0]:.0f} Hz in {more.name} is"
    text += f" {times_against(abs(change))} in {less.name} ({signed(abs(change), 0)} dB)"
    if abs(change) < LEAST_CHANGE_DB:
        logs = CHANGES.log_likelihood(None)
    else:
        rattles = louder + 10 * math.log10(1 - 10 ** (-abs(change) / 10))
        logs = CHANGES.log_likelihood(rattles - 20 * math.log10(more.overall.rms_m_s2))
    return Finding("rattle", text, logs, (more.name, less.name))


def _first(scene: Scene, role: Role) -> Analysis | None:
    return next((a for a in scene.role(role) if a.orders and a.overall.rms_m_s2 > 0), None)

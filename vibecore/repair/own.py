"""A fault's own lines in one recording, each with what a sound car shows there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vibecore.engine import Engine
from vibecore.model import Analysis, FaultLines
from vibecore.repair.lines import (
    Level,
    level_at_hz,
    level_at_order,
    level_between_orders,
    level_of_whole,
    total,
)
from vibecore.sound_cars import BETWEEN_ORDERS, NO_ORDER, SoundLevel, joined, sound_level
from vibecore.units import order_text

# A drive shakes as its road and its speed have it: what turns with the wheels is judged by what lies beside
# it, up to twice and down to half its frequency. Balanced wheels and shafts leave a line of about as much,
# some a good deal more (common practice, no source).
_BESIDE = (0.5, 0.8, 1.25, 2.0)
_ROAD_SPREAD_DB = 12.0


@dataclass(frozen=True)
class OwnLine:
    """level: None where the recording cannot show it. order: None for what is no order."""

    name: str
    level: Level | None
    sound: SoundLevel
    order: float | None = None


def own_lines(analysis: Analysis, lines: FaultLines, engine: Engine | None) -> list[OwnLine]:
    """Each of these lines in this recording, in the order of the record's fields."""
    place = analysis.condition.place
    found = [
        OwnLine(order_text(o), level_at_order(analysis, o), sound_level(o, engine, place), o)
        for o in lines.orders
    ]
    alone = NO_ORDER.at(place)
    found += [OwnLine(f"{hz:.1f} Hz", level_at_hz(analysis, hz), alone) for hz in lines.hz]
    if lines.between is not None:
        level = level_between_orders(analysis, lines.between)
        found.append(OwnLine("between the half orders", level, BETWEEN_ORDERS.at(place)))
    if lines.band_hz is not None:
        low, high = lines.band_hz
        sound = _sound_in_band(analysis, low, high, engine)
        found.append(OwnLine(f"{low:.0f} to {high:.0f} Hz", level_of_whole(analysis, low, high), sound))
    return found


def together(analysis: Analysis, lines: FaultLines, engine: Engine | None) -> tuple[Level, SoundLevel] | None:
    """Level of all of them that the recording shows, and of a sound car on the same; None if none."""
    seen = [(p.level, p.sound) for p in own_lines(analysis, lines, engine) if p.level is not None]
    if not seen:
        return None
    return total([level for level, _ in seen]), joined([sound for _, sound in seen])


def _sound_in_band(analysis: Analysis, low_hz: float, high_hz: float, engine: Engine | None) -> SoundLevel:
    """What a sound car shows in the band: its orders there, and what lies between them."""
    place, speed = analysis.condition.place, analysis.speed
    if analysis.condition.on_road:
        return _road_beside(analysis, low_hz, high_hz)
    inside: list[float] = []
    if engine is not None and speed is not None:
        low, high = (hz / speed.turns_hz for hz in (low_hz, high_hz))
        inside = [o for o in engine.orders if low <= o <= high]
    return joined([BETWEEN_ORDERS.at(place), *(sound_level(o, engine, place) for o in inside)])


def _road_beside(analysis: Analysis, low_hz: float, high_hz: float) -> SoundLevel:
    """What the road makes beside the band, over the band's width, and a line of as much."""
    spectrum, middle = analysis.spectrum_hz, (low_hz + high_hz) / 2
    share = spectrum.x / middle
    beside = ((share > _BESIDE[0]) & (share < _BESIDE[1])) | ((share > _BESIDE[2]) & (share < _BESIDE[3]))
    ms = 2 * float(np.median(spectrum.psd[beside])) * (high_hz - low_hz) if beside.any() else 0.0
    return SoundLevel(10 * math.log10(max(ms, 1e-12)), _ROAD_SPREAD_DB)

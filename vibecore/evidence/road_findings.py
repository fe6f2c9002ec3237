"""Findings from the road: that it was recorded there, and what turns with the wheels.

A line counts by how far it stands over all else that shakes there: wheels balanced to a few grams and tyres a
little out of round show theirs in any car. The numbers are common practice, no source, set with simulated
cars of the tuning seeds in view.
"""

from __future__ import annotations

import math

from vibecore.constants import SAME_LINE_HZ, SOUND, SWAY_HZ
from vibecore.engine import Engine, Vehicle
from vibecore.evidence.likelihood import Finding, Presence
from vibecore.evidence.line_findings import line_words
from vibecore.evidence.scene import Scene
from vibecore.model import Analysis, Line
from vibecore.sound_cars import WHOLE
from vibecore.spectra import band_rms
from vibecore.speed import LEAST_CONFIDENCE

# Wheels of 0.55-0.75 m across at 60-130 km/h turn 7-21 times a second; shafts turn 2.5-4.5 times as fast.
WHEEL, SHAFT = (7.0, 21.0), (21.0, 85.0)
ROAD_HZ = {"wheel-imbalance": WHEEL, "propshaft": SHAFT}
IN_BAND = 0.85  # of these faults the strongest line lies in its own band
ROAD_OWN = 0.9  # of the road's faults are recorded there
ROAD_ONLY, ROAD_TOO = 0.003, 0.1  # of the others recorded there only, and there as well as standing
# Chance that a line stands out there, and how far over the rest (`_over_rest_db`).
STANDS_OVER = Presence((0.9, -6.0, 7.0), dict.fromkeys(ROAD_HZ, (0.98, 5.0, 5.0)))
# A tyre that is not round shakes on multiples of the wheel's rate too; met by a mode one may be stronger than
# the wheel's own line. No axle turns its shaft twice a wheel turn, few three times.
MULTIPLES, SAME_MULTIPLE = (2, 3), 0.003  # share: strong lines are read to 0.03 Hz
LEAST_MS = 1e-12  # (m/s2)^2: no line is weaker
MOST_OVER_OWN = 2.0  # times the own line's rms: what stands farther over it turns by itself


def on_the_road(scene: Scene, _vehicle: Vehicle) -> Finding | None:
    """Whether the recordings were made on the road: people record there what shakes there."""
    road = scene.role("road")
    if not road:
        return None
    standing = len(scene.before) > len(road)
    others = ROAD_TOO if standing else ROAD_ONLY
    log_likelihood = {SOUND: math.log(others)} | {cause: math.log(ROAD_OWN) for cause in ROAD_HZ}
    names = tuple(a.name for a in road)
    text = f"recorded on the road ({' and '.join(names)})"
    return Finding("road", text, log_likelihood, names, any_speed=True)


def strongest_line_on_the_road(scene: Scene, vehicle: Vehicle) -> Finding | None:
    """How far the line that stands out most stands over the rest, and where in hertz: wheels and shafts turn
    in bands of their own."""
    road = scene.role("road")
    if not road:
        return None
    found = [
        (line, a)
        for a in road
        for line in a.lines
        if WHEEL[0] <= line.frequency_hz <= SHAFT[1] and not _is_firing(line, a, vehicle.engine)
    ]
    best = max(found, key=lambda pair: _over_rest_db(*pair), default=None)
    if best is None:
        names = tuple(a.name for a in road)
        text = f"no line of what turns with the wheels stands out in {' or '.join(names)}"
        return Finding("road line", text, STANDS_OVER.log_likelihood(None), names, any_speed=True)
    line, analysis = best
    text = f"{line_words(line)} stands out most on the road, in {analysis.name}"
    chances = {SOUND: 1 / len(ROAD_HZ)}
    for cause, (low, high) in ROAD_HZ.items():
        chances[cause] = IN_BAND if low <= line.frequency_hz <= high else 1 - IN_BAND
    strong = STANDS_OVER.log_likelihood(_over_rest_db(line, analysis))
    logs = {cause: math.log(chance) + strong[cause] for cause, chance in chances.items()}
    return Finding("road line", text, logs, (analysis.name,), any_speed=True)


def _over_rest_db(line: Line, analysis: Analysis) -> float:
    """20 log10 of the rms of a line and its multiples over all else that shakes above the body's sway, or
    over what most sound cars shake at idle, if that is more."""
    spectrum = analysis.spectrum_hz
    whole = band_rms(spectrum, SWAY_HZ, float(spectrum.x[-1])) if len(spectrum.x) > 1 else 0.0
    mine = line.rms_m_s2**2 + sum(other.rms_m_s2**2 for other in _multiples(line, analysis))
    usual = WHOLE.at(analysis.condition.place).band_m_s2[1]
    return 10 * math.log10(max(mine, LEAST_MS) / max(whole**2 - mine, usual**2))


def _is_firing(line: Line, analysis: Analysis, engine: Engine) -> bool:
    """Whether it is the engine's firing, as far as its speed is sure."""
    speed = analysis.speed
    if speed is None or speed.confidence < LEAST_CONFIDENCE:
        return False
    return any(
        abs(line.frequency_hz - order * speed.turns_hz) < max(SAME_LINE_HZ, order * speed.steadiness_rpm / 60)
        for order in engine.firing_orders(2)
    )


def _multiples(line: Line, analysis: Analysis) -> list[Line]:
    return [
        other
        for other in analysis.lines
        for times in MULTIPLES
        if abs(other.frequency_hz / line.frequency_hz / times - 1) < SAME_MULTIPLE
        and other.rms_m_s2 <= MOST_OVER_OWN * line.rms_m_s2
    ]

"""The natural frequency that a car's firing order meets as the engine's speed changes, in words."""

from __future__ import annotations

from collections.abc import Sequence

from vibecore.engine import Engine
from vibecore.model import Analysis
from vibecore.resonance import Resonance, fit, idle_note, order_points

WEIGHED = "Whether the idle sits near one is weighed on Causes."
LEAST_RATIO = 1.1  # highest over lowest speed: below it no recording shows more than a slope


def natural_frequency(chosen: Analysis, analyses: Sequence[Analysis], engine: Engine) -> str:
    """What the recordings made before a repair, or all after it, at the place of the chosen one tell of a
    natural frequency; empty where the engine's speed was hardly changed."""
    how = chosen.condition
    alike = [
        a
        for a in analyses
        if a.speed is not None and (a.condition.place, a.condition.stage) == (how.place, how.stage)
    ]
    speeds = [rpm for a in alike if a.speed is not None for rpm in (a.speed.rpm.min(), a.speed.rpm.max())]
    if chosen.speed is None or max(speeds) < LEAST_RATIO * min(speeds):
        return ""
    order = engine.firing_order
    found = fit([order_points(a.signal, a.speed, order) for a in alike if a.speed is not None])
    if not isinstance(found, Resonance):
        return (
            f"The natural frequency about the firing order ({order:g}) and its damping cannot be measured "
            f"from these speeds. {found.why} {WEIGHED}"
        )
    return f"{idle_note(found, order * chosen.speed.turns_hz)} {_damping_words(found)}"


def _damping_words(found: Resonance) -> str:
    """Damping and what it does, with 95 % intervals."""
    damping = (100 * z for z in (found.damping, found.low_damping, found.high_damping))
    times = (found.amplification, found.low_amplification, found.high_amplification)
    return (
        "Damping {:.0f} % of critical ({:.0f} to {:.0f}); right on it a shake would be lifted "
        "{:.1f} times ({:.1f} to {:.1f})."
    ).format(*damping, *times)

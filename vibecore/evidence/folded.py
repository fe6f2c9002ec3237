"""Lines of a slow phone that are the engine's own, folded down.

The sampling theorem shows a line of f hertz at |fs - f|. On no order where it is seen, and elsewhere at
another speed, it would pass for a belt's or a fan's.
"""

from __future__ import annotations

from dataclasses import replace

from vibecore.constants import SAME_LINE_HZ
from vibecore.engine import Engine, fold, what_can_be_seen
from vibecore.evidence.scene import Scene
from vibecore.model import Analysis, Line


def without_folded(scene: Scene, engine: Engine) -> Scene:
    """The scene without the lines that stand where an order folds to that a sound engine shows."""
    cleared = {role: tuple(_cleared(a, engine) for a in group) for role, group in scene.by_role.items()}
    return replace(scene, by_role=cleared)


def _cleared(analysis: Analysis, engine: Engine) -> Analysis:
    if analysis.speed is None or analysis.orders is None:
        return analysis
    fs_hz, turns_hz = analysis.recording.sample_rate_hz, analysis.speed.turns_hz
    loud = engine.normal_orders()
    hidden = [v for v in what_can_be_seen(engine, turns_hz, fs_hz) if v.order in loud and not v.visible]
    if not hidden:
        return analysis
    wander = analysis.speed.steadiness_rpm / analysis.speed.mean_rpm
    near = [
        (fold(v.frequency_hz, fs_hz).seen_at_hz, max(SAME_LINE_HZ, wander * v.frequency_hz)) for v in hidden
    ]

    def keep(lines: tuple[Line, ...]) -> tuple[Line, ...]:
        return tuple(ln for ln in lines if all(abs(ln.frequency_hz - hz) > reach for hz, reach in near))

    orders = replace(analysis.orders, other_lines=keep(analysis.orders.other_lines))
    return replace(analysis, lines=keep(analysis.lines), orders=orders)

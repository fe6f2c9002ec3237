"""The one place where the order of the steps is written. Pure: records in, records out."""

from __future__ import annotations


from vibecore import comfort
from vibecore.conditioning import condition as make_ready
from vibecore.engine import Engine
from vibecore.model import Analysis, Condition, Recording
from vibecore.orders import lines_in_hertz, measure_orders
from vibecore.speed import find_speed


def analyze(recording: Recording, engine: Engine | None, condition: Condition) -> Analysis:
    """Everything that can be read from one recording.

    engine None: the cylinders are not known; the speed is then looked for among usual engines and no order table is
    made, for nobody could say which order is the firing order.
    """
    signal = make_ready(recording)
    answer = find_speed(signal, engine, condition)
    lines, spectrum = lines_in_hertz(signal)
    orders = None
    if answer.track is not None and engine is not None:
        orders = measure_orders(signal, answer.track, engine)
    warnings = (*recording.warnings, *signal.warnings, *answer.warnings)
    overall = comfort.overall(signal, condition.place)
    return Analysis(
        recording,
        signal,
        answer.track,
        orders,
        lines,
        spectrum,
        overall,
        condition,
        tuple(dict.fromkeys(warnings)),
    )

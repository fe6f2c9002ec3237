"""Analyses made by hand from order levels: what the pipeline would hand over, with known contents."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from vibecore.causes.ranking import rank
from vibecore.engine import Engine, Vehicle
from vibecore.evidence import CauseEvidence, gather
from vibecore.model import (
    Analysis,
    Condition,
    Gear,
    Line,
    OrderLevel,
    OrderTable,
    Overall,
    Place,
    Recording,
    Signal,
    Spectrum,
    SpeedHold,
    SpeedTrack,
    Stage,
)

FOUR = Vehicle(Engine(4), transmission="automatic")
FS_HZ = 200.0
# A sound four as the model has it: firing 0.1, order 1 0.018, half orders 0.008 m/s2.
SOUND = {0.5: 0.0065, 1.0: 0.018, 1.5: 0.0045, 2.0: 0.1, 2.5: 0.004, 3.0: 0.006, 3.5: 0.004, 4.0: 0.016}


def made(
    name: str,
    orders: Mapping[float, float] | None = None,
    *,
    rpm: float | None = 700.0,
    gear: Gear = "neutral",
    hold: SpeedHold = "idle",
    stage: Stage = "before",
    place: Place = "steering wheel",
    accessories: tuple[str, ...] = (),
    lines: Sequence[Line] = (),
    ground: float = 0.03,
    coherence: float | None = 0.5,
    wander: float = 0.008,
    confidence: float = 1.0,
    fs_hz: float = FS_HZ,
    engine: Engine = FOUR.engine,
    whole: float = 0.1,
) -> Analysis:
    """orders: rms by order, those left out are as SOUND. rpm None: speed not known. whole: rms of all."""
    t = np.arange(0.0, 20.0, 1 / fs_hz)
    recording = Recording(name, t, np.zeros((len(t), 3)), fs_hz, False, len(t), 0)
    signal = Signal(fs_hz, 0.0, np.zeros((len(t), 3)), np.ones(len(t), bool), (0.0, 20.0), True, 0.0)
    spectrum_hz = Spectrum(np.arange(0.0, fs_hz / 2), np.zeros(int(fs_hz / 2)), "hertz")
    speed = None
    table = None
    if rpm is not None:
        angle = t * rpm / 60
        track = np.full(40, rpm)
        speed = SpeedTrack(
            np.linspace(0, 20, 40), track, rpm, rpm, rpm, wander * rpm, confidence, "vibration", angle
        )
        table = order_table({**SOUND, **(orders or {})}, rpm, fs_hz, engine, lines, ground, coherence)
    condition = Condition(place, gear, hold, stage, None, accessories)
    overall = Overall(whole, None, None, None)
    return Analysis(recording, signal, speed, table, tuple(lines), spectrum_hz, overall, condition)


def order_table(
    orders: Mapping[float, float],
    rpm: float,
    fs_hz: float,
    engine: Engine,
    lines: Sequence[Line],
    ground: float,
    coherence: float | None,
) -> OrderTable:
    levels = []
    for order in engine.orders:
        hz = order * rpm / 60
        rms = orders.get(order, 0.004)
        if hz > 0.46 * fs_hz:
            levels.append(
                OrderLevel(order, hz, None, None, None, None, None, False, "above half the sample rate")
            )
        else:
            levels.append(OrderLevel(order, hz, rms, 0.9 * rms, 1.1 * rms, 20.0, coherence, True))
    x = np.arange(0.0, min(engine.orders[-1] + 1, 0.46 * fs_hz / (rpm / 60)), 1 / 64)
    psd = np.full(len(x), ground**2 / engine.orders[-1] * 2)
    return OrderTable(tuple(levels), tuple(lines), Spectrum(x, psd, "order"), 0.0, 0.0, ground**2, 1.0)


def job(
    neutral: Mapping[float, float], drive: Mapping[float, float], raised: Mapping[float, float]
) -> list[Analysis]:
    """Neutral at 700, in gear at 640, raised at 1100 rpm."""
    return [
        made("neutral-idle", neutral),
        made("drive-idle", drive, rpm=640.0, gear="drive"),
        made("raised-idle", raised, rpm=1100.0, hold="raised"),
    ]


def combined_db(evidence: Iterable[CauseEvidence]) -> Counter[str]:
    """Sum of the log ratios of each cause, dB."""
    total: Counter[str] = Counter()
    for item in evidence:
        total[item.cause] += item.log_ratio_db
    return total


def first(analyses: Sequence[Analysis], vehicle: Vehicle) -> str:
    """The likeliest cause by the recordings alone."""
    return rank(gather(analyses, vehicle))[0].id


def line(order: float, rpm: float, rms: float, drifts: str = "unknown") -> Line:
    return Line(order * rpm / 60, order, rms, 20.0, drifts)  # type: ignore[arg-type]


def notes_of(evidence: Iterable[CauseEvidence]) -> list[str]:
    """What is said beside the findings."""
    return [e.evidence.text for e in evidence if e.evidence.says == "note"]

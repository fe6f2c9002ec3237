"""Records made up for the tests of what is said about them; every number is invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from vibecore.model import (
    Analysis,
    Condition,
    Diagnosis,
    Evidence,
    Line,
    OrderChange,
    OrderLevel,
    OrderTable,
    Overall,
    PlannedCheck,
    RankedCause,
    Recording,
    Repair,
    RunnerUp,
    Signal,
    Spectrum,
    SpeedTrack,
    Warn,
)

LINE = Line(31.2, 2.87, 0.2, 25.0)
SPECTRUM = Spectrum(np.arange(3.0), np.ones(3), "hertz")


def _speed() -> SpeedTrack:
    track_s = np.linspace(1.6, 8.9, 400)
    rpm, angle_rev = 652.4 + np.sin(track_s), np.zeros(900)
    runner_up = RunnerUp(1304.8, 0.02, "double of it")
    return SpeedTrack(track_s, rpm, 652.4, 651.9, 652.9, 6.1, 0.97, "vibration", angle_rev, runner_up)


def _levels() -> tuple[OrderLevel, ...]:
    seen = [OrderLevel(0.5 * k, 5.4367 * k, 0.0123456, 0.01, 0.014, 9.8, 0.91, True) for k in range(1, 8)]
    unseen = OrderLevel(4.0, 43.49, None, None, None, None, None, False, "Too near half the sample rate.")
    return (*seen, unseen)


def some_analysis(**changes: Any) -> Analysis:
    """An invented recording of ten seconds at 100 Hz with a speed of 652.4 rpm."""
    t_s = np.arange(1000) / 100.0
    recording = Recording(
        "idle.csv", t_s, np.zeros((1000, 3)), 100.0, True, 1003, 3, (Warn("short", "Record for longer."),)
    )
    signal = Signal(
        100.0,
        1.6,
        np.zeros((900, 3)),
        np.ones(900, bool),
        (1.6, 8.9),
        True,
        0.0,
        (Warn("knock", "Cut out."),),
    )
    overall = Overall(0.31, 0.22, "ISO 5349-1 Wh", "Above 50 Hz lost.")
    made = Analysis(
        recording,
        signal,
        _speed(),
        OrderTable(_levels(), (LINE,), SPECTRUM, 0.1, 0.1, 0.1, 0.3),
        (LINE,),
        SPECTRUM,
        overall,
        Condition("steering wheel", "neutral", "idle", "before", 650.0, ("air conditioning",)),
        (Warn("short", "Record for longer."),),
    )
    return replace(made, **changes)


def some_diagnosis() -> Diagnosis:
    evidence = (
        Evidence("for", 7.2, "The firing order doubled in gear.", ("idle.csv",)),
        Evidence("against", -2.0, "x"),
    )
    causes = (
        RankedCause("engine-mount", "Engine mount", 2 / 3, evidence),
        RankedCause("normal", "Nothing wrong", 1 / 3),
    )
    check = PlannedCheck("mount-look", "Look at the mounts", 5, 0.812345, ("Keep clear of the fan.",))
    repair = Repair(
        "cured", -14.2, -15.6, -12.8, "The firing order fell.", (OrderChange(2, 0.3, 0.06, -14.0, -15, -13),)
    )
    return Diagnosis(causes, (check,), repair, (some_analysis(),))

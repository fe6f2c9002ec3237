"""Recordings that this project did not make. Both folders are outside the project: skipped where absent."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from tests.speed.engines import WRONG
from vibecore import analyze, load_case, read_recording
from vibecore.engine import Engine
from vibecore.model import Analysis, Condition

SHARED = Path(os.environ.get("VIBECORE_SHARED", Path(__file__).parents[3] / "shared"))
SAMPLE = SHARED / "samples" / "moving-car-phone-104hz.csv"
PRACTICE = SHARED / "practice"


real_car = pytest.mark.skipif(not SAMPLE.is_file(), reason="the real sample is not here")


def _moving_car(engine: Engine | None, condition: Condition) -> tuple[Analysis, float]:
    """The real sample read, and its true mean speed over the used span, rpm. A four-cylinder automatic on
    the road, from the open data set comma2k19 (MIT licence); the truth is the engine speed on the car's own
    bus."""
    analysis = analyze(read_recording(SAMPLE), engine, condition)
    bus = pd.read_csv(SAMPLE.with_name(f"{SAMPLE.stem}-car-bus.csv"))
    start_s, end_s = analysis.signal.used_span_s
    return analysis, float(bus.engine_rpm[(bus.seconds >= start_s) & (bus.seconds <= end_s)].mean())


def _right_or_refused(engine: Engine | None, condition: Condition) -> None:
    analysis, true_rpm = _moving_car(engine, condition)
    if analysis.speed is None:
        assert any("speed" in w.code or w.code == "no-lines" for w in analysis.warnings)
    else:
        assert analysis.speed.mean_rpm == pytest.approx(true_rpm, rel=WRONG)


@real_car
@pytest.mark.parametrize("engine", [Engine(4), None], ids=["four", "not known"])
@pytest.mark.parametrize("hold", [None, "idle", "raised"])
@pytest.mark.parametrize("gear", ["drive", "neutral"])
def test_the_moving_car_is_right_or_refused(engine: Engine | None, hold: str | None, gear: str) -> None:
    _right_or_refused(engine, Condition(None, gear, hold))  # type: ignore[arg-type]


@real_car
@pytest.mark.parametrize("reading", [1300.0, 1450.0, 1500.0, 1550.0, 1600.0, 1700.0, 1900.0])
def test_the_moving_car_with_a_tachometer_reading(reading: float) -> None:
    """Read while speed swung from 1100 to 2500 rpm: no reading made then may lead to a wrong answer."""
    _right_or_refused(Engine(4), Condition(None, "drive", None, tachometer_rpm=reading))


@lru_cache(maxsize=1)
def _practised() -> tuple[tuple[Analysis, dict[str, Any]], ...]:
    """Each recording of the cars of another simulator, with its tachometer reading, and its truth."""
    truth = PRACTICE / "truth.json"
    found = []
    for car in json.loads(truth.read_text()):
        case = load_case(PRACTICE / car["car"] / "case.toml")
        for told in car["recordings"]:
            part = next(r for r in case.recordings if Path(r.file).stem == told["name"])
            said = replace(part.condition, tachometer_rpm=part.condition.tachometer_rpm or told["tach"])
            found.append((analyze(read_recording(case.file_of(part)), case.vehicle.engine, said), told))
    return tuple(found)


practice_cars = pytest.mark.skipif(not PRACTICE.is_dir(), reason="the practice cars are not here")


@practice_cars
def test_practice_cars_with_their_tachometer() -> None:
    """At most 2 % wrong and sure; median within 0.2 %."""
    errors: list[float] = []
    refused = 0
    for analysis, truth in _practised():
        if analysis.speed is None:
            refused += 1
            continue
        track = np.array(truth["track"])
        start_s, end_s = analysis.signal.used_span_s
        inside = (track[:, 0] >= start_s) & (track[:, 0] <= end_s)
        errors.append(abs(analysis.speed.mean_rpm / track[inside, 1].mean() - 1))
    count = len(_practised())
    assert count > 20
    assert np.sum(np.array(errors) > WRONG) <= 0.02 * count
    assert refused <= 0.1 * count
    assert np.median(errors) < 2e-3


@practice_cars
def test_practice_cars_levels_of_orders() -> None:
    """Lines over 0.03 m/s2 and under 0.4 of the rate, steady or not: median within 0.3 dB, 95 of 100 within
    1.5 dB. Their truth is of the whole file and before the taping, which moves levels by a decibel or so."""
    errors = [
        20 * np.log10(max(level.rms_m_s2, 1e-3) / true)
        for analysis, truth in _practised()
        if analysis.orders is not None
        for level in analysis.orders.levels
        if (true := truth["orders"].get(f"{level.order:g}", 0.0)) > 0.03
        and level.rms_m_s2 is not None
        and level.frequency_hz < 0.4 * analysis.recording.sample_rate_hz
    ]
    assert len(errors) > 80
    assert np.median(np.abs(errors)) < 0.3
    assert np.quantile(np.abs(errors), 0.95) < 1.5

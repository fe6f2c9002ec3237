"""Recordings that this project did not make. Both folders are outside the project: skipped where absent."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

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


def _practice() -> Iterator[tuple[Path, str, dict[str, object]]]:
    truth = PRACTICE / "truth.json"
    if truth.is_file():
        for car in json.loads(truth.read_text())[::2]:
            for recording in car["recordings"]:
                yield PRACTICE / car["car"] / "case.toml", recording["name"], recording


@pytest.mark.skipif(not PRACTICE.is_dir(), reason="the practice cars are not here")
def test_practice_cars_with_their_tachometer() -> None:
    """Every other car of another simulator: at most 2 % wrong and sure; median within 0.2 %."""
    errors: list[float] = []
    sure_wrong = refused = count = 0
    for path, name, truth in _practice():
        case = load_case(path)
        part = next(r for r in case.recordings if Path(r.file).stem == name)
        condition = replace(part.condition, tachometer_rpm=part.condition.tachometer_rpm or truth["tach"])  # type: ignore[arg-type]
        analysis = analyze(read_recording(case.file_of(part)), case.vehicle.engine, condition)
        count += 1
        if analysis.speed is None:
            refused += 1
            continue
        track = np.array(truth["track"])
        start_s, end_s = analysis.signal.used_span_s
        inside = (track[:, 0] >= start_s) & (track[:, 0] <= end_s)
        error = abs(analysis.speed.mean_rpm / track[inside, 1].mean() - 1)
        errors.append(error)
        sure_wrong += error > WRONG
    assert count > 20
    assert sure_wrong <= 0.02 * count
    assert refused <= 0.1 * count
    assert np.median(errors) < 2e-3

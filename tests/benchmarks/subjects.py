"""Cars to score, simulated or from a folder, as file bytes with the truth beside them."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.benchmarks.population import TESTING_SEEDS, cars
from tests.benchmarks.truth import TrueRecording, WrittenTruth, keeping
from vibecore.case import load_case
from vibecore.engine import Vehicle
from vibecore.model import CheckOutcome, Condition, Symptoms
from vibecore.simulate.faults import ROAD_CAUSES
from vibecore.simulate.writing import WRITERS


@dataclass(frozen=True, eq=False)
class Heard:
    """One recording: the bytes of its file and what is true of it."""

    name: str
    data: bytes
    condition: Condition
    truth: TrueRecording
    rate_hz: float


@dataclass(frozen=True, eq=False)
class Subject:
    """A job as the program sees it, and what is the matter with the car."""

    key: str
    vehicle: Vehicle
    symptoms: Symptoms
    checks: tuple[CheckOutcome, ...]
    heard: tuple[Heard, ...]
    cause: str
    detail: str
    second_cause: str | None
    verdict: str | None
    seed: int

    @property
    def road(self) -> bool:
        return self.cause in ROAD_CAUSES


def simulated(seed: int, *, with_repair: bool | None = None) -> Subject:
    """The one car of a testing seed, its recordings written in layouts drawn from the same seed."""
    if seed not in TESTING_SEEDS:
        raise ValueError(f"seed {seed} is not kept for testing: take 100000 to 999999")
    with keeping() as kept:
        job = next(cars(seed, 1, with_repair=with_repair))
    rng = np.random.default_rng([seed, 13])
    heard = []
    for recording, truth in zip(job.recordings, kept, strict=True):
        suffix, write = WRITERS[str(rng.choice(list(WRITERS)))]
        data = write(recording)
        heard.append(
            Heard(f"{recording.name}{suffix}", data, recording.condition, truth, recording.phone.rate_hz)
        )
    return Subject(
        str(seed), job.vehicle, job.symptoms, (), tuple(heard), job.cause, job.detail, job.second_cause,
        job.verdict, seed,
    )  # fmt: skip


def practised(folder: Path) -> list[Subject]:
    """Cars of a folder: `truth.json` (a list of cars with cause, repair and recordings, each with rpm, track
    and orders) and a case folder for each."""
    told = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return [_practised(folder / car["car"], car, i) for i, car in enumerate(told)]


def _practised(folder: Path, car: dict, index: int) -> Subject:
    case = load_case(folder / "case.toml")
    truths = {r["name"]: r for r in car["recordings"]}
    heard = []
    for recording in case.recordings:
        told = truths[recording.file.stem]
        levels = {float(o): float(v) for o, v in told.get("orders", {}).items()}
        track = np.array(told.get("track") or [], dtype=float).reshape(-1, 2)
        truth = WrittenTruth(told["rpm"], track, levels)
        data = case.file_of(recording).read_bytes()
        heard.append(Heard(recording.file.name, data, recording.condition, truth, told.get("fs") or 0.0))
    return Subject(
        folder.name, case.vehicle, case.symptoms, case.checks, tuple(heard), car["cause"],
        str(car.get("fault", "")), car.get("second_cause"), car.get("repair"), index,
    )  # fmt: skip


def with_reading(heard: Heard, true_rpm: float | None, seed: int) -> Condition:
    """The recording's condition with a tachometer reading: its own, or one within 5 %, to the nearest ten."""
    if heard.condition.tachometer_rpm is not None or true_rpm is None:
        return heard.condition
    rng = np.random.default_rng([seed, 11, sum(heard.name.encode())])
    read = true_rpm * (1 + rng.uniform(-0.05, 0.05))
    return replace(heard.condition, tachometer_rpm=float(10 * round(read / 10)))

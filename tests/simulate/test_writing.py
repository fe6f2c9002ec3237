"""Jobs as case folders: our readers give back what was written, and equal seeds write equal bytes."""

import math
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.population import TESTING_SEEDS, TUNING_SEEDS, cars
from vibecore.case import load_case
from vibecore.engine import Engine
from vibecore.reading import read_recording
from vibecore.simulate import CAUSES, Wanted, simulate_job, write_job
from vibecore.simulate.writing import WRITERS

ENGINES = ((1, 4), (2, 2), (3, 4), (7, 4), (12, 4))  # cylinders and strokes


@pytest.mark.parametrize("layout", WRITERS)
def test_every_layout_is_read_back(layout: str, tmp_path: Path) -> None:
    job = simulate_job("cylinder-misfire", Wanted(Engine(4), rate_hz=100.0, duration_s=16.0), seed=11)
    case = load_case(write_job(job, tmp_path, layout=layout))
    for entry, made in zip(case.recordings, job.recordings, strict=True):
        read = read_recording(case.file_of(entry))
        assert len(read.t_s) == pytest.approx(len(made.t_s), rel=0.02)
        assert read.duration_s == pytest.approx(made.t_s[-1], rel=2e-3)
        assert read.gravity_included == made.gravity_included
        levels = [np.sqrt(np.sum(np.var(a, axis=0))) for a in (read.accel_m_s2, made.accel_m_s2)]
        assert levels[0] == pytest.approx(levels[1], rel=0.02)


def test_case_file_says_what_was_done(tmp_path: Path) -> None:
    job = simulate_job("engine-mount", Wanted(Engine(6, 4, "vee"), "automatic", repair="cured"), seed=5)
    case = load_case(write_job(job, tmp_path))
    assert case.vehicle.engine == Engine(6, 4, "vee")
    assert case.vehicle.transmission == "automatic"
    assert [r.condition for r in case.recordings] == [r.condition for r in job.recordings]
    assert case.symptoms == job.symptoms
    assert "invented" in case.title
    after = [r for r in job.recordings if r.condition.stage == "after"]
    assert [r.condition.gear for r in after] == ["drive"]  # a mount is felt in gear, so it is proven there


def test_equal_seeds_write_equal_bytes_and_others_do_not(tmp_path: Path) -> None:
    def made(seed: int, where: str) -> list[bytes]:
        write_job(simulate_job("cooling-fan", Wanted(duration_s=15.0), seed=seed), tmp_path / where)
        return [p.read_bytes() for p in sorted((tmp_path / where).iterdir())]

    first = made(3, "a")
    assert made(3, "b") == first
    assert made(4, "c") != first


@pytest.mark.parametrize("cause", CAUSES)
def test_every_cause_on_any_engine(cause: str) -> None:
    """Two engines each, of five in turn."""
    at = CAUSES.index(cause)
    for cylinders, strokes in (ENGINES[at % 5], ENGINES[(at + 2) % 5]):
        wanted = Wanted(Engine(cylinders, strokes), duration_s=15.0, repair="improved")
        job = simulate_job(cause, wanted, seed=cylinders)
        assert job.recordings[-1].condition.stage == "after"
        for r in job.recordings:
            assert np.all(np.isfinite(r.accel_m_s2))
            assert np.max(np.abs(r.accel_m_s2)) < 8 * 9.81
            off = r.condition.speed_hold == "engine off"
            assert (r.truth.mean_rpm is None) == off
            if not off:
                assert 300 < r.truth.mean_rpm < 6000
                assert all(math.isfinite(v) for v in r.truth.orders_m_s2.values())
                assert r.truth.orders_m_s2.keys() == set(Engine(cylinders, strokes).orders)


def test_populations_are_kept_apart() -> None:
    assert not set(TUNING_SEEDS) & set(TESTING_SEEDS)
    for seed in (0, 50_000):
        with pytest.raises(ValueError, match="neither"):
            next(cars(seed, 1))
    jobs = list(cars(2, 8, duration_s=12.0, felt=False))
    assert len({j.cause for j in jobs}) > 3
    assert len({j.vehicle.engine.cylinders for j in jobs}) > 2
    assert [j.seed for j in cars(2, 1, duration_s=12.0, felt=False)] == [jobs[0].seed]


def test_a_population_can_be_narrowed() -> None:
    wanted = {"causes": ["driveline"], "cylinders": [4], "rate_hz": 104.0, "with_repair": True}
    for job in cars(2, 2, **wanted, tachometer=False, second_share=0.0, duration_s=12.0):
        assert job.cause == "driveline"
        assert job.second_cause is None
        assert job.vehicle.engine.cylinders == 4
        assert job.verdict is not None
        assert all(r.phone.rate_hz == 104.0 and r.condition.tachometer_rpm is None for r in job.recordings)


def test_layouts_look_as_their_names_say() -> None:
    job = simulate_job("normal", Wanted(Engine(4), rate_hz=100.0, duration_s=12.0), seed=3)
    recording = job.recordings[0]
    written = {name: write(recording) for name, (_, write) in WRITERS.items()}
    first = written["quoted semicolon comma"].decode().splitlines()
    assert first[0].startswith('"Time (s)";')
    assert "." not in first[1]
    assert first[1].count(";") == 3
    assert written["windows"].startswith(b"\xef\xbb\xbf")
    assert b"\r\n" in written["windows"]
    grams = np.array([float(v) for v in written["g tabs"].decode().splitlines()[-1].split("\t")[1:]])
    assert np.allclose(grams * 9.80665, recording.accel_m_s2[-1], atol=1e-4)

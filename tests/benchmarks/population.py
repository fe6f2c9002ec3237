"""Wide random car populations for the benchmarks and for tuning, by seeds that are kept apart.

Tune with seeds in TUNING_SEEDS only, report with seeds in TESTING_SEEDS only. A population's job i has the
job seed `seed * MOST_JOBS + i`, so no job of one range is ever a job of the other.

    for job in cars(1, 100, rate_hz=100.0):
        write_job(job, folder)        # or make records of job.recordings directly
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from vibecore.engine import Engine
from vibecore.simulate import CAUSES, SimulatedJob, Wanted, simulate_job
from vibecore.simulate.faults import ROAD_CAUSES
from vibecore.simulate.job import RepairOutcome

TUNING_SEEDS = range(1, 10_000)
TESTING_SEEDS = range(100_000, 1_000_000)
MOST_JOBS = 10_000
# Chance of each cause in a mixed population: sound cars are common, road jobs rare (the job is a shake at
# idle).
SHARES = dict.fromkeys(CAUSES, 1.0) | {"normal": 2.5} | dict.fromkeys(ROAD_CAUSES, 0.3)
STRENGTHS, FELT_STRENGTHS = (0.4, 1.0), (0.7, 1.3)  # of the fault as drawn
SECOND_SHARE = 0.1  # of faulty cars that have a second fault
REPAIR_SHARES: dict[RepairOutcome | None, float] = {
    None: 0.4, "cured": 0.25, "improved": 0.12, "unchanged": 0.15, "worse": 0.08,
}  # fmt: skip


def cars(
    seed: int,
    n: int,
    *,
    causes: Sequence[str] | None = None,
    cylinders: Sequence[int] | None = None,
    rate_hz: float | None = None,
    with_repair: bool | None = None,
    second_share: float = SECOND_SHARE,
    tachometer: bool | None = None,
    strength: float | None = None,
    duration_s: float | None = None,
    felt: bool = True,
) -> Iterator[SimulatedJob]:
    """`n` jobs of a population. What is not fixed is drawn.

    causes, cylinders: drawn from these only. with_repair: all or none hold an after recording. tachometer:
    all or none of the jobs carry readings. strength: of every fault, else drawn. felt: every fault doubles
    the shake (6 dB over the same car without it) in some recording, to 0.1 m/s2 or more, as owners who come
    for it have felt it; False: also faults that nobody would notice (the hard table)."""
    _check(seed, n)
    spread = FELT_STRENGTHS if felt else STRENGTHS
    for i in range(n):
        job_seed = seed * MOST_JOBS + i
        rng = np.random.default_rng([job_seed, 7])
        cause, second = _draw_faults(causes or CAUSES, second_share, rng)
        repair = _draw_repair(cause, with_repair, rng)
        wanted = Wanted(
            Engine(int(rng.choice(cylinders))) if cylinders else None,
            strength=float(rng.uniform(*spread)) if strength is None else strength,
            repair=repair,
            second_cause=second,
            rate_hz=rate_hz,
            duration_s=duration_s,
            tachometer=bool(rng.random() < 0.5) if tachometer is None else tachometer,
            felt=felt,
        )
        yield simulate_job(cause, wanted, seed=job_seed)


def _check(seed: int, n: int) -> None:
    if seed not in TUNING_SEEDS and seed not in TESTING_SEEDS:
        raise ValueError(f"seed {seed} is neither for tuning (1 to 9999) nor for testing (100000 up)")
    if n > MOST_JOBS:
        raise ValueError(f"{n} jobs of one seed are more than {MOST_JOBS}: take a second seed")


def _draw_faults(
    causes: Sequence[str], second_share: float, rng: np.random.Generator
) -> tuple[str, str | None]:
    """What is the matter, and what else at the same time; on the road nothing else."""
    cause = _pick({c: SHARES[c] for c in causes}, rng)
    others = [c for c in CAUSES if c not in ("normal", cause, *ROAD_CAUSES, "driveline")]
    second = str(rng.choice(others)) if cause != "normal" and rng.random() < second_share else None
    return cause, None if cause in ROAD_CAUSES else second


def _draw_repair(cause: str, with_repair: bool | None, rng: np.random.Generator) -> RepairOutcome | None:
    """What became of the repair, if there was one; with_repair: see `cars`."""
    repair: RepairOutcome | None = _pick(REPAIR_SHARES, rng)
    if with_repair is not None:
        repair = _pick({k: v for k, v in REPAIR_SHARES.items() if k}, rng) if with_repair else None
    return "unchanged" if cause == "normal" and repair else repair  # nothing was the matter, nothing changed


def _pick(shares: dict, rng: np.random.Generator):  # type: ignore[no-untyped-def, type-arg]
    names = list(shares)
    chances = np.array([shares[k] for k in names], dtype=float)
    return names[int(rng.choice(len(names), p=chances / chances.sum()))]

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
from vibecore.simulate.job import RepairOutcome

TUNING_SEEDS = range(1, 10_000)
TESTING_SEEDS = range(100_000, 1_000_000)
MOST_JOBS = 10_000
# Chance of each cause in a mixed population: sound cars are common, road jobs rare (the job is a shake at
# idle).
SHARES = dict.fromkeys(CAUSES, 1.0) | {"normal": 2.5, "wheel-imbalance": 0.3, "propshaft": 0.3}
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
    all or none of the jobs carry readings. strength: of every fault, else drawn. felt:
    every fault doubles the shake (6 dB over the same car without it) in some recording, to 0.1 m/s2 or more,
    as owners who come for it have felt it; False: also faults that nobody would notice (the hard table)."""
    if seed not in TUNING_SEEDS and seed not in TESTING_SEEDS:
        raise ValueError(f"seed {seed} is neither for tuning (1 to 9999) nor for testing (100000 up)")
    if n > MOST_JOBS:
        raise ValueError(f"{n} jobs of one seed are more than {MOST_JOBS}: take a second seed")
    for i in range(n):
        job_seed = seed * MOST_JOBS + i
        rng = np.random.default_rng([job_seed, 7])
        cause = _pick({c: SHARES[c] for c in causes or CAUSES}, rng)
        others = [
            c for c in CAUSES if c not in ("normal", cause, "wheel-imbalance", "propshaft", "driveline")
        ]
        second = str(rng.choice(others)) if cause != "normal" and rng.random() < second_share else None
        if cause in ("wheel-imbalance", "propshaft"):
            second = None
        repair: RepairOutcome | None = _pick(REPAIR_SHARES, rng)
        if with_repair is not None:
            repair = _pick({k: v for k, v in REPAIR_SHARES.items() if k}, rng) if with_repair else None
        if cause == "normal" and repair:
            repair = "unchanged"  # nothing was the matter, nothing changed
        wanted = Wanted(
            Engine(int(rng.choice(cylinders))) if cylinders else None,
            strength=strength
            if strength is not None
            else float(rng.uniform(*(FELT_STRENGTHS if felt else STRENGTHS))),
            repair=repair,
            second_cause=second,
            rate_hz=rate_hz,
            duration_s=duration_s,
            tachometer=bool(rng.random() < 0.5) if tachometer is None else tachometer,
            felt=felt,
        )
        yield simulate_job(cause, wanted, seed=job_seed)


def _pick(shares: dict, rng: np.random.Generator):  # type: ignore[no-untyped-def, type-arg]
    names = list(shares)
    chances = np.array([shares[k] for k in names], dtype=float)
    return names[int(rng.choice(len(names), p=chances / chances.sum()))]

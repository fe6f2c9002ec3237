"""Accuracy on simulated cars whose seeds no part was tuned on: speed, orders, causes, proof of repair.

    python -m tests.benchmarks.bench_accuracy --jobs 100 --seed 100001 [--speed --orders --causes --repair]

Car i is the one job of seed `--seed` + i. Its recordings are written as files in layouts drawn at random,
read back, analysed and diagnosed. Without a section named, all are printed; `--repair` alone makes every job
hold an after recording. `--practice DIR` scores a folder of written cars as well, `--show N` tells of N
failures of each kind. Leaves with status 1 when a promise is broken.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

from tests.benchmarks import section_causes, section_orders, section_repair, section_speed
from tests.benchmarks.population import TESTING_SEEDS
from tests.benchmarks.promises import Promise, promised
from tests.benchmarks.rows import Outcome
from tests.benchmarks.subjects import practised
from tests.benchmarks.trial import try_seed, try_subject

SECTIONS = {
    "speed": section_speed.section,
    "orders": section_orders.section,
    "causes": section_causes.section,
    "repair": section_repair.section,
}
WORKERS = 2


def outcomes(
    seed: int, jobs: int, *, with_repair: bool | None, all_modes: bool, workers: int
) -> Iterator[Outcome]:
    """Results of the cars of seeds seed ... seed + jobs - 1, in that order."""
    tasks = [(seed + i, with_repair, all_modes) for i in range(jobs)]
    if workers < 2:
        yield from map(try_seed, tasks)
        return
    os.environ.setdefault(
        "OPENBLAS_NUM_THREADS", "1"
    )  # one car a processor: threads would stand in each other's way
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        yield from pool.imap(try_seed, tasks)


def counted(results: Iterable[Outcome], total: int) -> Iterator[Outcome]:
    """The same, with a running count for whoever waits."""
    for i, result in enumerate(results, 1):
        if sys.stderr.isatty():
            print(f"\r{i} of {total} cars", end="" if i < total else "\n", file=sys.stderr, flush=True)
        yield result


def main(arguments: list[str] | None = None) -> int:
    options = _options().parse_args(arguments)
    wanted = [name for name in SECTIONS if getattr(options, name)] or list(SECTIONS)
    if options.all:
        wanted = list(SECTIONS)
    if options.seed not in TESTING_SEEDS or options.seed + options.jobs - 1 not in TESTING_SEEDS:
        print("Seeds kept for testing are 100000 to 999999.", file=sys.stderr)
        return 2
    started = time.perf_counter()
    with_repair = True if wanted == ["repair"] or options.with_repair else None
    run = outcomes(
        options.seed,
        options.jobs,
        with_repair=with_repair,
        all_modes="speed" in wanted,
        workers=options.workers,
    )
    results = list(counted(run, options.jobs))
    practice = [try_subject(s) for s in practised(options.practice)] if options.practice else []
    print(
        f"{len(results)} simulated cars, seeds {options.seed} to {options.seed + options.jobs - 1}, "
        f"{sum(len(r.causes[0].recordings) for r in results if r.causes)} recordings, "
        f"{time.perf_counter() - started:.0f} s\n"
    )
    promises: list[Promise] = []
    for name in wanted:
        text, kept = SECTIONS[name](results, practice, options.show)
        print(text)
        promises += kept
    _print_errors([*results, *practice])
    print(promised(promises))
    return int(any(not p.kept for p in promises) or any(r.errors for r in results))


def _print_errors(results: list[Outcome]) -> None:
    errors = [error for result in results for error in result.errors]
    print(f"ERRORS: {len(errors)}")
    for error in errors:
        print(f"  {error}")
    print()


def _options() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=(__doc__ or "").splitlines()[0], formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--jobs", type=int, default=100, help="how many cars (100)")
    parser.add_argument("--seed", type=int, default=100_001, help="of the first car, 100000 up (100001)")
    for name in SECTIONS:
        parser.add_argument(f"--{name}", action="store_true", help=f"print {name}")
    parser.add_argument("--all", action="store_true", help="print every section (also without any named)")
    parser.add_argument("--with-repair", action="store_true", help="every job holds an after recording")
    parser.add_argument("--practice", type=Path, metavar="DIR", help="score the written cars of a folder too")
    parser.add_argument("--show", type=int, default=0, metavar="N", help="tell of N failures of each kind")
    parser.add_argument("--workers", type=int, default=WORKERS, help=f"processes ({WORKERS})")
    return parser


if __name__ == "__main__":
    sys.exit(main())

"""Processes that save are killed with SIGKILL at random moments: nothing acknowledged is lost.

With the kills of the whole server in app/test_browser_kills.py they are more than 50 a run. The moments are
drawn anew in each run, and a failure prints their seed.

Outside check: SIGKILL cannot be caught (POSIX), so the process can neither finish nor tidy up; what is on the
disk is compared with what the process had printed, byte for byte by SHA-256 (hashlib).
"""

from __future__ import annotations

import hashlib
import os
import random
import secrets
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from vibecore.jobs import seed
from vibecore.places import demo_folder
from vibecore.store import Store

KILLS, KILLS_AT_FIRST_START = 46, 6
FIRST_START_S = 0.3  # longer than keeping the demo jobs takes
ROOT = Path(__file__).resolve().parents[1]
DEMOS = sorted(f"demo-{path.parent.name}" for path in demo_folder().glob("*/case.toml"))

WRITER = """
import hashlib, os, sys
from vibecore.store import NewFile, Store
store, job_id = Store(sys.argv[1]), sys.argv[2]
while True:
    job = store.open(job_id)
    data = os.urandom(300_000)
    name = f"{job.head.revision}.csv"
    kept = store.save(job, title=f"revision {job.head.revision + 1}", add=[NewFile(name, data)])
    print(kept.head.revision, name, hashlib.sha256(data).hexdigest(), flush=True)
"""

SEEDER = """
import sys
from vibecore.jobs import seed
from vibecore.places import demo_folder
from vibecore.store import Store
store = Store(sys.argv[1])
print("now", flush=True)
seed(store, demo_folder())
print("done", flush=True)
"""

pytestmark = pytest.mark.skipif(os.name != "posix", reason="SIGKILL is of POSIX")


@pytest.fixture
def chance():
    drawn = secrets.randbelow(2**32)
    print("seed of the moments:", drawn)
    return random.Random(drawn)


def test_nothing_acknowledged_is_lost_when_killed_while_saving(tmp_path, chance):
    store = Store(tmp_path)
    job_id = store.new("Van", "[vehicle]\ncylinders = 4\n").head.id
    acknowledged: dict[str, str] = {}
    last_revision = 1
    for _ in range(KILLS):
        moment_s = chance.uniform(0.0, 0.1)
        for line in run_and_kill(WRITER, tmp_path, job_id, after_s=moment_s):
            revision, name, digest = line.split()
            acknowledged[name], last_revision = digest, int(revision)
        job = Store(tmp_path).open(job_id)  # as the next start would
        assert job.head.revision >= last_revision
        assert job.head.title == ("Van" if job.head.revision == 1 else f"revision {job.head.revision}")
        assert len(job.files) == job.head.revision - 1  # each save whole or not at all
    kept = {f.name: f.digest for f in job.files}
    assert acknowledged.items() <= kept.items()
    for name, digest in kept.items():
        assert hashlib.sha256(Store(tmp_path).read_file(job_id, name)).hexdigest() == digest
    with sqlite3.connect(tmp_path / "jobs.sqlite") as con:
        assert con.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert len(acknowledged) >= KILLS  # the kills did fall into the work


def test_demo_jobs_are_there_whole_or_not_at_all_when_killed_at_the_first_start(tmp_path, chance):
    """And the next start brings them, each once."""
    found = []
    for life in range(KILLS_AT_FIRST_START):
        folder, moment_s = tmp_path / str(life), chance.uniform(0.0, FIRST_START_S)
        run_and_kill(SEEDER, folder, after_s=moment_s)
        store = Store(folder)
        found.append(len(store.jobs()))
        seed(store, demo_folder())
        assert sorted(head.id for head in store.jobs()) == DEMOS
        for head in store.jobs():
            for file in store.open(head.id).files:
                assert hashlib.sha256(store.read_file(head.id, file.name)).hexdigest() == file.digest
    assert {*found} <= {0, len(DEMOS)}


def run_and_kill(script: str, folder: Path, *arguments: str, after_s: float) -> list[str]:
    """What the script had said when it was killed, so long after its first word."""
    child = subprocess.Popen(
        [sys.executable, "-c", script, str(folder), *arguments], stdout=subprocess.PIPE, text=True, cwd=ROOT
    )
    assert child.stdout is not None
    first = child.stdout.readline()
    time.sleep(after_s)
    child.send_signal(signal.SIGKILL)
    rest = child.stdout.read()
    child.wait()
    whole = (first + rest).split("\n")[:-1]  # a line cut short was not acknowledged
    return [line for line in whole if line]

"""A process that saves is killed with SIGKILL at random moments, 50 times: nothing acknowledged is lost.

Outside check: SIGKILL cannot be caught (POSIX), so the process can neither finish nor tidy up; what is on the
disk is compared with what the process had printed, byte for byte by SHA-256 (hashlib).
"""

from __future__ import annotations

import hashlib
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from vibecore.store import Store

KILLS = 50
ROOT = Path(__file__).resolve().parents[1]

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


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is of POSIX")
def test_nothing_acknowledged_is_lost_when_killed_50_times(tmp_path):
    store = Store(tmp_path)
    job_id = store.new("Van", "[vehicle]\ncylinders = 4\n").head.id
    chance = random.Random(7)
    acknowledged: dict[str, str] = {}
    last_revision = 1
    for _ in range(KILLS):
        for line in run_and_kill(tmp_path, job_id, chance):
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


def run_and_kill(folder: Path, job_id: str, chance: random.Random) -> list[str]:
    """What the writer had acknowledged when it was killed, at a random moment after its first save."""
    child = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), job_id], stdout=subprocess.PIPE, text=True, cwd=ROOT
    )
    assert child.stdout is not None
    first = child.stdout.readline()
    time.sleep(chance.uniform(0.0, 0.1))
    child.send_signal(signal.SIGKILL)
    rest = child.stdout.read()
    child.wait()
    whole = (first + rest).split("\n")[:-1]  # a line cut short was not acknowledged
    return [line for line in whole if line]

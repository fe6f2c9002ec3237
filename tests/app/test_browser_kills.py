"""The whole server is killed at random moments while a browser uploads and saves: what the page said it
kept is there, whole, once the server is started again: in the browser and on the disk.

Outside checks: SIGKILL cannot be caught (POSIX); what is on the disk is compared by SHA-256 (hashlib) with
the bytes that were sent, and judged by SQLite's own check. The moments are drawn anew in each run, and a
failure prints their seed.
"""

from __future__ import annotations

import hashlib
import os
import random
import secrets
import sqlite3
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.app.browser import LAPTOP, PAGE_DRAWN_MS, UPLOAD, Window, chromium, free_port, start_server
from tests.app.test_browser import ABSENT
from vibecore.engine import Engine, Vehicle
from vibecore.jobs import new_job
from vibecore.model import Symptoms
from vibecore.store import Store

KILLS = 4
LATEST_S = 1.0  # after the first action of a life; the actions after it take less
SURELY_DEAD_MS = 2500  # longer than any life: who waits so long waits for a server that is gone
PATIENCE_S = 30.0
DRAWN = '[data-testid="stApp"][data-test-script-state="notRunning"]'
RECORDING = "t,x,y,z\n" + "".join(f"{n / 100:.2f},{n * n % 7 / 9:.3f},0.1,9.81\n" for n in range(1200))

pytestmark = [
    pytest.mark.skipif(ABSENT, reason="there is no chromium here"),
    pytest.mark.skipif(os.name != "posix", reason="SIGKILL is of POSIX"),
]


class Person:
    """Uploads and renames in the browser, and remembers what the page said it kept."""

    def __init__(self) -> None:
        self.digests: dict[str, str] = {}  # of the files acknowledged
        self.titles = ["Van"]  # all that were tried, in their order
        self.title = "Van"  # the last one acknowledged
        self.cut_off = 0

    def upload(self, window: Window, alive: Callable[[], bool], name: str) -> None:
        """Files that are no recording, which the page says, and once one that is."""
        files = {f"{name}.csv": os.urandom(400_000)}
        if name == f"{KILLS - 2}-0":
            files["idle.csv"] = RECORDING.encode()
        payload = [{"name": n, "mimeType": "text/csv", "buffer": data} for n, data in files.items()]
        box = window.page.locator(UPLOAD)
        if answered(window, alive, lambda: box.set_input_files(payload), f"{name}.csv is no recording"):
            self.digests |= {n: hashlib.sha256(data).hexdigest() for n, data in files.items()}
        else:
            self.cut_off += 1

    def rename(self, window: Window, alive: Callable[[], bool], name: str) -> None:
        """The heading of the page tells the title as it is kept."""
        self.titles.append(f"Van {name}")
        box = window.page.get_by_role("textbox", name="Car", exact=True)
        if answered(window, alive, lambda: (box.fill(f"Van {name}"), box.press("Enter")), f"Van {name}"):
            self.title = f"Van {name}"
        else:
            self.cut_off += 1


def answered(window: Window, alive: Callable[[], bool], action: Callable[[], object], words: str) -> bool:
    """Do it; True once the page has answered in these words, False if its server died first."""
    from playwright.sync_api import Error

    until = time.monotonic() + PATIENCE_S
    while alive() and window.page.query_selector(DRAWN) is None:
        time.sleep(0.02)
    try:
        action()
        while words not in window.text():
            if not alive():
                return words in window.text()
            assert time.monotonic() < until, f"no '{words}' in: {window.text()}"
            time.sleep(0.02)
    except Error:
        if alive():
            raise
        return False  # a page that has lost its server takes no more
    return True


def test_what_a_page_said_it_kept_is_there_after_each_kill(tmp_path):
    seed = secrets.randbelow(2**32)
    print("seed of the moments:", seed)
    chance, person, port = random.Random(seed), Person(), free_port()
    job_id = new_job(Store(tmp_path), "Van", Vehicle(Engine(4)), Symptoms(), {}).head.id
    window = None
    with chromium() as browser:
        for life in range(KILLS + 1):
            page, act = (("record", person.upload), ("car", person.rename))[life % 2]
            address, server = start_server(tmp_path, port)
            try:
                window = window or Window(browser, address, LAPTOP)
                open_page(window, f"{address}/{page}?job={job_id}")
                check_page(window, page, person)
                if life < KILLS:
                    live(window, server, act, life, chance.uniform(0.0, LATEST_S))
            finally:
                server.kill()
                server.wait()
            check_disk(tmp_path, job_id, person)
    print(len(person.digests), "files acknowledged,", person.cut_off, "actions cut off")
    assert len(person.digests) > KILLS // 2
    assert person.cut_off >= KILLS // 2  # the kills did fall into the work


def open_page(window: Window, address: str) -> None:
    """In the same window as before, so that only the server is new."""
    window.page.set_default_timeout(PAGE_DRAWN_MS)
    window.page.goto(address)
    window.settle()


def live(
    window: Window, server: subprocess.Popen[bytes], act: Callable[..., None], life: int, moment_s: float
) -> None:
    """One action in peace, then one after another until the server is killed."""
    act(window, lambda: server.poll() is None, f"{life}-0")
    window.page.set_default_timeout(SURELY_DEAD_MS)
    killer = threading.Timer(moment_s, server.kill)
    killer.start()
    number = 1
    while server.poll() is None:
        act(window, lambda: server.poll() is None, f"{life}-{number}")
        number += 1
    killer.join()


def check_page(window: Window, page: str, person: Person) -> None:
    """The window of a server just started shows all that was acknowledged before."""
    for words in (person.title, *(person.digests if page == "record" else ())):
        window.sees(words)
    assert "Something went wrong" not in window.text()


def check_disk(folder: Path, job_id: str, person: Person) -> None:
    """Every kept file is whole, those acknowledged are the very bytes sent, and the title is no older."""
    store = Store(folder)
    job = store.open(job_id)
    kept = {f.name: hashlib.sha256(store.read_file(job_id, f.name)).hexdigest() for f in job.files}
    assert person.digests.items() <= kept.items()
    assert person.titles.index(job.head.title) >= person.titles.index(person.title)
    person.title = job.head.title  # a save cut off may be there, if whole
    with sqlite3.connect(store.database) as con:
        assert con.execute("PRAGMA integrity_check").fetchone() == ("ok",)

"""How long a person waits for the app, in a real browser; prints what it promises.

    python -m tests.benchmarks.bench_app

Seconds from putting in a minute at 400 samples a second until its chart is drawn, and from opening a job
until its causes stand there: for the first time, once more in the same server, and in a server just started.
All on this machine, the browser's own drawing included; with status 1 when the promise is broken.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.app.browser import LAPTOP, Window, app_server, chromium
from tests.benchmarks.bench_time import write_recording
from tests.kept import add_files
from vibecore.case import CaseRecording
from vibecore.engine import Engine, Vehicle
from vibecore.guess import guess_condition
from vibecore.jobs import new_job
from vibecore.model import Symptoms
from vibecore.store import NewFile, Store

UPLOADS = 5
LOOKING_S = 3.0  # nobody finds a file sooner
FIRST_CHART_S = 2.0  # from the upload of one minute at 400 Hz, on two cores with nothing else to do
UPLOAD = '[data-testid="stFileUploader"] input[type="file"]'
CAUSES = "Causes, the likeliest first"


def main() -> None:
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        found = first_charts(browser, Path(folder)) | openings(browser, Path(folder))
    for name, seconds in found.items():
        print(f"{name:50} {seconds:6.2f} s")
    late = found["upload to first chart, median"] > FIRST_CHART_S
    print("Missed: the first chart is late" if late else "All limits kept.")
    sys.exit(late)


def first_charts(browser: Any, folder: Path) -> dict[str, float]:
    """From the files' being put in until the page draws the chart; each upload another file."""
    store = Store(folder / "charts")
    seconds = []
    with app_server(store.folder) as address:
        for number in range(UPLOADS + 1):
            job = new_job(store, f"Van {number}", Vehicle(Engine(4)), Symptoms(), {})
            path = folder / f"neutral idle {number}.csv"
            write_recording(path, 60.0, seed=number)
            window = Window(browser, f"{address}/record?job={job.head.id}", LAPTOP)
            time.sleep(LOOKING_S)
            start = time.perf_counter()
            window.page.locator(UPLOAD).set_input_files(path)
            window.page.locator(".js-plotly-plot .main-svg").locator("visible=true").first.wait_for()
            seconds.append(time.perf_counter() - start)
            window.page.close()
    return {
        "upload to first chart, server just started": seconds[0],
        "upload to first chart, median": statistics.median(seconds[1:]),
        "upload to first chart, longest": max(seconds[1:]),
    }


def openings(browser: Any, folder: Path) -> dict[str, float]:
    """From the address until the causes, for a job of five short recordings and one of ten minutes."""
    found = {}
    store = Store(folder / "openings")
    with app_server(store.folder) as address:
        page_of(browser, address)  # brings the demo jobs
        long = new_job(store, "Long", Vehicle(Engine(4)), Symptoms(), {})
        path = folder / "neutral idle.csv"
        write_recording(path, 600.0)
        item = CaseRecording(Path(path.name), guess_condition(path.name))
        add_files(store, long, [NewFile(path.name, path.read_bytes())], [item])
        jobs = {"demo": "demo-mount-mended-and-proven", "ten minutes": long.head.id}
        for name, job_id in jobs.items():
            for when in ("first", "again"):
                found[f"opening, {name}, {when}"] = page_of(browser, f"{address}/?job={job_id}")
    for name, job_id in jobs.items():
        with app_server(store.folder) as address:
            found[f"opening, {name}, server just started"] = page_of(browser, f"{address}/?job={job_id}")
    return found


def page_of(browser: Any, address: str) -> float:
    page = browser.new_page()
    start = time.perf_counter()
    page.goto(address)
    page.get_by_test_id("stMain").get_by_text(CAUSES).wait_for(timeout=60_000)
    seconds = time.perf_counter() - start
    page.close()
    return seconds


if __name__ == "__main__":
    main()

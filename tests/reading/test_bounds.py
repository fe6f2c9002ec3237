"""What costs too much is refused before it is paid for: bounded time and memory, whatever comes in."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

BOMBS = """
import gzip, io, time, zipfile
from vibecore.errors import ReadingError
from vibecore.reading import read_recording
out = io.BytesIO()
with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
    archive.writestr("Accelerometer.csv", b"0" * 400_000_000)
bombs = {"zip": out.getvalue(), "gzip": gzip.compress(b"0" * 400_000_000, 1)}
out = io.BytesIO()
with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
    archive.writestr("xl/workbook.xml", b" " * 10)
    for i in range(2):
        archive.writestr(f"xl/worksheets/sheet{i}.xml", b" " * 280_000_000)
bombs["workbook"] = out.getvalue()
for name, data in bombs.items():
    start = time.perf_counter()
    try:
        read_recording(data)
    except ReadingError as error:
        print(name, time.perf_counter() - start, error)
"""


def test_bombs_are_refused_quickly() -> None:
    """Some hundred kB that would unpack to 400 MB and more: refused within seconds."""
    done = subprocess.run(
        [sys.executable, "-c", BOMBS], capture_output=True, text=True, timeout=120, check=True
    )
    lines = done.stdout.splitlines()
    assert [line.split()[0] for line in lines] == ["zip", "gzip", "workbook"]
    assert all(float(line.split()[1]) < 10 for line in lines)
    assert all("unpacks to" in line for line in lines[:2])
    assert "the same again and again" in lines[2]


LONG = """
import sys, tracemalloc
from vibecore.errors import ReadingError
from vibecore.reading import read_recording
def refused(source):
    tracemalloc.start()
    try:
        read_recording(source)
    except ReadingError as error:
        print(tracemalloc.get_traced_memory()[1], 'pyarrow' in sys.modules, error)
    tracemalloc.stop()
refused(sys.argv[1])
refused(b"1" * 200_000_000)
"""


def test_300_mb_of_one_line(tmp_path: Path) -> None:
    """A sparse file: refused by its size, before it is read. A line below the limit is looked at in one plain
    copy, where a list of its characters would take eight, and the parser is not even loaded.

    It takes three seconds. No clock is compared, for a busy machine is no fault; the timeout, forty times as
    long, ends only what does not grow in line with the length: by its square, 200 MB would take years."""
    path = tmp_path / "long.csv"
    with path.open("wb") as file:
        file.truncate(300_000_000)
    done = subprocess.run(
        [sys.executable, "-c", LONG, path], capture_output=True, text=True, timeout=120, check=True
    )
    (size, by_size), (line, by_line) = (row.split(maxsplit=1) for row in done.stdout.splitlines())
    assert "300 MB, the limit is" in by_size
    assert int(size) < 10_000_000
    assert by_line.startswith("False")
    assert "one line of 200 MB" in by_line
    assert int(line) < 1.5 * 200_000_000


def test_pandas_stays_out() -> None:
    """Importing pandas would take longer than reading does: it is not on the way to an answer."""
    code = (
        "import sys; from vibecore.reading import read_recording as r;"
        "r(b'time,x,y,z\\n' + b''.join(b'%d,0.%d,1.%d,9.8\\n' % (i * 10, i % 7, i % 5) for i in range(500)));"
        "print('pandas' in sys.modules, 'scipy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]

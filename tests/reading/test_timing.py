"""Columns that rise or count, beside times and told rates; ticks of 100 ns.

True rates are those that the rows were made with. 100 ns since the year 1 or 1601 is how some computers count
(ECMA-335, System.DateTime, and its file times; from memory). The rest is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.reading.make import cells, codes, csv, shake, text
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import read_recording

TRUTH = shake(100.0, 10.0, jitter=0.0)
N = len(TRUTH.t_s)
ROWS = cells(TRUTH)


def beside(column: list[str], name: str, line: str = "", rate_hz: float | None = None) -> Recording:
    rows = [[*row[1:], cell] for row, cell in zip(cells(TRUTH), column, strict=True)]
    data = line + text(rows, f"x,y,z,{name}")
    return read_recording(data.encode(), name="idle.csv", rate_hz=rate_hz)


WARMER = [f"{20 + i / 50:.3f}" for i in range(N)]


@pytest.mark.parametrize("name", ["temperature", "distance", "pressure", "level"])
def test_what_rises_is_no_clock_where_a_rate_is_told(name: str) -> None:
    recording = beside(WARMER, name, "# sample rate: 100 Hz\n")
    assert recording.sample_rate_hz == pytest.approx(100.0)
    assert codes(recording) == ["rate-told"]
    assert beside(WARMER, name, rate_hz=100.0).sample_rate_hz == pytest.approx(100.0)


def test_what_rises_as_told_is_the_clock_in_any_tongue() -> None:
    kept = np.delete(np.arange(N), np.arange(500, 520))
    rows = [ROWS[i] for i in kept]
    recording = read_recording(("# sample rate: 100 Hz\n" + text(rows, "saa,x,y,z")).encode())
    assert recording.lost_samples == 20


def test_what_rises_alone_is_a_doubtful_clock() -> None:
    recording = beside(WARMER, "temperature")
    assert codes(recording)[0] == "time-by-contents"
    assert "'temperature' was taken for it" in recording.warnings[0].message
    with pytest.raises(ReadingError, match="no column of times"):
        beside(WARMER, "pressure")


@pytest.mark.parametrize("name", ["sample", "n", "seq", "packet counter"])
@pytest.mark.parametrize("share", [0.02, 0.15])
def test_a_counter_tells_lost_samples(name: str, share: float) -> None:
    kept = np.flatnonzero(np.random.default_rng(2).random(N) >= share)
    rows = [[str(7 + i), *ROWS[i][1:]] for i in kept]
    data = text(rows, f"{name},x,y,z")
    for recording in (
        read_recording(("# sample rate: 100 Hz\n" + data).encode()),
        read_recording(data.encode(), rate_hz=100.0),
    ):
        np.testing.assert_allclose(recording.t_s, TRUTH.t_s[kept] - TRUTH.t_s[kept[0]], atol=1e-6)
        assert recording.sample_rate_hz == pytest.approx(100.0, rel=1e-3)
        assert "lost-samples" in codes(recording)
    with pytest.raises(ReadingError, match="many samples a second"):
        read_recording(data.encode())


def test_a_counter_that_runs_over_tells_nothing() -> None:
    rows = [[str(i % 256), *row[1:]] for i, row in enumerate(cells(TRUTH))]
    recording = read_recording(("# sample rate: 100 Hz\n" + text(rows, "n,x,y,z")).encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-6)


@pytest.mark.parametrize("rate", [50.0, 100.0, 250.0])
@pytest.mark.parametrize(
    ("start", "name"),
    [(638_000_000_000_000_000, "timestamp"), (134_000_000_000_000_000, "time"), (0, "Ticks"), (5, "t_ticks")],
)
def test_ticks_of_100_ns(rate: float, start: int, name: str) -> None:
    truth = shake(rate, 20.0, jitter=0.0)
    rows = [[str(start + round(t * 1e7)), *row[1:]] for t, row in zip(truth.t_s, cells(truth), strict=True)]
    recording = read_recording(text(rows, f"{name},x,y,z").encode())
    np.testing.assert_allclose(recording.t_s, truth.t_s, atol=2e-7)
    assert codes(recording) == ([] if start > 1e17 else ["tick-assumed"])


def test_ticks_of_any_other_size_are_not_passed_on_in_silence() -> None:
    """A counter of 19.2 MHz, as processors have it: nothing in the file tells. Common practice, no source."""
    rows = [[str(round(t * 19.2e6)), *row[1:]] for t, row in zip(TRUTH.t_s, cells(TRUTH), strict=True)]
    recording = read_recording(text(rows, "ticks,x,y,z").encode())
    assert codes(recording) == ["tick-assumed"]
    rows = [[str(round(t * 1e7)), *row[1:]] for t, row in zip(TRUTH.t_s, cells(TRUTH), strict=True)]
    assert codes(read_recording(text(rows, "ticks (100 ns),x,y,z").encode())) == []


def test_ticks_of_a_millisecond() -> None:
    rows = [[str(70_000 + round(1e3 * t)), *row[1:]] for t, row in zip(TRUTH.t_s, cells(TRUTH), strict=True)]
    recording = read_recording(text(rows, "ticks,x,y,z").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-6)
    assert codes(recording) == ["time-unit-mismatch"]


def test_the_unit_on_the_last_axis_counts_for_all() -> None:
    """Without gravity nothing else tells g from m/s2."""
    free = shake(100.0, 10.0, gravity=False, jitter=0.0)
    recording = read_recording(text(cells(free, unit=9.80665), "time,ax,ay,az [g]").encode())
    np.testing.assert_allclose(recording.accel_m_s2, free.accel, atol=1e-4)
    assert codes(recording) == []


@pytest.mark.parametrize("word", ["filtered", "lowpass", "smoothed", "filt"])
def test_raw_columns_go_before_smoothed_ones(word: str) -> None:
    smooth = np.array([np.convolve(c, np.ones(10) / 10, "same") for c in TRUTH.accel.T]).T
    rows = [[*row, *(f"{v:.5f}" for v in s)] for row, s in zip(cells(TRUTH), smooth, strict=True)]
    rows = [[r[0], *r[4:], *r[1:4]] for r in rows]
    header = f"time,{word} x,{word} y,{word} z,raw x,raw y,raw z"
    recording = read_recording(text(rows, header).encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)


@pytest.mark.parametrize(
    ("name", "unit_s"), [("time (10us)", 1e-5), ("t [0.1 ms]", 1e-4), ("ticks (1/32768 s)", 1 / 32768)]
)
def test_times_in_parts_of_a_unit(name: str, unit_s: float) -> None:
    recording = read_recording(text(cells(TRUTH, t_unit=unit_s, t_digits=0), f"{name},x,y,z").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=2e-4)
    assert codes(recording) == []


def test_a_step_beside_the_name_is_no_unit_of_its_own() -> None:
    recording = read_recording(text(cells(TRUTH), "time (10 ms),x,y,z").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-4)


@pytest.mark.parametrize("rate", [1024.0, 1600.0, 2000.0, 5000.0])
@pytest.mark.parametrize("named", [True, False])
def test_a_fast_box_without_a_unit_of_time(rate: float, named: bool) -> None:
    fast = shake(rate, 8.0, jitter=0.0)
    data = csv(fast, "time,x,y,z" if named else None).encode()
    recording = read_recording(data)
    assert recording.sample_rate_hz == pytest.approx(rate, rel=1e-3)
    np.testing.assert_allclose(recording.accel_m_s2, fast.accel, atol=1e-4)


@pytest.mark.parametrize("line", ["Sampling rate: 2048 Hz", "fs = 2.048 kHz", "sample rate;2048"])
def test_a_fast_rate_told(line: str) -> None:
    fast = shake(2048.0, 8.0, jitter=0.0)
    recording = read_recording((line + "\n" + text([r[1:] for r in cells(fast)], "x;y;z", ";")).encode())
    assert recording.sample_rate_hz == pytest.approx(2048.0)


def test_the_speed_of_a_line_is_no_rate_of_samples() -> None:
    data = "Data rate: 9600\n" + text([r[1:] for r in cells(TRUTH)], "x,y,z")
    with pytest.raises(ReadingError, match="no column of times"):
        read_recording(data.encode())

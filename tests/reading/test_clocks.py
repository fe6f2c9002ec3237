"""Clocks in several columns, or with other marks than colons.

The truth is the time that they were printed from; the ways of writing are common practice, no source.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import numpy as np
import pytest

from tests.reading.make import Truth, cells, codes, shake, text
from vibecore.reading import read_recording

TRUTH = shake(seconds=10.0)


# --- a clock in several columns ---

START_S = 23 * 3600 + 59 * 60 + 40.5  # midnight comes in the middle
SPLIT: dict[str, Callable[[float], list[object]]] = {
    "minute,second": lambda s: [int(s // 60) % 60, f"{s % 60:.4f}"],
    "min,sec": lambda s: [int(s // 60) % 60, f"{s % 60:.4f}"],
    "hour,minute,second": lambda s: [int(s // 3600) % 24, int(s // 60) % 60, f"{s % 60:.4f}"],
    "Stunde,Minute,Sekunde": lambda s: [int(s // 3600) % 24, int(s // 60) % 60, f"{s % 60:.4f}"],
    "h,m,s,ms": lambda s: [int(s // 3600) % 24, int(s // 60) % 60, int(s) % 60, f"{s % 1 * 1e3:.1f}"],
    "Year,Month,Day,Hour,Minute,Second,Millisecond": lambda s: [
        2026,
        3,
        14 + (s >= 86400),
        int(s // 3600) % 24,
        int(s // 60) % 60,
        int(s) % 60,
        f"{s % 1 * 1e3:.1f}",
    ],
    "seconds,nanoseconds": lambda s: [1_700_000_000 + int(s), int(s % 1 * 1e9)],
    "sec,usec": lambda s: [1_700_000_000 + int(s), int(s % 1 * 1e6)],
    "time,ms": lambda s: [
        f"{int(s // 3600) % 24:02d}:{int(s // 60) % 60:02d}:{int(s) % 60:02d}",
        int(s % 1 * 1e3),
    ],
    "date,time,millis": lambda s: [
        "2026-03-14",
        f"{int(s // 3600) % 24:02d}:{int(s // 60) % 60:02d}:{int(s) % 60:02d}",
        int(s % 1 * 1e3),
    ],
}


@pytest.mark.parametrize("names", SPLIT)
@pytest.mark.parametrize("where", ["before", "behind"])
def test_a_clock_in_several_columns(names: str, where: str) -> None:
    """With uneven steps and a gap across a full second, so that no part of it alone gives the time."""
    truth = shake(100.0, 60.0, jitter=0.3)
    keep = (truth.t_s < 30.2) | (truth.t_s > 31.7)
    truth = Truth(truth.t_s[keep], truth.accel[keep], 100.0)
    rows = []
    for row in cells(truth):
        parts = [str(p) for p in SPLIT[names](START_S + float(row[0]))]
        rows.append([*parts, *row[1:]] if where == "before" else [*row[1:], *parts])
    header = f"{names},x,y,z" if where == "before" else f"x,y,z,{names}"
    recording = read_recording(text(rows, header).encode())
    np.testing.assert_allclose(recording.t_s, truth.t_s, atol=1.1e-3)
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=1e-5)
    assert recording.lost_samples == pytest.approx(150, abs=2)
    assert codes(recording) == ["lost-samples"]


def test_parts_of_a_clock_behind_the_same_words() -> None:
    """From a full second on, as robots write their stamps; common practice, no source."""
    truth = shake(100.0, 60.0, jitter=0.3)
    rows = [
        [str(int(t)), str(int(t % 1 * 1e9)), *r[1:]] for t, r in zip(truth.t_s, cells(truth), strict=True)
    ]
    recording = read_recording(text(rows, "stamp.secs,stamp.nsecs,x,y,z").encode())
    np.testing.assert_allclose(recording.t_s, truth.t_s, atol=1e-6)
    assert not recording.warnings


def test_the_same_time_in_two_units_is_not_added() -> None:
    for names, unit in (("s,ms", 1e3), ("min,s", None)):
        rows = []
        for row in cells(TRUTH):
            t = float(row[0])
            rows.append([row[0], f"{t * unit:.3f}", *row[1:]] if unit else [f"{t / 60:.8f}", *row])
        np.testing.assert_allclose(
            read_recording(text(rows, f"{names},x,y,z").encode()).t_s, TRUTH.t_s, atol=1e-5
        )


ODD_CLOCKS = [
    "%Y-%m-%d %H-%M-%S.%f",
    "%Y-%m-%d_%H-%M-%S-%f",
    "%Y-%m-%dT%H.%M.%S.%f",
    "%d.%m.%Y %H.%M.%S.%f",
    "%H-%M-%S-%f",
    "%H-%M-%S.%f",
    "%H.%M.%S.%f",
    "%H.%M.%S,%f",
    "%Hh%Mm%S.%fs",
    "%H_%M_%S_%f",
]


@pytest.mark.parametrize("digits", [3, 6])
@pytest.mark.parametrize("form", ODD_CLOCKS)
def test_clocks_with_other_marks_than_colons(form: str, digits: int) -> None:
    begin = dt.datetime(2026, 3, 14, 11, 59, 50)
    stamps = []
    for t in TRUTH.t_s:
        at = begin + dt.timedelta(seconds=float(t))
        stamps.append(at.strftime(form.replace("%f", "#")).replace("#", f"{at.microsecond:06d}"[:digits]))
    rows = [[s, *row[1:]] for s, row in zip(stamps, cells(TRUTH), strict=True)]
    recording = read_recording(text(rows, "time;x;y;z", ";").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1.1e-3)
    assert codes(recording) == []


def test_a_finer_clock_beside_one_in_parts_is_taken() -> None:
    rows = [["12", "7", str(int(t)), *row] for t, row in zip(TRUTH.t_s, cells(TRUTH), strict=True)]
    recording = read_recording(text(rows, "hour,minute,second,timestamp,x,y,z").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)
    assert codes(recording) == []


@pytest.mark.parametrize("first", [True, False], ids=["acceleration first", "turning first"])
def test_of_two_columns_called_time_each_sensor_has_its_own(first: bool) -> None:
    acc, gyro = ["time,acc_x,acc_y,acc_z", "time,gyro_x,gyro_y,gyro_z"]
    rows = []
    for t, row in zip(TRUTH.t_s, cells(TRUTH), strict=True):
        other = [f"{t / 2 + 5:.6f}", "0.1", f"{t % 0.3:.4f}", "0.2"]
        rows.append([*row, *other] if first else [*other, *row])
    header = f"{acc},{gyro}" if first else f"{gyro},{acc}"
    np.testing.assert_allclose(read_recording(text(rows, header).encode()).t_s, TRUTH.t_s, atol=1e-5)


@pytest.mark.parametrize("round_s", [86400.0, 604800.0], ids=["of day", "of week"])
@pytest.mark.parametrize(("name", "unit"), [("t (s)", 1.0), ("t", 1.0), ("t (ms)", 1e-3), ("t", 1e-3)])
def test_seconds_over_midnight(name: str, unit: float, round_s: float) -> None:
    at_s = (TRUTH.t_s + round_s - 7.0) % round_s
    rows = [[f"{t / unit:.3f}", *row[1:]] for t, row in zip(at_s, cells(TRUTH), strict=True)]
    recording = read_recording(text(rows, f"{name},x,y,z").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1.1e-3)
    assert not recording.warnings


@pytest.mark.parametrize(("part_s", "unit"), [(3600.0, 1.0), (60.0, 1.0), (60.0, 1e-3), (1.0, 1e-3)])
def test_seconds_of_an_hour_a_minute_or_a_second(part_s: float, unit: float) -> None:
    """60 s make a minute, 60 min an hour (SI Brochure, 9th edition)."""
    at_s = (TRUTH.t_s + part_s - 7.4) % part_s
    rows = [[f"{t / unit:.3f}", *row[1:]] for t, row in zip(at_s, cells(TRUTH), strict=True)]
    recording = read_recording(text(rows, f"{'seconds' if unit == 1.0 else 'ms'},x,y,z").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1.1e-3)
    assert not recording.warnings


def test_a_minute_that_begins_at_nothing_again_may_be_another_recording() -> None:
    truth = shake(50.0, 90.0)
    rows = [[f"{t % 60.0:.3f}", *row[1:]] for t, row in zip(truth.t_s, cells(truth), strict=True)]
    assert "several-recordings" in codes(read_recording(text(rows, "seconds,x,y,z").encode()))


def test_a_satellites_time_is_a_time() -> None:
    recording = read_recording(text(cells(TRUTH), "gps_time,ax,ay,az").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)


def test_days_as_astronomers_count() -> None:
    """2461114.125 is 2026-03-14 15:00: days since noon of the first of January 4713 before our era."""
    rows = [
        [f"{2461114.125 + t / 86400:.10f}", *row[1:]] for t, row in zip(TRUTH.t_s, cells(TRUTH), strict=True)
    ]
    recording = read_recording(text(rows, "julian date,ax,ay,az").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-3)


@pytest.mark.parametrize("name", ["packet_time,offset_ms", "time,time in packet (ms)", "timestamp,t_ms"])
def test_a_time_of_each_packet_and_one_within_it(name: str) -> None:
    rows = []
    for i, row in enumerate(cells(TRUTH)):
        first = TRUTH.t_s[i // 50 * 50]
        rows.append([f"{1e3 + first:.4f}", f"{(TRUTH.t_s[i] - first) * 1e3:.1f}", *row[1:]])
    recording = read_recording(text(rows, f"{name},x,y,z").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=2e-4)
    assert not recording.warnings

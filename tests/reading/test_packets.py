"""Samples that come several at a time: in one row, in one packet of JSON, or under one time stamp.

The truth is the shake that the files were made of; the ways of writing are common practice, no source.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from tests.reading.make import Floats, G, Truth, cells, codes, shake, text
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import read_recording

TRUTH = shake(100.0, 24.0, jitter=0.0)
N = len(TRUTH.t_s)
FREE = shake(100.0, 24.0, jitter=0.0, gravity=False)
RNG = np.random.default_rng(3)


def check(recording: Recording, truth: Truth = TRUTH, t_s: float = 1e-3) -> None:
    assert len(recording.t_s) == N
    np.testing.assert_allclose(recording.t_s, truth.t_s, atol=t_s)
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=1e-4)
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=1e-3)
    assert recording.lost_samples == 0


# --- several samples in a row ---


def in_rows(header: list[str] | None, count: int, by_axis: bool = False, axes: Floats = TRUTH.accel) -> bytes:
    """Rows of a time and `count` samples: x1, y1, z1, x2 ... or, by axis, x1, x2 ... y1 ..."""
    rows = []
    for k in range(0, N, count):
        some = axes[k : k + count]
        rows.append([f"{TRUTH.t_s[k]:.4f}", *(f"{v:.5f}" for v in (some.T if by_axis else some).ravel())])
    return text(rows, ",".join(header) if header else None).encode()


@pytest.mark.parametrize("count", [2, 3, 5, 20])
@pytest.mark.parametrize("name", ["{a}{k}", "a{a}_{k}", "acc_{k}_{a}", "{a}[{k}]"])
@pytest.mark.parametrize("by_axis", [True, False], ids=["by axis", "by sample"])
@pytest.mark.parametrize("start", [0, 1])
def test_several_samples_in_a_row(count: int, name: str, by_axis: bool, start: int) -> None:
    each = (
        [(a, k) for a in "xyz" for k in range(count)]
        if by_axis
        else [(a, k) for k in range(count) for a in "xyz"]
    )
    header = ["time", *(name.format(a=a, k=k + start) for a, k in each)]
    recording = read_recording(in_rows(header, count, by_axis))
    check(recording)
    assert codes(recording) == ["samples-in-row", "coarse-stamps"]


@pytest.mark.parametrize("count", [2, 3, 5])
def test_several_samples_in_a_row_without_names(count: int) -> None:
    check(read_recording(in_rows(None, count)))


def test_samples_without_gravity_in_a_row() -> None:
    header = ["time", *(f"lin_{a}{k}" for k in (1, 2, 3) for a in "xyz")]
    recording = read_recording(in_rows(header, 3, axes=FREE.accel / G * G))
    check(recording, FREE)


@pytest.mark.parametrize("turned", [[1, 2, 0], [0, 1, 2]], ids=["another way up", "the same way up"])
def test_two_sensors_side_by_side_are_no_samples_in_a_row(turned: list[int]) -> None:
    """Both feel the same shake at the same time; the one that is not read is told."""
    other = TRUTH.accel[:, turned] + RNG.normal(0, 0.05, (N, 3))
    rows = [[*row, *(f"{v:.5f}" for v in o)] for row, o in zip(cells(TRUTH), other, strict=True)]
    recording = read_recording(text(rows, "time,x1,y1,z1,x2,y2,z2").encode())
    check(recording)
    assert codes(recording) == ["columns-chosen"]


# --- a time in the first row of each batch, or the same in all of them ---


@pytest.mark.parametrize("blank", ["", "NaN", "same"])
@pytest.mark.parametrize("count", [3, 10, 50])
@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("time", lambda t: f"{t:.4f}"),
        ("time_ms", lambda t: f"{t * 1e3:.0f}"),
        ("timestamp", lambda t: str(1_700_000_000_300_994_303 + round(t * 1e9))),
        ("time", lambda t: f"12:00:{t:06.3f}"),
    ],
    ids=["s", "ms", "ns", "clock"],
)
def test_a_time_for_each_batch(name: str, written: Callable[[float], str], count: int, blank: str) -> None:
    rows = []
    for i, row in enumerate(cells(TRUTH)):
        stamp = written(TRUTH.t_s[i // count * count]) if i % count == 0 or blank == "same" else blank
        rows.append([stamp, *row[1:]])
    recording = read_recording(text(rows, f"{name},x,y,z").encode())
    check(recording)
    assert codes(recording) == ["coarse-stamps"]


def test_a_time_behind_each_batch() -> None:
    """The rows before the first time have none."""
    rows = [[row[0] if i % 10 == 9 else "", *row[1:]] for i, row in enumerate(cells(TRUTH))]
    recording = read_recording(text(rows).encode())
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=1e-3)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel[9:], atol=1e-4)


def test_times_that_are_lacking_here_and_there_are_left_out() -> None:
    rows = [["" if i % 10 == 9 else row[0], *row[1:]] for i, row in enumerate(cells(TRUTH))]
    recording = read_recording(text(rows).encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s[np.arange(N) % 10 != 9], atol=1e-4)
    assert recording.lost_samples == N // 10 - 1


# --- packets and vectors in JSON ---

ROWS = [[round(float(v), 5) for v in row] for row in TRUTH.accel]
OTHER = [[round(float(v), 5) for v in row] for row in RNG.normal(0, 0.05, (N, 3))]
TIMES = [round(float(t), 5) for t in TRUTH.t_s]
STARTS = range(0, N, 50)


def records(rows: list[list[float]], k: int = 0, count: int = N) -> list[dict[str, float]]:
    return [
        {"t": t, **dict(zip("xyz", r, strict=True))}
        for t, r in zip(TIMES[k : k + count], rows[k : k + count], strict=True)
    ]


PACKETS: dict[str, Any] = {
    "start and step": [{"t0": TIMES[k], "dt": 0.01, "samples": ROWS[k : k + 50]} for k in STARTS],
    "start": [{"time": TIMES[k], "samples": ROWS[k : k + 50]} for k in STARTS],
    "step": [{"n": k, "dt": 0.01, "samples": ROWS[k : k + 50]} for k in STARTS],
    "rate": [{"packet": 7, "rate": 100, "samples": ROWS[k : k + 50]} for k in STARTS],
    "epoch": [
        {"timestamp": 1_700_000_000_000 + k * 10, "rate": 100, "data": ROWS[k : k + 50]} for k in STARTS
    ],
    "records": [{"batch": k, "samples": records(ROWS, k, 50)} for k in STARTS],
    "rows with times": [
        {"batch": k, "samples": [[t, *r] for t, r in zip(TIMES[k : k + 50], ROWS[k : k + 50], strict=True)]}
        for k in STARTS
    ],
    "columns": [
        {"t": TIMES[k : k + 50], **{a: [r[i] for r in ROWS[k : k + 50]] for i, a in enumerate("xyz")}}
        for k in STARTS
    ],
    "two sensors": [{"t": TIMES[k], "gyro": OTHER[k : k + 50], "acc": ROWS[k : k + 50]} for k in STARTS],
    "sensors": {
        "sensors": [
            {"type": "gyroscope", "readings": records(OTHER)},
            {"type": "accelerometer", "readings": records(ROWS)},
        ]
    },
    "vectors": {"time": TIMES, "acceleration": ROWS},
    "vectors of two sensors": {"time": TIMES, "gyro": OTHER, "acc": ROWS},
    "vectors by axis": {"time": TIMES, "acceleration": [list(axis) for axis in zip(*ROWS, strict=True)]},
    "vectors inside": {"t": TIMES, "data": {"acc": ROWS}},
    "a vector each": [{"t": t, "acc": r} for t, r in zip(TIMES, ROWS, strict=True)],
    "time in the vector": [{"n": 3, "values": [t, *r]} for t, r in zip(TIMES, ROWS, strict=True)],
}


@pytest.mark.parametrize("form", PACKETS)
def test_packets_and_vectors_in_json(form: str) -> None:
    check(read_recording(json.dumps(PACKETS[form]).encode(), name="idle.json"))


@pytest.mark.parametrize("form", [form for form, value in PACKETS.items() if isinstance(value, list)])
def test_packets_line_by_line(form: str) -> None:
    check(read_recording("\n".join(json.dumps(p) for p in PACKETS[form]).encode(), name="idle.jsonl"))


def test_a_packet_that_is_lost_is_a_gap() -> None:
    packets = [p for k, p in enumerate(PACKETS["start and step"]) if k not in (10, 11, 30)]
    recording = read_recording(json.dumps(packets).encode())
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=1e-3)
    assert recording.lost_samples == pytest.approx(150, abs=2)


def test_packets_of_another_sensor_are_refused() -> None:
    for key in ("gyro", "rotationRate"):
        packets = [{"t": TIMES[k], key: OTHER[k : k + 50]} for k in STARTS]
        with pytest.raises(ReadingError, match="turning rates"):
            read_recording(json.dumps(packets).encode())


@pytest.mark.parametrize("size", [0.25, 0.6], ids=["as strong", "stronger"])
@pytest.mark.parametrize("with_names", [True, False])
def test_two_sensors_that_feel_nothing_of_each_other(size: float, with_names: bool) -> None:
    """On engine and seat, their steady part taken out: no samples of one sensor at twice the rate."""
    other = RNG.normal(0, size, (N, 3))
    rows = [[*row, *(f"{v:.5f}" for v in o)] for row, o in zip(cells(FREE), other, strict=True)]
    header = "time,acc1_x,acc1_y,acc1_z,acc2_x,acc2_y,acc2_z" if with_names else None
    if not with_names:
        with pytest.raises(ReadingError, match="no three columns"):
            read_recording(text(rows, header).encode())
        return
    recording = read_recording(text(rows, header).encode())
    check(recording, FREE)
    assert codes(recording)[0] == "columns-chosen"

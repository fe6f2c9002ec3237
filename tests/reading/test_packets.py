"""Samples that come several at a time: in one row, in one packet of JSON, or under one time stamp.

The truth is the shake that the files were made of; the ways of writing are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from tests.reading.make import Floats, G, Truth, cells, shake, text
from vibecore.model import Recording
from vibecore.reading import read_recording

TRUTH = shake(100.0, 24.0, jitter=0.0)
N = len(TRUTH.t_s)
FREE = shake(100.0, 24.0, jitter=0.0, gravity=False)
RNG = np.random.default_rng(3)


def codes(recording: Recording) -> list[str]:
    return [w.code for w in recording.warnings]


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

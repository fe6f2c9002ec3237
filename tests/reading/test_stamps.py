"""Time: units, dates, disorder, equal stamps, bursts, against known truth."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.reading.make import cells, codes, csv, shake, text, with_stamps
from vibecore.errors import ReadingError
from vibecore.reading import dates, read_recording

TRUTH = shake()


# --- units ---


def test_nineteen_digits_stay_exact() -> None:
    """float64 holds 53 bits (IEEE 754): at 1.7e18 it steps by 256 ns. Steps of 2,500,001 ns come back
    whole."""
    start, step = 1_700_000_000_300_994_303, 2_500_001
    truth = shake(400.0, 5.0)
    recording = with_stamps([str(start + i * step) for i in range(2000)], truth)
    np.testing.assert_allclose(np.diff(recording.t_s), step * 1e-9, rtol=0, atol=2e-15)
    assert recording.sample_rate_hz == pytest.approx(1e9 / step, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "unit"), [("time (us)", 1e-3), ("time (s)", 1e-3), ("t_ns", 1e-6), ("t_ms", 1.0)]
)
def test_a_header_that_names_an_impossible_unit(name: str, unit: float) -> None:
    truth = shake(250.0, 10.0)
    recording = with_stamps([f"{t / unit:.3f}" for t in truth.t_s], truth, name)
    assert recording.sample_rate_hz == pytest.approx(250.0, rel=1e-3)
    assert codes(recording) == ["time-unit-mismatch"]


def test_a_counter_is_no_time() -> None:
    with pytest.raises(ReadingError, match="many samples a second"):
        with_stamps([str(i) for i in range(2000)], name="n")
    rows = text([row[1:] for row in cells(TRUTH)], "x,y,z").encode()
    with pytest.raises(ReadingError, match="many samples a second"):
        read_recording(rows)
    given_rate = read_recording(rows, rate_hz=100.0)
    assert given_rate.sample_rate_hz == pytest.approx(100.0)
    assert given_rate.t_s[-1] == pytest.approx(19.99)


def test_own_stamps_win_over_a_given_rate() -> None:
    recording = read_recording(csv(TRUTH).encode(), rate_hz=50.0)
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=1e-3)
    assert codes(recording) == ["rate-unused"]


# --- dates ---

START = dt.datetime(2024, 2, 28, 23, 59, 50)  # across midnight and a leap day
FORMS = {
    "ISO 8601 basic separator": "%Y-%m-%dT%H:%M:%S.%f",
    "ISO 8601 with blank": "%Y-%m-%d %H:%M:%S.%f",
    "ISO 8601 decimal comma": "%Y-%m-%d %H:%M:%S,%f",
    "colon before the fraction": "%Y-%m-%d %H:%M:%S:%f",
    "ISO 8601 zulu": "%Y-%m-%dT%H:%M:%S.%fZ",
    "ISO 8601 offset": "%Y-%m-%dT%H:%M:%S.%f+01:00",
    "day first": "%d.%m.%Y %H:%M:%S.%f",
    "month first, twelve hours": "%m/%d/%Y %I:%M:%S.%f %p",
    "time of day": "%H:%M:%S.%f",
}


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_dates_in_the_last_column(form: str) -> None:
    truth = shake(100.0, 20.0)
    when = [(START + dt.timedelta(seconds=float(t))).strftime(form) for t in truth.t_s]
    rows = [[*row[1:], w] for row, w in zip(cells(truth), when, strict=True)]
    recording = read_recording(text(rows, "x;y;z;when", ";").encode())
    np.testing.assert_allclose(recording.t_s, truth.t_s, atol=2e-6)
    assert codes(recording) == []


@settings(max_examples=60, deadline=None)
@given(st.lists(st.datetimes(dt.datetime(1971, 1, 1), dt.datetime(2099, 12, 31)), min_size=2, max_size=20))
def test_iso_dates_against_pandas(when: list[dt.datetime]) -> None:
    """A peer: pandas.to_datetime on the same ISO 8601 texts."""
    texts = [w.isoformat(timespec="microseconds") for w in when]
    peer = pd.to_datetime(pd.Series(texts))
    expected = (peer - peer[0]).dt.total_seconds().to_numpy()
    ours = dates.seconds(pa.array(texts))
    assert ours is not None
    np.testing.assert_allclose(ours, expected, atol=1e-5, rtol=1e-14)


def test_minutes_and_seconds() -> None:
    stamps = [f"{int(t + 50) // 60:02d}:{(t + 50) % 60:06.3f}" for t in TRUTH.t_s]
    np.testing.assert_allclose(with_stamps(stamps).t_s, TRUTH.t_s, atol=1.1e-3)


def test_text_that_is_no_date() -> None:
    assert dates.seconds(pa.array(["left", "right", "10:00:00"] * 5)) is None


# --- disorder ---


def test_rows_out_of_order_are_sorted() -> None:
    rng = np.random.default_rng(0)
    rows = cells(TRUTH)
    shuffled = [r for i in range(0, 2000, 10) for r in (rows[i + int(k)] for k in rng.permutation(10))]
    recording = read_recording(text(shuffled).encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)
    assert codes(recording) == ["backward-stamps"]


def test_newest_first() -> None:
    recording = read_recording(text(cells(TRUTH)[::-1]).encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=2e-6)


def test_clock_set_back_is_carried_on() -> None:
    recording = with_stamps([f"{t - 0.5 * (t > 10):.6f}" for t in TRUTH.t_s])
    assert recording.t_s[-1] == pytest.approx(TRUTH.t_s[-1], abs=0.02)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)


@pytest.mark.parametrize("lost", [0.0, 0.05])
@pytest.mark.parametrize("late", [0.3, 0.4, 0.6])
def test_stamps_so_uneven_that_some_go_back(late: float, lost: float) -> None:
    """Some late by a step and more: the clock was never set, and no time may be added."""
    rng = np.random.default_rng(1)
    truth = shake(200.0, 40.0)
    kept = np.flatnonzero(rng.random(len(truth.t_s)) >= lost)
    sampled = replace(truth, t_s=truth.t_s[kept], accel=truth.accel[kept])
    stamps = sampled.t_s + rng.normal(0.02, late / 200.0, len(kept))
    recording = with_stamps([f"{t:.6f}" for t in stamps], sampled)
    assert recording.t_s[-1] == pytest.approx(truth.t_s[-1], abs=0.02)
    assert codes(recording)[0] == "backward-stamps"


def test_two_recordings_in_one_file() -> None:
    rows = cells(TRUTH)
    recording = read_recording(text([*cells(shake(seed=1))[:700], *rows]).encode())
    assert len(recording.t_s) == 2000
    assert codes(recording) == ["several-recordings"]
    assert "rows 701 to 2700" in recording.warnings[0].message


def test_single_broken_stamps_are_left_out() -> None:
    stamps = [f"{t:.6f}" for t in TRUTH.t_s]
    for i, bad in ((300, "99999999.5"), (900, "-4e7"), (1999, "7e8")):
        stamps[i] = bad
    recording = with_stamps(stamps)
    assert codes(recording)[0] == "lone-stamps"
    assert len(recording.t_s) == 1997
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=1e-3)
    assert recording.lost_samples == 2  # the last one left no hole


# --- coarse clocks, bursts ---


def test_first_row_of_zeros() -> None:
    rows = [[str(1_700_000_000_000 + round(float(r[0]) * 1e3)), *r[1:]] for r in cells(TRUTH)]
    recording = read_recording(text([["0", "0", "0", "0"], *rows]).encode())
    assert len(recording.t_s) == 2000
    assert codes(recording) == ["first-rows"]
    assert recording.rows == 2001


@pytest.mark.parametrize("rate_hz", [100.0, 1000.0])
def test_whole_second_stamps(rate_hz: float) -> None:
    truth = shake(rate_hz, 20.0)
    recording = with_stamps([str(1_700_000_000 + int(t + 0.37)) for t in truth.t_s], truth)
    assert recording.sample_rate_hz == pytest.approx(rate_hz, rel=2e-3)
    np.testing.assert_allclose(recording.t_s, truth.t_s, atol=0.05)
    assert codes(recording) == ["coarse-stamps"]


def test_a_coarse_clock_keeps_its_gap() -> None:
    recording = with_stamps([str(int(t + 0.37 + 5 * (t > 9))) for t in TRUTH.t_s])
    assert recording.lost_samples == pytest.approx(500, abs=15)


def test_bursts_are_spread() -> None:
    stamps = [f"{TRUTH.t_s[i // 10 * 10] + 0.0001 * (i % 10):.6f}" for i in range(2000)]
    recording = with_stamps(stamps)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=0.003)
    assert codes(recording) == ["bursts"]


def test_a_clock_set_back_again_and_again_is_one_sensor() -> None:
    """A phone that keeps its clock in step with a network's: 30 ms back every other second."""
    recording = with_stamps([f"{t - 0.03 * (t // 2):.6f}" for t in TRUTH.t_s])
    assert codes(recording) == ["backward-stamps"]
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=0.02)

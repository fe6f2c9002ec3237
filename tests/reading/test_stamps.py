"""Time: units, dates, disorder, equal stamps, bursts, repeats, gaps; rate and lost samples against known
truth."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.reading.make import Truth, cells, csv, shake, text
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import dates, read_recording
from vibecore.reading.rate import find_rate

TRUTH = shake()


def codes(recording: Recording) -> list[str]:
    return [w.code for w in recording.warnings]


def with_stamps(stamps: list[str], truth: Truth = TRUTH, name: str = "time") -> Recording:
    rows = [[stamp, *row[1:]] for stamp, row in zip(stamps, cells(truth), strict=True)]
    return read_recording(text(rows, f"{name},x,y,z").encode())


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


# --- coarse clocks, bursts, repeats ---


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


@settings(max_examples=15, deadline=None)
@given(poll_hz=st.floats(115.0, 400.0), seed=st.integers(0, 99))
def test_a_logger_that_polls_too_fast(poll_hz: float, seed: int) -> None:
    """Each value of the sensor once, though it was asked for more often."""
    truth = shake(100.0, 20.0, seed=seed)
    asked = np.arange(0, truth.t_s[-1], 1 / poll_hz)
    at = np.searchsorted(truth.t_s, asked, side="right") - 1
    polled = Truth(asked, truth.accel[at], poll_hz)
    recording = read_recording(csv(polled).encode())
    assert codes(recording)[0] == "repeated-rows"
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=5e-3)
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel[: len(recording.t_s)], atol=1e-5)


@pytest.mark.parametrize(("noise", "alike"), [(0.03, 0.2), (0.018, 0.9), (0.014, 0.98)])
def test_a_coarse_sensor_at_rest_is_not_taken_for_polling(noise: float, alike: float) -> None:
    """Browsers round to 0.1 m/s2: rows repeat by chance, axis by axis, and stay; nearly all of them when the
    engine is off."""
    rng = np.random.default_rng(0)
    accel = np.round(rng.normal([0.012, 0.0, 9.81], noise, (3000, 3)), 1)
    assert np.mean((np.diff(accel, axis=0) == 0).all(axis=1)) > alike
    recording = read_recording(csv(Truth(np.arange(3000) / 60, accel, 60.0)).encode())
    assert len(recording.t_s) == 3000


@pytest.mark.parametrize(("level", "noise"), [(0.1, 0.004), (0.1, 0.008), (0.3, 0.004)])
def test_a_coarse_sensor_on_a_smooth_engine_is_not_taken_for_polling(level: float, noise: float) -> None:
    """At the turns of a smooth motion the three axes stand still together, more often than three independent
    ones: not in a beat, as two rates would."""
    rng = np.random.default_rng(4)
    t_s = np.arange(3000) / 100
    turn = 2 * np.pi * np.cumsum(11.7 + 0.05 * np.sin(2 * np.pi * t_s / 3.7)) / 100
    motion = level * (np.sin(turn) + 0.8 * np.sin(turn / 2 + 1))
    accel = np.outer(motion, [0.6, 0.3, 0.74]) + rng.normal([0.2, 0.1, 9.8], noise, (3000, 3))
    accel = np.round(accel / 0.0383) * 0.0383  # 12 bits at 8 g
    assert np.mean((np.diff(accel, axis=0) == 0).all(axis=1)) > 0.05
    recording = read_recording(csv(Truth(t_s, accel, 100.0)).encode())
    assert len(recording.t_s) == 3000
    assert "repeated-rows" not in codes(recording)


# --- rate and lost samples ---


@settings(max_examples=60, deadline=None)
@given(
    rate_hz=st.sampled_from([50.0, 59.4, 104.3, 208.1, 400.7, 499.0]),
    jitter=st.sampled_from([0.0, 0.05, 0.15, 0.25]),
    loss=st.sampled_from([0.0, 0.002, 0.01, 0.05]),
    gap=st.sampled_from([0, 3, 100, 1000]),
    rounded=st.booleans(),
    seed=st.integers(0, 10_000),
)
@example(rate_hz=59.4, jitter=0.25, loss=0.05, gap=1000, rounded=False, seed=1477)  # the gap slipped a turn
@example(rate_hz=499.0, jitter=0.0, loss=0.01, gap=1000, rounded=True, seed=4415)  # 501 fits whole ms as well
def test_rate_and_lost_samples(
    rate_hz: float, jitter: float, loss: float, gap: int, rounded: bool, seed: int
) -> None:
    """Stamps with known rate, jitter (in steps), single losses and a gap: the rate within 0.05 %, the count
    within the two ends."""
    rng = np.random.default_rng(seed)
    n = int(rate_hz * 40)
    kept = rng.random(n) >= loss
    kept[n // 2 : n // 2 + gap] = False
    kept[[0, -1]] = True
    t = (np.arange(n) + np.clip(rng.normal(0, jitter, n), -0.49, 0.49)) / rate_hz
    if rounded:
        t = np.round(t, 3)
    t = t[kept] - t[0]
    t = t[np.concatenate([[True], np.diff(t) > 0])]
    found = find_rate(t)
    if not found.steady:  # so much disorder that no beat is left: it must say so rather than guess
        assert rounded
        assert jitter >= 0.15
        return
    if rounded and jitter >= 0.15 and 1 / found.step_s == pytest.approx(1000 - rate_hz, rel=5e-4):
        return  # whole ms fit 499 and 501 a second alike (aliasing), and so much jitter hides which it was
    assert 1 / found.step_s == pytest.approx(rate_hz, rel=5e-4)
    assert found.lost == pytest.approx(n - len(t), abs=2)


def test_event_driven_stamps_are_told() -> None:
    rng = np.random.default_rng(1)
    t = np.cumsum(rng.uniform(0.001, 0.05, 2000))
    recording = with_stamps([f"{v:.5f}" for v in t])
    assert codes(recording) == ["uneven-stamps"]
    assert recording.sample_rate_hz == pytest.approx(1999 / (t[-1] - t[0]), rel=0.01)
    assert recording.lost_samples == 0


@pytest.mark.parametrize("pause_s", [12.0, 60.0, 86400.0 * 3])
def test_two_recordings_with_a_pause_between_are_not_bridged(pause_s: float) -> None:
    """20 s at 100 a second, the pause after 13 s: the first 1300 rows are the longest part."""
    recording = with_stamps([f"{t + pause_s * (t > 12.995):.6f}" for t in TRUTH.t_s])
    assert codes(recording) == ["several-recordings"]
    assert (len(recording.t_s), recording.lost_samples) == (1300, 0)
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=1e-4)


def test_a_gap_is_counted_and_not_filled() -> None:
    recording = with_stamps([f"{t + 3 * (t > 10):.6f}" for t in TRUTH.t_s])
    assert recording.lost_samples == 300
    assert codes(recording) == ["lost-samples"]
    assert len(recording.t_s) == 2000


def test_a_clock_set_back_again_and_again_is_one_sensor() -> None:
    """A phone that keeps its clock in step with a network's: 30 ms back every other second."""
    recording = with_stamps([f"{t - 0.03 * (t // 2):.6f}" for t in TRUTH.t_s])
    assert codes(recording) == ["backward-stamps"]
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=0.02)


@pytest.mark.parametrize("offset", [0.0, 0.15])  # m/s2: of a zero that is off
@pytest.mark.parametrize("rate_hz", [50.0, 75.0])
def test_a_line_at_half_or_a_third_of_the_rate_is_one_sensor(rate_hz: float, offset: float) -> None:
    """Firing at 25 Hz and no gravity: every other or third row is alike."""
    t = np.arange(round(20 * rate_hz)) / rate_hz
    accel = np.outer(np.cos(2 * np.pi * 25.0 * t), [1.0, -0.5, 0.3]) + offset
    accel += np.random.default_rng(0).normal(0, 0.05, accel.shape)
    recording = read_recording(csv(Truth(t, accel, rate_hz), "time,ax (m/s2),ay (m/s2),az (m/s2)").encode())
    np.testing.assert_allclose(recording.accel_m_s2, accel, atol=1e-5)


@pytest.mark.parametrize("unit", [1.0, 1e-3])
def test_a_block_of_rows_that_was_written_again(unit: float) -> None:
    """The same stamps with the same values, two seconds long: no clock that was set back."""
    rows = cells(TRUTH, t_unit=unit, t_digits=6 if unit == 1 else 0)
    recording = read_recording(text([*rows[:900], *rows[700:900], *rows[900:]]).encode())
    assert len(recording.t_s) == len(TRUTH.t_s)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-3)
    assert codes(recording) == ["repeated-rows"]

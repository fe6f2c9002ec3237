"""Rows without a measurement: zeros under gravity, figures that no phone measures, rows alike by chance.

Standard gravity, 9.80665 m/s2 by definition, forbids 0 on all three axes; phone-class parts measure up to
16 g (data sheets). The ways of loggers are common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.reading.make import G, Truth, cells, codes, csv, shake, text
from vibecore.model import Recording
from vibecore.reading import read_recording

TRUTH = shake(100.0, 20.0, jitter=0.0)


def read(rows: list[list[str]], header: str = "time,x,y,z") -> Recording:
    return read_recording(text(rows, header).encode(), name="idle.csv")


@pytest.mark.parametrize("every", [10, 20, 33])
@pytest.mark.parametrize("unit", [1.0, G])
def test_rows_of_zeros_under_gravity_are_left_out(every: int, unit: float) -> None:
    rows = cells(TRUTH, unit=unit)
    gone = np.arange(len(rows)) % every == 7
    for i in np.flatnonzero(gone):
        rows[i][1:] = ["0", "0.000", "0"]
    recording = read(rows)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel[~gone], atol=1e-4)
    assert recording.gravity_included
    assert "zero-rows" in codes(recording)
    message = next(w.message for w in recording.warnings if w.code == "zero-rows")
    assert message.startswith(f"{gone.sum()} of {len(rows)} rows")


def test_rows_of_another_sensor_in_a_wide_table() -> None:
    rows = []
    for row in cells(TRUTH):
        rows.append([*row, "0", "0", "0"])
        rows.append([f"{float(row[0]) + 0.004:.4f}", "0", "0", "0", "0.01", "0.02", "0.01"])
    recording = read(rows, "time,ax,ay,az,gx,gy,gz")
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)
    assert recording.sample_rate_hz == pytest.approx(100.0)


def test_zeros_without_gravity_stay() -> None:
    coarse = shake(100.0, 20.0, gravity=False, jitter=0.0, step=0.5)
    recording = read(cells(coarse), "time (s),x (m/s2),y (m/s2),z (m/s2)")
    assert len(recording.t_s) >= len(coarse.t_s) - 3  # the first of them may be before the sensor started
    assert "zero-rows" not in codes(recording)


@pytest.mark.parametrize("figure", ["-999", "9999", "1e6", "-32768"])
@pytest.mark.parametrize("unit", [1.0, G])
def test_a_figure_beyond_any_phone_is_left_out(figure: str, unit: float) -> None:
    rows = cells(TRUTH, unit=unit)
    rows[700][1] = rows[1300][3] = figure
    recording = read(rows)
    kept = np.delete(TRUTH.accel, [700, 1300], axis=0)
    np.testing.assert_allclose(recording.accel_m_s2, kept, atol=1e-4)
    assert recording.gravity_included
    assert codes(recording)[0] == "broken-figures"
    assert f"such as {float(figure):g}" in recording.warnings[0].message


def test_a_knock_is_no_broken_figure() -> None:
    accel = TRUTH.accel.copy()
    accel[700:703] += 15 * G * np.array([0.3, 0.2, 0.9])
    recording = read_recording(csv(Truth(TRUTH.t_s, accel, 100.0)).encode())
    assert len(recording.t_s) == len(accel)


@pytest.mark.parametrize(("rate", "digits"), [(200.0, 2), (400.0, 2), (400.0, 3)])
def test_rows_alike_on_a_coarse_clock_stay(rate: float, digits: int) -> None:
    """0.01 g and a clock of 10 ms: neighbours are alike by chance, and dropping them would bend the time."""
    truth = shake(rate, 30.0, jitter=0.0)
    recording = read(cells(truth, t_digits=2, unit=G, digits=digits))
    assert len(recording.t_s) == len(truth.t_s)
    assert recording.sample_rate_hz == pytest.approx(rate, rel=2e-3)
    assert "repeated-rows" not in codes(recording)


def test_rows_written_twice_are_left_out() -> None:
    few = [row for i, row in enumerate(cells(TRUTH)) for _ in range(1 + (i % 50 == 3))]
    recording = read(few)
    assert len(recording.t_s) == len(TRUTH.t_s)
    assert codes(recording) == ["repeated-rows"]
    twice = read([row for row in cells(TRUTH) for _ in range(2)])
    assert len(twice.t_s) == len(TRUTH.t_s)


STATISTICS = ["Mean{d}1{d}2{d}9{d}10.1", "Std{d}0.1{d}0.1{d}0.1{d}6.2", "# max 3 3 3", "\nEND"]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", " "])
def test_statistics_below_the_data_are_no_samples(delimiter: str) -> None:
    rows = [["20.1", *r[1:], r[0]] for r in cells(TRUTH)]
    header = delimiter.join(["warm", "x", "y", "z", "time"])
    for count in range(1, len(STATISTICS) + 1):
        end = "\n".join(STATISTICS[:count]).replace("{d}", delimiter)
        recording = read_recording((text(rows, header, delimiter) + end).encode())
        np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)
        np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)
        assert not recording.warnings


def test_last_rows_without_a_first_value_are_rows() -> None:
    rows = [[*r[1:], r[0]] for r in cells(TRUTH)]
    for row in rows[-3:]:
        row[0] = "NaN"
    recording = read_recording(text(rows, "x,y,z,time").encode())
    assert [w.code for w in recording.warnings] == ["missing-values"]


def test_a_few_rows_of_another_time_are_no_recording() -> None:
    """Two rows that look like 1 g behind many in mg: they are not the longest, and too few to be one."""
    rows = [[*r[1:], r[0]] for r in cells(TRUTH, unit=0.00980665)]
    rows = [*rows, ["0.6", "0.6", "0.5", "5000.0"], ["0.6", "0.6", "0.5", "5000.01"]]
    recording = read_recording(text(rows, "x,y,z,time").encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)


@pytest.mark.parametrize("stamps", [True, False])
def test_a_line_of_figures_that_a_word_begins_is_no_row(stamps: bool) -> None:
    """Start and step of each axis, as bench instruments write them above the names."""
    width = 4 if stamps else 3
    lines = [
        "Date\t2026/01/01",
        "X0" + "\t0.0" * width,
        "Delta_X" + "\t0.01" * width,
        "*** end of header ***",
    ]
    names = "\t".join(["time", "x", "y", "z"][-width:] + ["comment"] * stamps)
    rows = [r[-width:] for r in cells(TRUTH)]
    recording = read_recording(text(rows, "\n".join([*lines, names]), "\t").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)
    assert [w.code for w in recording.warnings] == ([] if stamps else ["rate-told"])


@pytest.mark.parametrize("unit", [1.0, G])
@pytest.mark.parametrize("mark", ["-1", "0.5"])
def test_rows_of_one_figure_on_all_axes_are_no_measurement(mark: str, unit: float) -> None:
    """A bus that reads ones where no chip answers gives -1; common practice, no source."""
    rows = cells(TRUTH, unit=unit)
    gone = np.arange(len(rows)) % 50 == 9
    for i in np.flatnonzero(gone):
        rows[i][1:] = [mark] * 3
    recording = read(rows)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel[~gone], atol=1e-4)
    assert codes(recording)[0] == "zero-rows"
    assert f"hold {mark} on all" in recording.warnings[0].message


def test_rows_alike_on_all_axes_by_chance_are_kept() -> None:
    """A phone that stands on its corner, in steps of 0.1 m/s2: some rows have the same on all axes."""
    accel = np.round((TRUTH.accel - TRUTH.accel.mean(axis=0)) / 3 + G / np.sqrt(3), 1)
    recording = read(cells(Truth(TRUTH.t_s, accel, 100.0)))
    assert np.any(np.ptp(accel, axis=1) == 0)
    np.testing.assert_allclose(recording.accel_m_s2, accel, atol=1e-4)

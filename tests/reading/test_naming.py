"""Rows with more cells than the header has names: put right where that is sure, refused where it is not.

A comma before the fraction of a second is what ISO 8601:2004 prefers (4.2.2.4, from memory), and what cuts a
clock in two in a file that parts its cells by commas.
"""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from vibecore import read_recording
from vibecore.errors import ReadingError

T_S = np.arange(600) / 50
ACCEL = np.column_stack(
    [0.3 * np.sin(2 * np.pi * 7 * T_S), 0 * T_S, 9.81 + 0.4 * np.sin(2 * np.pi * 11 * T_S)]
)


def text(header: str, row) -> bytes:
    lines = [header, *(row(t, ",".join(f"{x:.4f}" for x in a)) for t, a in zip(T_S, ACCEL, strict=True))]
    return "\n".join(lines).encode()


@pytest.mark.parametrize(("digits", "form"), [(3, "T"), (6, "T"), (3, " ")])
def test_a_clock_with_a_comma_before_its_fraction_is_one_column(digits, form):
    begin = datetime.datetime(2026, 1, 1, 12, 59, 55)

    def row(t, cells):
        at = begin + datetime.timedelta(seconds=float(t))
        stamp = at.strftime(f"%Y-%m-%d{form}%H:%M:%S,%f")
        return f"{stamp[: len(stamp) - 6 + digits]},{cells}"

    read = read_recording(text("time,x,y,z", row), name="log.csv")
    np.testing.assert_allclose(read.t_s, T_S, atol=2e-3)
    np.testing.assert_allclose(read.accel_m_s2, ACCEL, atol=1e-4)


def test_a_column_without_a_name_between_the_others_is_refused():
    noisy = np.random.default_rng(1).integers(40, 60, len(T_S)).astype(str)
    rows = iter(noisy)
    with pytest.raises(ReadingError, match="4 names over 5 cells a row"):
        read_recording(text("time,x,y,z", lambda t, cells: f"{t:.3f},{next(rows)},{cells}"), name="log.csv")


def test_one_behind_the_others_is_passed_over_where_gravity_lies_under_the_names():
    read = read_recording(text("time,x,y,z", lambda t, cells: f"{t:.3f},{cells},3"), name="log.csv")
    np.testing.assert_allclose(read.accel_m_s2, ACCEL, atol=1e-4)


def test_a_comma_at_the_end_of_each_row_is_no_column():
    read = read_recording(text("time,x,y,z", lambda t, cells: f"{t:.3f},{cells},"), name="log.csv")
    np.testing.assert_allclose(read.accel_m_s2, ACCEL, atol=1e-4)


def test_a_count_of_rows_before_the_names_is_none_of_them():
    count = iter(range(1, len(T_S) + 1))
    read = read_recording(
        text("time,x,y,z", lambda t, cells: f"{next(count)},{t:.3f},{cells}"), name="log.csv"
    )
    np.testing.assert_allclose(read.accel_m_s2, ACCEL, atol=1e-4)

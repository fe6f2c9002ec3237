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


TURNS = np.random.default_rng(2).normal(0, 0.02, (len(T_S), 3))


def with_turns(header: str) -> bytes:
    """A flat phone: y, z and a turning rate beside them hold gravity as well as x, y and z."""
    turns = iter(TURNS)
    return text(header, lambda t, cells: f"{t:.3f},{cells}," + ",".join(f"{w:.4f}" for w in next(turns)))


@pytest.mark.parametrize("header", ["time, s,x,y,z,wx,wy,wz", "time, s,x, m/s2,y, m/s2,z, m/s2,wx,wy,wz"])
def test_a_unit_cut_off_its_name_by_a_comma_is_put_back(header):
    read = read_recording(with_turns(header), name="log.csv")
    np.testing.assert_allclose(read.accel_m_s2, ACCEL, atol=1e-4)


def test_more_names_than_cells_are_refused_unless_gravity_is_under_them_alone():
    with pytest.raises(ReadingError, match="8 names over 7 cells a row"):
        read_recording(with_turns("note,time,ax,ay,az,wx,wy,wz"), name="log.csv")
    for header in ("time,ax,ay,az,wx,wy,wz,note", "time,ax,ay,az,wx,wy,wz,"):
        read = read_recording(with_turns(header), name="log.csv")
        np.testing.assert_allclose(read.accel_m_s2, ACCEL, atol=1e-4)


def test_two_columns_without_names_are_refused_as_one_is():
    with pytest.raises(ReadingError, match="4 names over 6 cells a row"):
        read_recording(text("time,x,y,z", lambda t, cells: f"{t:.3f},20,3,{cells}"), name="log.csv")


def test_a_line_with_a_figure_is_no_line_of_names():
    def row(t, cells):
        return f"{1e6 * t:.0f}\t" + cells.replace(",", "\t")

    read = read_recording(text("Sensor: made up\nTime step 0.02 s", row), name="log.csv")
    np.testing.assert_allclose(read.accel_m_s2, ACCEL, atol=1e-4)
    assert [w.code for w in read.warnings] == ["still-axes"]  # y, and no word of the time


@pytest.mark.parametrize("mark", [";", ","])
def test_a_first_column_without_a_name_is_no_remark(mark):
    """A semicolon begins remarks too, and units may stand below the names."""
    lines = [f"20.1,{t:.3f}," + ",".join(f"{x:.4f}" for x in a) for t, a in zip(T_S, ACCEL, strict=True)]
    heads = [",time,x,y,z,on,", ",,(m/s2),(m/s2),(m/s2),,"]
    data = "\n".join([*heads, *(f"{line},3," for line in lines)])
    for text_of in (data, data.replace("20.1,", "0,")):
        read = read_recording(text_of.replace(",", mark).encode(), name="log.csv")
        np.testing.assert_allclose(read.accel_m_s2, ACCEL, atol=1e-4)
    count = "\n".join([*heads, *(f"{i},{line[5:]},3," for i, line in enumerate(lines))])
    read = read_recording(count.replace(",", mark).encode(), name="log.csv")
    np.testing.assert_allclose(read.accel_m_s2, ACCEL, atol=1e-4)


def test_units_under_names_that_were_moved():
    """A name too few over a count of rows, and as many units as cells."""
    lines = [
        f"{i},{t:.3f}," + ",".join(f"{x:.4f}" for x in a)
        for i, (t, a) in enumerate(zip(T_S, ACCEL, strict=True))
    ]
    read = read_recording("\n".join(["time,x,y,z", "s,m/s2,m/s2,m/s2,m/s2", *lines]).encode(), name="log.csv")
    np.testing.assert_allclose(read.accel_m_s2, ACCEL, atol=1e-4)


TILTED = 9.81 * np.array([-0.8, -0.5, -0.332]) + ACCEL - ACCEL.mean(axis=0)


def tilted(header):
    rows = np.column_stack([T_S, TILTED, TURNS, np.ones(len(T_S))])
    lines = [",".join(f"{x:.4f}" for x in row) for row in rows]
    return read_recording("\n".join([header, *lines]).encode(), name="log.csv")


@pytest.mark.parametrize("header", ["time,ax,ay,ay,az,wx,wy,wz,on", "time,ax,ay,note,az,wx,wy,wz,on"])
def test_gravity_by_half_is_no_proof_of_names(header):
    """9.3 of 9.81 m/s2 under ax, ay, az, and a flag of 1 under a turning rate, 1 g were it one."""
    with pytest.raises(ReadingError, match="9 names over 8 cells"):
        tilted(header)


def test_the_whole_of_gravity_is():
    read = tilted("time,ax (m/s2),ay (m/s2),az (m/s2),wx,wy,wz")
    np.testing.assert_allclose(read.accel_m_s2, TILTED, atol=1e-4)


def test_names_behind_the_axes_are_not_believed_where_one_is_missing():
    """A cell is lacking between the axes and the time, which then has another's name, and another its own."""
    level = np.random.default_rng(3).integers(40, 60, len(T_S))
    rows = np.column_stack([TILTED, TURNS[:, :2], T_S, level])
    lines = [",".join(f"{x:.4f}" for x in row) for row in rows]
    read = read_recording("\n".join(["ax,ay,az,wx,wy,wz,time,level", *lines]).encode(), name="log.csv")
    np.testing.assert_allclose(read.accel_m_s2, TILTED, atol=1e-4)
    np.testing.assert_allclose(read.t_s, T_S, atol=1e-3)

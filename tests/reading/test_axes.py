"""Axes one below the other in a table, or in a file each: invented motion, written so and read back.

That loggers write so is common practice, no source.
"""

from __future__ import annotations

import json

import numpy as np
import pytest

from tests.reading.make import Truth, cells, packed, shake, text
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import read_recording

TRUTH = shake(100.0, 10.0)
FREE = shake(100.0, 10.0, gravity=False)
ROWS = cells(TRUTH)
SETS = {
    "x": ["x", "y", "z"],
    "acc_x": ["acc_x", "acc_y", "acc_z"],
    "Accel Z first": ["Accelerometer X", "Accelerometer Y", "Accelerometer Z"],
    "first": ["first", "second", "third"],
}


def check(recording: Recording, told: tuple[str, ...] = ()) -> None:
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-3)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)
    assert recording.gravity_included
    assert tuple(w.code for w in recording.warnings) == told


def below(names: list[str], rows: list[list[str]] = ROWS) -> list[list[str]]:
    return [[row[0], name, value] for row in rows for name, value in zip(names, row[1:], strict=True)]


@pytest.mark.parametrize("header", ["time,axis,value", "t,name,acceleration (m/s2)", None])
@pytest.mark.parametrize("names", SETS.values(), ids=SETS)
def test_a_row_for_each_axis(names: list[str], header: str | None) -> None:
    check(read_recording(text(below(names), header).encode(), name="idle.csv"))


def test_in_any_order_of_columns_and_rows() -> None:
    rows = [[name, value, t] for t, name, value in below(["x", "y", "z"])]
    check(read_recording(text(rows, "axis,value,time").encode()))
    by_axis = sorted(rows, key=lambda r: (r[0], float(r[2])))
    check(read_recording(text(by_axis, "axis,value,time").encode()))


@pytest.mark.parametrize("first", [0, 1])
def test_numbered_axes(first: int) -> None:
    check(read_recording(text(below([str(first + i) for i in range(3)]), "time,axis,value").encode()))


def test_dates_for_stamps() -> None:
    rows = [[f"2026-03-14 15:30:{float(t):06.3f}", *rest] for t, *rest in below(["x", "y", "z"])]
    check(read_recording(text(rows, "time,axis,value").encode()))


def test_a_stamp_of_its_own_for_each_axis() -> None:
    rows = [
        [f"{float(t) + 0.001 * i:.6f}", name, value]
        for t, *values in ROWS
        for i, (name, value) in enumerate(zip("xyz", values, strict=True))
    ]
    check(read_recording(text(rows, "time,axis,value").encode()))


def test_the_unit_over_the_values_is_kept() -> None:
    rows = below(["x", "y", "z"], cells(FREE, unit=9.80665))
    recording = read_recording(text(rows, "time,axis,value (g)").encode())
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-4)
    assert recording.warnings == ()


def test_two_sensors_below_each_other() -> None:
    rates = Truth(TRUTH.t_s, 0.01 * FREE.accel, 100.0)
    turning, moving = (SETS["acc_x"], [f"gyro_{a}" for a in "xyz"])
    both = [r for pair in zip(below(moving, cells(rates)), below(turning), strict=True) for r in pair]
    check(read_recording(text(both, "time,channel,value").encode()))
    sensors = [
        [sensor, *row]
        for sensor, rows in (("gyroscope", cells(rates)), ("accelerometer", ROWS))
        for row in below(["x", "y", "z"], rows)
    ]
    check(read_recording(text(sensors, "sensor,time,axis,value").encode()), ("sensor-chosen",))


def test_a_row_lost_on_one_axis_takes_its_sample_along() -> None:
    rows = below(["x", "y", "z"])
    del rows[1000]
    recording = read_recording(text(rows, "time,axis,value").encode())
    assert [w.code for w in recording.warnings] == ["unmatched-axes"]
    assert len(recording.t_s) == len(TRUTH.t_s) - 1
    kept = np.delete(TRUTH.accel, 1000 // 3, axis=0)
    np.testing.assert_allclose(recording.accel_m_s2, kept, atol=1e-5)


def test_json_rows_for_each_axis() -> None:
    records = [{"time": float(t), "axis": name, "value": float(v)} for t, name, v in below(["x", "y", "z"])]
    check(read_recording(json.dumps(records).encode()))


# --- a file for each axis ---


def one_axis(k: int, late_s: float = 0.0, skip: slice = slice(0, 0)) -> str:
    rows = [[f"{float(r[0]) + late_s:.6f}", r[1 + k]] for r in ROWS]
    del rows[skip]
    return text(rows, "time,value")


@pytest.mark.parametrize("names", SETS.values(), ids=SETS)
def test_a_file_for_each_axis_in_a_zip(names: list[str]) -> None:
    files: dict[str, str | bytes] = {f"data/{name}.csv": one_axis(k) for k, name in enumerate(names)}
    recording = read_recording(packed({**files, "info.txt": "made up\n"}), name="idle.zip")
    check(recording)
    assert recording.name == "idle.zip"


def test_rows_that_one_file_lacks() -> None:
    files: dict[str, str | bytes] = {
        "x.csv": one_axis(0),
        "y.csv": one_axis(1),
        "z.csv": one_axis(2, 0, slice(9, 12)),
    }
    recording = read_recording(packed(files))
    assert [w.code for w in recording.warnings] == ["unmatched-axes", "lost-samples"]
    assert len(recording.t_s) == len(TRUTH.t_s) - 3


@pytest.mark.parametrize("late_s", [0.004, 60.0])
def test_files_whose_stamps_do_not_agree_are_refused(late_s: float) -> None:
    files: dict[str, str | bytes] = {"x.csv": one_axis(0), "y.csv": one_axis(1, late_s), "z.csv": one_axis(2)}
    with pytest.raises(ReadingError, match="time stamps of x, y, z do not agree"):
        read_recording(packed(files), name="idle.zip")


def test_another_sensors_axes_are_refused() -> None:
    files: dict[str, str | bytes] = {f"gyro_{a}.csv": one_axis(k) for k, a in enumerate("xyz")}
    with pytest.raises(ReadingError):
        read_recording(packed(files))


def test_a_constant_beside_the_value_is_no_second_value() -> None:
    """As databases export: a number for each series, comments before the names."""
    by_axis = sorted(below(["x", "y", "z"]), key=lambda row: row[1])
    rows = [["", "_result", str("xyz".index(axis)), t, value, axis] for t, axis, value in by_axis]
    head = "#datatype,string,long,double,double,string\n,result,table,_time,_value,_field"
    check(read_recording(text(rows, head).encode()))

"""Units by name, by the size of gravity, by counts, by the step of the sensor; and which columns are
taken."""

from __future__ import annotations

import numpy as np
import pytest

from tests.reading.make import G, Truth, cells, codes, csv, shake, text
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import read_recording

TRUTH = shake(seconds=10.0)
FREE = shake(seconds=10.0, gravity=False)


def check(recording: Recording, truth: Truth, printed: float) -> None:
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=0.51 * printed)
    assert recording.gravity_included == (truth is TRUTH)


@pytest.mark.parametrize("unit", [1.0, G, G / 1000, 0.01])
def test_unit_by_the_size_of_gravity(unit: float) -> None:
    """Standard gravity 9.80665 m/s2, exact: SI Brochure, 9th edition."""
    names = "t_ms,x,y,z" if unit != 0.01 else "t_ms,x (cm/s2),y (cm/s2),z (cm/s2)"
    recording = read_recording(text(cells(TRUTH, t_unit=1e-3, t_digits=0, unit=unit), names).encode())
    check(recording, TRUTH, unit * 1e-5)
    assert codes(recording) == (["unit-by-size"] if unit == G / 1000 else [])


@pytest.mark.parametrize("counts", [16384, 8192, 4096, 2048, 256])
def test_raw_counts(counts: int) -> None:
    """16384 counts to 1 g at +-2 g, and so on by halves: ICM-20948 data sheet DS-000189 rev 1.3, table 2."""
    recording = read_recording(text(cells(TRUTH, unit=G / counts, digits=0)).encode())
    check(recording, TRUTH, G / counts)
    assert codes(recording) == ["raw-counts"]
    assert f"{counts} to 1 g" in recording.warnings[0].message


def test_a_header_that_names_the_wrong_unit() -> None:
    recording = read_recording(text(cells(TRUTH, unit=G), "time,x (m/s2),y (m/s2),z (m/s2)").encode())
    check(recording, TRUTH, G * 1e-5)
    assert codes(recording) == ["unit-mismatch"]


def test_gravity_free_with_a_unit_named() -> None:
    for unit, size in (("m/s2", 1.0), ("g", G)):
        recording = read_recording(text(cells(FREE, unit=size), f"time,x_{unit},y_{unit},z_{unit}").encode())
        check(recording, FREE, size * 1e-5)
        assert codes(recording) == []


@pytest.mark.parametrize(("unit", "told"), [(1.0, "m/s2"), (G, "g")])
def test_gravity_free_unit_by_the_step_of_the_sensor(unit: float, told: str) -> None:
    """A part of 16384 counts to 1 g steps by 0.000061 g or 0.000599 m/s2 (same data sheet)."""
    free = shake(gravity=False, step=G / 16384)
    recording = read_recording(text(cells(free, unit=unit, digits=6)).encode())
    np.testing.assert_allclose(recording.accel_m_s2, free.accel, atol=unit * 1e-6)
    assert codes(recording) == ["unit-assumed"]
    assert f"{told} was taken" in recording.warnings[0].message


def test_gravity_free_without_any_evidence_is_told() -> None:
    recording = read_recording(csv(FREE).encode())
    assert codes(recording) == ["unit-assumed"]
    assert "If the app shows g, all is 9.8 times as much" in recording.warnings[0].message


def test_gravity_beside_it_tells_the_unit() -> None:
    rows = [[*row, "0.2", "-0.5", "0.843"] for row in cells(FREE, unit=G)]
    recording = read_recording(text(rows, "t,userX,userY,userZ,gravityX,gravityY,gravityZ").encode())
    check(recording, FREE, G * 1e-5)
    assert "unit-assumed" not in codes(recording)


def test_strong_shake_is_not_taken_for_gravity() -> None:
    """A chance mean of 1 under a shake of several is no gravity in g: on wheels the mean never is exactly
    0."""
    t = np.arange(4000) / 100
    accel = np.array([1.0, 0.0, 0.0]) + 3.0 * np.sin(2 * np.pi * np.outer(t, [12.3, 12.9, 24.6]))
    recording = read_recording(csv(Truth(t, accel, 100.0)).encode())
    assert not recording.gravity_included
    np.testing.assert_allclose(recording.accel_m_s2, accel, atol=1e-5)


@pytest.mark.parametrize("unit", [1.0, G])
def test_gravity_is_found_under_a_shake_as_strong(unit: float) -> None:
    """9 m/s2 rms at 24 Hz, as on an engine with broken mounts: the mean of each part is gravity."""
    t = np.arange(3000) / 100.0
    accel = np.outer(9.0 * 2**0.5 * np.sin(2 * np.pi * 24.0 * t), [0.6, 0.0, 0.8])
    accel[:, 2] += G
    truth = Truth(t, accel, 100.0)
    recording = read_recording(text(cells(truth, unit=unit)).encode(), name="idle.csv")
    assert recording.gravity_included
    np.testing.assert_allclose(recording.accel_m_s2, accel, atol=1e-4 * unit)


def test_acceleration_with_gravity_is_preferred_and_told() -> None:
    names = "time,gyroX,gyroY,gyroZ,gravityX,gravityY,gravityZ,linearX,linearY,linearZ,accX,accY,accZ,total"
    rows = [
        [row[0], ".1", ".2", ".3", "2", "-5", "8.26", *free[1:], *row[1:], "9.8"]
        for row, free in zip(cells(TRUTH), cells(FREE), strict=True)
    ]
    recording = read_recording(text(rows, names).encode())
    check(recording, TRUTH, 1e-5)
    assert codes(recording) == ["columns-chosen"]
    assert "accX, accY, accZ" in recording.warnings[0].message


def test_every_order_of_columns() -> None:
    """time_ns first, then z, y, x: axes go by name, not place."""
    rows = [
        [str(1700000000300994304 + round(float(r[0]) * 1e9)), r[0], r[3], r[2], r[1]] for r in cells(TRUTH)
    ]
    check(read_recording(text(rows, "timestamp_ns,seconds_elapsed,z,y,x").encode()), TRUTH, 1e-5)


def test_the_same_names_twice_are_not_muddled() -> None:
    rows = [[*row, *free[1:]] for row, free in zip(cells(TRUTH), cells(FREE), strict=True)]
    recording = read_recording(text(rows, "time,x,y,z,x,y,z").encode())
    check(recording, TRUTH, 1e-5)
    assert codes(recording) == ["columns-chosen"]


@pytest.mark.parametrize("heads", ["Time,Gyroscope,,,Accelerometer,,", ",Gyroscope,,,Accelerometer"])
def test_a_line_of_sensors_over_a_line_of_axes(heads: str) -> None:
    rows = [
        [row[0], ".1", ".2", str(i % 3), *free[1:]]
        for i, (row, free) in enumerate(zip(cells(TRUTH), cells(FREE), strict=True))
    ]
    recording = read_recording(text(rows, heads + "\ns,X,Y,Z,X,Y,Z").encode())
    check(recording, FREE, 1e-5)
    assert "Accelerometer X, Accelerometer Y, Accelerometer Z" in recording.warnings[0].message


def test_sensor_named_row_by_row() -> None:
    rows = []
    for row in cells(TRUTH):
        rows += [["accelerometer", *row], ["gyroscope", row[0], ".1", ".2", ".3"]]
    recording = read_recording(text(rows, "sensor,time,x,y,z").encode())
    check(recording, TRUTH, 1e-5)
    assert codes(recording) == ["sensor-chosen"]


def test_two_sensors_in_turn_leave_gaps_in_the_table() -> None:
    rows = []
    for row in cells(TRUTH):
        rows += [[*row, "", "", ""], [f"{float(row[0]) + 0.004:.6f}", "", "", "", ".1", ".2", ".3"]]
    check(read_recording(text(rows, "time,ax,ay,az,wx,wy,wz").encode()), TRUTH, 1e-5)


@pytest.mark.parametrize(
    ("names", "source", "says"),
    [
        ("time,latitude,longitude,altitude", "Accelerometer.csv", "positions"),
        ("time,gyro_x,gyro_y,gyro_z", "accelerometer.csv", "turning rates"),
        ("time,x (rad/s),y (rad/s),z (rad/s)", "acceleration.csv", "turning rates"),
        ("time,x,y,z", "Gyroscope.csv", "turning rates"),
        ("time,x,y,z", "Gravity.csv", "gravity alone"),
        ("time,x (µT),y (µT),z (µT)", "accel.csv", "magnetic field"),
        ("time,mag_x,mag_y,mag_z", "accel.csv", "magnetic field"),
        ("time,roll,pitch,yaw", "accel.csv", "angles"),
    ],
)
def test_other_sensors_are_refused_in_words(names: str, source: str, says: str) -> None:
    with pytest.raises(ReadingError, match=says):
        read_recording(csv(FREE, names).encode(), name=source)


@pytest.mark.parametrize("unit", [1.0, 0.01], ids=["in microtesla", "in gauss"])
def test_a_compass_under_a_promising_name(unit: float) -> None:
    """The earth's field is 25 to 65 microtesla, 0.25 to 0.65 gauss (common practice, from memory): steady,
    and gravity in no unit."""
    field = shake(seed=4)
    accel = 0.02 * (field.accel - field.accel.mean(axis=0)) + np.multiply(unit, [20.0, -30.0, 12.0])
    with pytest.raises(ReadingError, match="compass"):
        read_recording(csv(Truth(field.t_s, accel, 100.0)).encode(), name="accelerometer.csv")


@pytest.mark.parametrize("offset", [[0.005, -0.017, 0.012], [0.12, -0.1, 0.08]], ids=["in g", "in m/s2"])
def test_a_still_engine_without_gravity_is_read_for_all_its_offset(offset: list[float]) -> None:
    """Zero-g offset up to 40 mg, 0.4 m/s2 (BMI160 data sheet, from memory), over noise of 70 to 230 micro-g a
    root hertz: the steady part is more than the rest, and no compass."""
    rng = np.random.default_rng(2)
    accel = np.round(rng.normal(offset, 0.005, (1500, 3)), 4)
    recording = read_recording(csv(Truth(np.arange(1500) / 50, accel, 50.0), "time,x,y,z").encode())
    assert not recording.gravity_included
    assert len(recording.t_s) == 1500


def test_columns_named_g_alone() -> None:
    """gx, gy, gz: acceleration if gravity is in, else it may well be a gyroscope."""
    check(read_recording(csv(TRUTH, "t,gx,gy,gz").encode()), TRUTH, 1e-5)
    with pytest.raises(ReadingError, match="perhaps a gyroscope"):
        read_recording(csv(FREE, "t,gx,gy,gz").encode())


def test_size_alone_is_refused() -> None:
    rows = [[row[0], f"{np.linalg.norm([float(v) for v in row[1:]]):.4f}"] for row in cells(TRUTH)]
    with pytest.raises(ReadingError, match="not on three axes"):
        read_recording(text(rows, "time,acceleration magnitude").encode())


@pytest.mark.parametrize("share", [0.15, 0.3, 0.5])
@pytest.mark.parametrize("unit", [1.0, 9.80665], ids=["in m/s2", "in g"])
def test_a_phone_turned_round_half_way_is_still_in_gravity(share: float, unit: float) -> None:
    """Face down at first, then face up: gravity's size, 9.80665 m/s2 (SI), is the same all along."""
    t_s = np.arange(3000) / 100
    accel = 0.3 * np.sin(2 * np.pi * 23 * t_s)[:, None] * [0.2, 0.1, 1.0] + [0.0, 0.0, 9.80665]
    accel[: round(share * len(t_s))] *= [1, -1, -1]
    rows = "\n".join(
        f"{t:.2f},{x:.5f},{y:.5f},{z:.5f}" for t, (x, y, z) in zip(t_s, accel / unit, strict=True)
    )
    recording = read_recording(f"t,x,y,z\n{rows}".encode())
    assert recording.gravity_included
    assert np.median(np.abs(recording.accel_m_s2[:, 2])) == pytest.approx(9.81, abs=0.05)


@pytest.mark.parametrize(
    "line", ["# acceleration in g", "Values in g", "Werte in g", "All data in g:", "Werte in g, Fahrt 2"]
)
def test_a_unit_told_before_the_data_without_the_word(line: str) -> None:
    recording = read_recording((line + "\n" + text(cells(FREE, unit=G, digits=7))).encode(), name="idle.csv")
    check(recording, FREE, 1e-5)
    assert codes(recording) == []


def test_whole_numbers_beyond_any_unit_are_refused() -> None:
    """Raw counts without gravity: in m/s2 they would be hundreds of g."""
    rows = [[row[0], *(f"{float(v) * 1670:.0f}" for v in row[1:])] for row in cells(FREE)]
    with pytest.raises(ReadingError, match=r"no phone measures.*unit"):
        read_recording(text(rows).encode(), name="idle.csv")


@pytest.mark.parametrize("name", ["lp_{}", "{}_lpf", "low pass {}"])
def test_the_measured_before_the_smoothed(name: str) -> None:
    header = ",".join(["time", *(name.format(a) for a in "xyz"), "x", "y", "z"])
    still = np.median(TRUTH.accel, axis=0)
    rows = [[row[0], *(f"{v:.5f}" for v in still), *row[1:]] for row in cells(TRUTH)]
    check(read_recording(text(rows, header).encode()), TRUTH, 1e-5)


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("in/s²", 0.0254),
        ("µg", 9.80665e-6),
        ("mGal", 1e-5),
        ("dm/s²", 0.1),
        ("µm/s^2", 1e-6),
        ("milli-m/s²", 1e-3),
        ("km/h/s", 1 / 3.6),
        ("0.001 g", 9.80665e-3),
        ("1/4096 g", 9.80665 / 4096),
    ],
)
def test_seldom_units_and_parts_of_units(name: str, unit: float) -> None:
    """The inch and the gal are exact by definition (SI Brochure and NIST SP 811, from memory); deci, milli
    and micro are 1e-1, 1e-3 and 1e-6, an hour 3600 s (SI Brochure, 9th edition)."""
    for truth in (TRUTH, FREE):
        header = ",".join(["time", *(f"{a} ({name})" for a in "xyz")])
        recording = read_recording(text(cells(truth, unit=unit), header).encode())
        check(recording, truth, 1e-4)
        assert not recording.warnings


def test_a_range_beside_the_name_is_no_unit_of_its_own() -> None:
    check(read_recording(text(cells(TRUTH, unit=G), "time,x (4 g),y (4 g),z (4 g)").encode()), TRUTH, 1e-4)


@pytest.mark.parametrize("name", ["{} (LSB)", "{} (counts)", "{}_lsb"])
def test_counts_of_a_sensor_without_gravity_are_not_guessed(name: str) -> None:
    """A count may be a 256th or a 16384th of g: only gravity tells."""
    counts = np.round(FREE.accel / G * 256)
    header = ",".join(["time", *(name.format(a) for a in "xyz")])
    rows = [[row[0], *(f"{v:.0f}" for v in of)] for row, of in zip(cells(FREE), counts, strict=True)]
    with pytest.raises(ReadingError, match="counts"):
        read_recording(text(rows, header).encode())


@pytest.mark.parametrize("name", ["km/h/min", "mm/min^2", "ft/min²"])
def test_a_unit_that_is_not_known_is_not_guessed(name: str) -> None:
    header = ",".join(["time", *(f"lin {a} ({name})" for a in "xyz")])
    with pytest.raises(ReadingError, match=r"unit .* not known"):
        read_recording(csv(FREE, header).encode())

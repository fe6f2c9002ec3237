"""Contents against names: numbered columns, a file's name or a unit that says another sensor.

What tells is gravity, 9.80665 m/s2 by definition; the ways of naming are common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.reading.make import G, Truth, cells, codes, csv, shake, text
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import read_recording
from vibecore.reading.names import has_word

TRUTH = shake(100.0, 10.0)
FREE = shake(100.0, 10.0, gravity=False)
RATES = np.random.default_rng(1).normal(0, 0.1, TRUTH.accel.shape)
SEVEN = [[*row, *(f"{v:.4f}" for v in rates)] for row, rates in zip(cells(TRUTH), RATES, strict=True)]
PAIRS = [
    ("linear_{}", "{}"),
    ("user acceleration {}", "{}"),
    ("Linear Acceleration {}", "Accelerometer {}"),
]


def check(recording: Recording) -> None:
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-6)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)
    assert recording.gravity_included


@pytest.mark.parametrize("name", ["idle.csv", "gyro_idle.csv", "acc gyro.csv"])
@pytest.mark.parametrize(
    "header", ["t,v1,v2,v3,v4,v5,v6", "t,v0,v1,v2,v3,v4,v5", "v1,v2,v3,v4,v5,v6,v7", "t,,,,,,", ",,,,,,"]
)
def test_numbered_or_unnamed_columns_of_two_sensors(header: str, name: str) -> None:
    check(read_recording(text(SEVEN, header).encode(), name=name))


@pytest.mark.parametrize("header", ["v1,v2,v3,v4", "v0,v1,v2,v3", "Column1,Column2,Column3,Column4"])
def test_numbers_that_count_the_columns_are_no_axes(header: str) -> None:
    check(read_recording(csv(TRUTH, header).encode()))


@pytest.mark.parametrize("header", ["t,v1,v2,v3", "t,v0,v1,v2", "timestamp,values[0],values[1],values[2]"])
def test_three_numbers_are_axes(header: str) -> None:
    check(read_recording(csv(TRUTH, header).encode()))


@pytest.mark.parametrize(
    "name", ["gyro_idle.csv", "Sound.csv", "Speed 2.csv", "standort 3.csv", "Compass.csv"]
)
@pytest.mark.parametrize("header", ["t,x,y,z", None, "t,v1,v2,v3"])
def test_gravity_beats_the_name_of_the_file(header: str | None, name: str) -> None:
    recording = read_recording(csv(TRUTH, header).encode(), name=name)
    check(recording)
    assert [w.code for w in recording.warnings] == ["contents-mismatch"]
    with pytest.raises(ReadingError, match="no acceleration"):
        read_recording(csv(FREE, header).encode(), name=name)


@pytest.mark.parametrize(
    "name",
    ["idle speed.csv", "sound car.csv", "seat position 1.csv", "seat b.csv", "b.csv", "w.csv", "GPS off.csv",
     "magnet clutch on.csv", "compass rose van.csv", "roll over.csv", "heading home.csv"],
)  # fmt: skip
@pytest.mark.parametrize("truth", [TRUTH, FREE], ids=["gravity in", "gravity out"])
def test_people_name_their_files_after_anything(truth: Truth, name: str) -> None:
    recording = read_recording(csv(truth, "t,x,y,z").encode(), name=name)
    assert {w.code for w in recording.warnings} <= {"unit-assumed"}


@pytest.mark.parametrize("unit", ["km", "m/s", "rad/s", "m", "km/h"])
def test_gravity_beats_the_unit_and_the_unit_is_told(unit: str) -> None:
    header = f"t,acc x ({unit}),acc y ({unit}),acc z ({unit})"
    recording = read_recording(csv(TRUTH, header).encode())
    check(recording)
    assert [w.code for w in recording.warnings] == ["contents-mismatch"]
    assert f"({unit})" in recording.warnings[0].message
    with pytest.raises(ReadingError, match="no acceleration"):
        read_recording(csv(FREE, header).encode())


def test_turning_rates_at_rest_are_no_gravity_in_g() -> None:
    """Zero-rate offsets of 1 degree a second and more are usual (BMI160 data sheet: +-3; from memory)."""
    rates = Truth(TRUTH.t_s, RATES + np.array([0.6, 0.0, -0.8]), 100.0)
    with pytest.raises(ReadingError, match="turning rates"):
        read_recording(csv(rates, "t,x,y,z").encode(), name="gyro.csv")


def test_columns_named_for_another_sensor_stay_so() -> None:
    with pytest.raises(ReadingError, match="turning rates"):
        read_recording(csv(TRUTH, "t,gyro_x,gyro_y,gyro_z").encode())


@pytest.mark.parametrize("seed", range(6))
def test_an_axis_that_seldom_leaves_its_value_is_no_time(seed: int) -> None:
    """A coarse phone on a still engine: rarely a step up, more rarely back down. A time never falls, or
    once in a while where stamps are out of order."""
    rng = np.random.default_rng(seed)
    n = 2000
    x = 0.1 * ((rng.random(n) < 0.039).cumsum() % 3)  # two steps up, one twice as far down
    axes = np.column_stack((x, 0.1 * np.rint(rng.normal(0, 3, (n, 2)))))
    rows = [[f"{i / 60:.6f}", *(f"{v:.4f}" for v in row)] for i, row in enumerate(axes)]
    recording = read_recording(text(rows, None, " ").encode())
    np.testing.assert_allclose(recording.accel_m_s2, axes, atol=1e-9)
    np.testing.assert_allclose(recording.t_s, np.arange(n) / 60, atol=1e-5)


@pytest.mark.parametrize(
    "line",
    [
        "Acceleration over time",
        "Measured acceleration x, y and z against time",
        "Title: acceleration of wheel, time: 12:00, x axis up",
    ],
)
def test_prose_is_no_header(line: str) -> None:
    """Without gravity the unit in the true header alone tells g from m/s2."""
    data = line + "\n" + text(cells(FREE, unit=9.80665), "t (s),ax (g),ay (g),az (g)")
    recording = read_recording(data.encode())
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-3)
    assert not recording.warnings
    check(read_recording((line + "\n" + csv(TRUTH, "t,ax,ay,az")).encode()))


@pytest.mark.parametrize("name", ["acc_gyro.csv", "accelerometer and gyroscope 2.csv"])
def test_a_file_named_after_both_sensors_is_read_by_contents(name: str) -> None:
    recording = read_recording(text(cells(TRUTH, unit=9.80665)).encode(), name=name)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-3)


@pytest.mark.parametrize(
    "axis",
    [
        "a{} no gyro",
        "acc without gyro {}",
        "acceleration {} (ohne Gyro)",
        "accel_nogyro_{}",
        "Acc {} gyro off",
    ],
)
def test_a_sensor_that_is_said_to_be_absent_is_none(axis: str) -> None:
    header = ",".join(["time", *(axis.format(a) for a in "xyz")])
    for truth, gravity in ((TRUTH, True), (FREE, False)):
        recording = read_recording(csv(truth, header).encode())
        np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=1e-5)
        assert recording.gravity_included == gravity


@pytest.mark.parametrize("unit", ["mm/s", "cm/s", "in/s", "m s-1"])
def test_velocities_are_no_acceleration(unit: str) -> None:
    with pytest.raises(ReadingError, match="speeds"):
        read_recording(csv(FREE, f"time,vx ({unit}),vy ({unit}),vz ({unit})").encode())


@pytest.mark.parametrize("name", ["Frequency (Hz)", "f [Hz]", "Frequenz in Hz", "freq"])
@pytest.mark.parametrize("step", [0.01, 0.1])
def test_a_spectrum_is_no_recording(name: str, step: float) -> None:
    levels = np.abs(FREE.accel)
    rows = [[f"{i * step:.3f}", *(f"{v:.5f}" for v in row)] for i, row in enumerate(levels)]
    with pytest.raises(ReadingError, match="spectrum"):
        read_recording(text(rows, f"{name},x (g),y (g),z (g)").encode())


def test_what_is_no_acceleration_is_not_called_one() -> None:
    rows = [[row[0], row[1]] for row in cells(FREE)]
    with pytest.raises(ReadingError, match=r"no three columns.*amplitude"):
        read_recording(text(rows, "time,amplitude").encode())


@pytest.mark.parametrize(("dead", "says"), [((0,), "x never changes"), ((0, 1), "x and y never change")])
def test_axes_that_were_not_measured_are_told(dead: tuple[int, ...], says: str) -> None:
    """The third axis alone may show gravity: nothing else tells that the others were not read."""
    level = TRUTH.accel - TRUTH.accel.mean(axis=0) + np.array([0.0, 0.0, 9.80665])
    level[:, dead] = 0.0
    recording = read_recording(csv(Truth(TRUTH.t_s, level, 100.0)).encode())
    assert [w.code for w in recording.warnings] == ["still-axes"]
    assert says in recording.warnings[0].message


def test_a_coarse_phone_that_lies_still_has_axes_that_stay() -> None:
    level = np.tile([0.0, 0.0, 9.8], (1000, 1))
    level[:, 2] += 0.15 * (np.random.default_rng(2).random(1000) < 0.2)
    recording = read_recording(csv(Truth(np.arange(1000) / 100, level, 100.0)).encode())
    assert "still-axes" not in {w.code for w in recording.warnings}


@pytest.mark.parametrize("header", ["time,w,x,y,z", "time,qw,qx,qy,qz", "time,x,y,z,w", None])
def test_turns_as_four_numbers_are_no_acceleration_in_g(header: str | None) -> None:
    """Unit quaternions: the sum of their squares is 1, so that three of them may be as long as 1 g."""
    turns = np.array([0.05, 0.2, -0.3, 0.93]) + np.random.default_rng(3).normal(0, 0.002, (len(TRUTH.t_s), 4))
    turns /= np.linalg.norm(turns, axis=1)[:, None]
    if header and header.endswith("w"):
        turns = np.roll(turns, -1, axis=1)
    rows = [[f"{t:.4f}", *(f"{v:.5f}" for v in q)] for t, q in zip(TRUTH.t_s, turns, strict=True)]
    with pytest.raises(ReadingError, match=r"angles of the phone|no three columns"):
        read_recording(text(rows, header).encode())


def test_jerks_are_no_acceleration() -> None:
    with pytest.raises(ReadingError, match="jerks"):
        read_recording(csv(FREE, "time,jerk x,jerk y,jerk z").encode())


@pytest.mark.parametrize("free_first", [True, False])
@pytest.mark.parametrize(
    ("free", "whole", "unit"),
    [
        *((f, w, u) for f, w in PAIRS for u in (1.0, G)),
        ("a{}", "g_f_{}", G),  # says g itself
    ],
)
def test_of_two_sets_the_one_with_gravity_is_read(
    unit: float, free: str, whole: str, free_first: bool
) -> None:
    """A file named after what one of them holds changes nothing."""
    parts = [
        (free, cells(FREE, unit=unit, digits=7)),
        (whole, cells(TRUTH, unit=unit, digits=7)),
    ][:: 1 if free_first else -1]
    header = ",".join(["time", *(form.format(a) for form, _ in parts for a in "xyz")])
    rows = [[*one, *other[1:]] for one, other in zip(parts[0][1], parts[1][1], strict=True)]
    recording = read_recording(text(rows, header).encode(), name="linear.csv")
    check(recording)
    assert codes(recording) == ["columns-chosen"]


def test_a_short_word_is_known_alone_in_one_piece_or_two() -> None:
    """Common practice, no source: 'gf' for g-force, however its letters are set apart."""
    assert all(has_word(name, ["gf"]) for name in ("gf", "g_f", "G f"))
    assert not any(has_word(name, ["gf"]) for name in ("angf", "g_force", "bag fan"))

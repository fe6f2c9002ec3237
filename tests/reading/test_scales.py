"""Scales told beside the values, and scales that cannot be right."""

from __future__ import annotations

import time

import numpy as np
import pytest

from tests.reading.make import G, cells, shake, text
from vibecore.errors import ReadingError
from vibecore.reading import read_recording

TRUTH = shake(seconds=10.0)
FREE = shake(seconds=10.0, gravity=False)


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("10^-2 g", G / 100),
        ("x10^-2 g", G / 100),
        ("10⁻³ g", G / 1000),
        ("\u00d70.01 g", G / 100),
        ("10 mg", G / 100),
        ("4 mg/LSB", G * 0.004),
        ("g/1000", G / 1000),
        ("g \u00d7 1000", G / 1000),
        ("m/s^2 x100", 0.01),
    ],
)
def test_parts_of_a_unit_as_people_write_them(name: str, unit: float) -> None:
    """Standard gravity 9.80665 m/s2, exact: SI Brochure, 9th edition."""
    for truth in (TRUTH, FREE):
        header = ",".join(["time", *(f"{a} ({name})" for a in "xyz")])
        recording = read_recording(text(cells(truth, unit=unit), header).encode())
        np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=1e-4)
        assert not recording.warnings


SIZED = [
    *(("{} " + end, G * 0.061e-3) for end in ("(LSB 0.061 mg)", "[LSB=0.061 mg]", "raw (1 LSB = 0.061 mg)")),
    *(("{} " + end, G * 0.061e-3) for end in ("(0.061 mg per digit)", "0.061 mg/LSB", "(mg/LSB: 0,061)")),
    *(("{} " + end, G / 16384) for end in ("(16,384 LSB/g)", "(16384 counts per g)", "(1 g = 16384)")),
    ("{}_16384LSB_per_g", G / 16384),
]


@pytest.mark.parametrize(("name", "unit"), SIZED)
def test_the_size_of_a_count_in_the_name_of_a_column(name: str, unit: float) -> None:
    """Never that many mg or g: the figure is how much a count is, or how many make 1 g."""
    for truth in (TRUTH, FREE):
        header = ";".join(["time", *(name.format(a) for a in "xyz")])
        recording = read_recording(text(cells(truth, unit=unit, digits=0), header, ";").encode())
        np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=0.51 * unit)
        assert recording.gravity_included == (truth is TRUTH)
        assert not recording.warnings


@pytest.mark.parametrize("line", ["Sensitivity: 0.061 mg/LSB", "1 LSB = 0.061 mg", "lsb_per_g: 16393"])
@pytest.mark.parametrize("header", ["time,x,y,z", "time,x (LSB),y (LSB),z (LSB)"])
def test_the_size_of_a_count_before_the_data(line: str, header: str) -> None:
    unit = G * 0.061e-3
    whole = cells(FREE, unit=unit, digits=0)
    recording = read_recording(f"# {line}\n{text(whole, header)}".encode())
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-3)
    assert not recording.warnings
    counted_out = read_recording(f"# {line}\n{text(cells(FREE))}".encode())  # the sensor's, not the file's
    np.testing.assert_allclose(counted_out.accel_m_s2, FREE.accel, atol=1e-4)


@pytest.mark.parametrize("line", ["scale: 9.80665", "Scale factor = 0.1", "gain 2", "Skalierungsfaktor;0.1"])
def test_a_scale_of_nothing_known_needs_gravity(line: str) -> None:
    with pytest.raises(ReadingError, match="multiplied by it already"):
        read_recording(f"{line}\n{text(cells(FREE))}".encode())
    recording = read_recording(f"{line}\n{text(cells(TRUTH, unit=G))}".encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)


@pytest.mark.parametrize("line", ["scale: 1.0", "full scale: 4", "Gyro scale: 131", "gravity scale"])
def test_a_scale_that_changes_nothing_or_is_anothers(line: str) -> None:
    recording = read_recording(f"{line}\n{text(cells(FREE))}".encode())
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-4)


@pytest.mark.parametrize("name", ["4 g", "2000 mg", "20 m/s2"])
def test_a_range_is_no_part_of_a_unit(name: str) -> None:
    unit = {"g": G, "mg": G / 1000, "m/s2": 1.0}[name.split()[1]]
    header = ",".join(["time", *(f"{a} ({name})" for a in "xyz")])
    recording = read_recording(text(cells(TRUTH, unit=unit), header).encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)


@pytest.mark.parametrize(
    ("gravity", "wrong_by"), [(False, 1000.0), (True, 4096.0), (True, 3.2808)], ids=["mg", "counts", "feet"]
)
def test_a_unit_that_makes_the_values_impossible_is_not_believed(gravity: bool, wrong_by: float) -> None:
    """A phone measures 16 g at most, and no car stands in more than 1 g (phone-class data sheets)."""
    truth = shake(gravity=gravity)
    for name, unit in (("m/s2", 1.0), ("g", G)):
        header = ",".join(["time", *(f"{a} ({name})" for a in "xyz")])
        with pytest.raises(ReadingError, match=rf"{name}, .* the header"):
            read_recording(text(cells(truth, unit=unit / wrong_by), header).encode())


@pytest.mark.parametrize("header", ["time,x,y,z", "time,x (m/s2),y (m/s2),z (m/s2)"])
def test_whole_numbers_without_gravity_are_counts(header: str) -> None:
    """In m/s2 or g they would tell nothing of an engine: it shakes by less than one step."""
    rows = [[r[0], *(f"{float(v) / G * 100:.0f}" for v in r[1:])] for r in cells(FREE)]
    with pytest.raises(ReadingError, match="whole numbers"):
        read_recording(text(rows, header).encode())


@pytest.mark.parametrize("name", ["mg", "cm/s2", "mm/s2"])
def test_whole_numbers_in_a_small_unit_are_read(name: str) -> None:
    unit = {"mg": G / 1000, "cm/s2": 0.01, "mm/s2": 0.001}[name]
    header = ",".join(["time", *(f"{a} ({name})" for a in "xyz")])
    recording = read_recording(text(cells(FREE, unit=unit, digits=0), header).encode())
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=0.51 * unit)


@pytest.mark.parametrize(
    "unit", ["cm/s/s", "mm/sec^2", "ft/s/s", "m/sn²", "N/kg", "in/sec²", "m/s\ufffd", "m/s?", "m/sÂ²"]
)
def test_units_spelled_in_other_ways(unit: str) -> None:
    """1 N/kg is 1 m/s2 by definition of the newton (SI Brochure); sn is the Turkish second (dictionary)."""
    one = {"c": 0.01, "f": 0.3048, "i": 0.0254}.get(unit[0], 0.001 if unit.startswith("mm") else 1.0)
    header = ",".join(["time", *(f"{a} ({unit})" for a in "xyz")])
    recording = read_recording(text(cells(FREE, unit=one), header).encode())
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-4)
    assert not recording.warnings


@pytest.mark.parametrize(
    "line",
    ["unit=g", "# acceleration: g", "Accelerometer (g)", "Beschleunigung [g]", "Acceleration;g", "data: g"],
)
def test_a_unit_told_behind_what_it_is_of(line: str) -> None:
    recording = read_recording(f"{line}\n{text(cells(FREE, unit=G))}".encode())
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-4)
    assert not recording.warnings


@pytest.mark.parametrize(
    "line",
    [
        "Accelerometer range,4,g",
        "Accelerometer range: 4 g",
        "Gyroscope (g)",
        "mass: g",
        "Unit: 0.1 g",
        "unit 10 mg",
    ],
)
def test_a_range_told_is_no_unit(line: str) -> None:
    recording = read_recording(f"{line}\n{text(cells(FREE))}".encode())
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-4)
    assert [w.code for w in recording.warnings] == ["unit-assumed"]


def test_each_section_has_the_unit_over_it() -> None:
    other = text([[r[0], ".1", ".2", str(i % 3)] for i, r in enumerate(cells(FREE))], "t,x,y,z")
    data = f"Accelerometer (g)\n{text(cells(FREE, unit=G), 't,x,y,z')}\nGyroscope (deg/s)\n{other}"
    recording = read_recording(data.encode())
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-4)
    assert [w.code for w in recording.warnings] == ["table-chosen"]
    assert "'Accelerometer (g)'" in recording.warnings[0].message


def test_a_bracket_full_of_digits_takes_no_time() -> None:
    names = ",".join(["time", *(f"{a} ({'1' * 20_000})" for a in "xyz")])
    start = time.perf_counter()
    read_recording(text(cells(TRUTH), names).encode())
    assert time.perf_counter() - start < 5

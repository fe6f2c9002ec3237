"""Tables one below the other, each under its own line of names: one sensor's rows are never another's.

What tells is gravity, 9.80665 m/s2 by definition; the ways of writing are common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.reading.make import Truth, cells, csv, shake, text
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import read_recording

TRUTH = shake(100.0, 10.0)
RNG = np.random.default_rng(5)


def turning(rate_hz: float) -> Truth:
    n = round(20.0 * rate_hz)
    return Truth(np.arange(n) / rate_hz, RNG.normal(0, 0.02, (n, 3)), rate_hz)


def check(recording: Recording) -> None:
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)
    assert recording.gravity_included
    assert "table-chosen" in {w.code for w in recording.warnings}


@pytest.mark.parametrize("rate_hz", [50.0, 100.0, 200.0])
@pytest.mark.parametrize("blank", ["", "\n"])
@pytest.mark.parametrize("first", [True, False], ids=["acceleration first", "turning first"])
@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("time,accX,accY,accZ", "time,gyroX,gyroY,gyroZ"),
        ("Accelerometer\ntime,x,y,z", "Gyroscope\ntime,x,y,z"),
        ("[Accelerometer]\ntime,x,y,z", "[Gyroscope]\ntime,x,y,z"),
        ("time,x,y,z", "time,x,y,z"),
    ],
)
def test_the_section_of_acceleration_is_read_alone(
    one: str, other: str, first: bool, blank: str, rate_hz: float
) -> None:
    parts = [csv(TRUTH, one), csv(turning(rate_hz), other)]
    check(read_recording(blank.join(parts if first else parts[::-1]).encode()))


def test_a_section_of_another_width() -> None:
    wide = [[*row, "1", "2"] for row in cells(turning(100.0))]
    check(read_recording((csv(TRUTH, "time,ax,ay,az") + text(wide, "time,gx,gy,gz,a,b")).encode()))


def test_sections_without_acceleration_are_refused_in_words() -> None:
    data = csv(turning(100.0), "time,gyroX,gyroY,gyroZ") + csv(turning(50.0), "time,magX,magY,magZ")
    with pytest.raises(ReadingError, match="no acceleration"):
        read_recording(data.encode())


def test_names_that_come_again_over_the_same_sensor_part_nothing() -> None:
    rows = csv(TRUTH).splitlines(keepends=True)
    data = "".join(rows[:900]) + rows[0] + "".join(rows[900:])
    recording = read_recording(data.encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)
    assert "table-chosen" not in {w.code for w in recording.warnings}


@pytest.mark.parametrize("rate_hz", [50.0, 100.0, 200.0])
def test_two_phones_one_below_the_other_are_not_merged(rate_hz: float) -> None:
    second = shake(rate_hz, 20.0, seed=1)
    second = Truth(second.t_s, second.accel[:, [1, 2, 0]], rate_hz)
    data = csv(TRUTH, "Wheel\ntime,x,y,z") + "\n" + csv(second, "Engine\ntime,x,y,z")
    recording = read_recording(data.encode())
    check(recording)
    assert any("2 tables hold acceleration" in w.message and "Wheel" in w.message for w in recording.warnings)


@pytest.mark.parametrize("rows_each", [40, 100, 900])
@pytest.mark.parametrize("title", ["{}\ntime,x,y,z", "[{}]\ntime,x,y,z", "time,{0}_x,{0}_y,{0}_z"])
def test_sections_that_take_turns(title: str, rows_each: int) -> None:
    """A section of each sensor, again and again: the parts of one belong together."""
    parts = [("Gyroscope", cells(turning(100.0))), ("Accelerometer", cells(TRUTH))]
    data = "".join(
        text(rows[k : k + rows_each], title.format(name))
        for k in range(0, len(TRUTH.t_s), rows_each)
        for name, rows in parts
    )
    check(read_recording(data.encode()))


@pytest.mark.parametrize("head", ["{} axis\ntime,acceleration", "time,acceleration {}"])
@pytest.mark.parametrize("blank", ["", "\n"])
def test_a_section_for_each_axis(head: str, blank: str) -> None:
    parts = [text([[r[0], r[k + 1]] for r in cells(TRUTH)], head.format(a)) for k, a in enumerate("XYZ")]
    recording = read_recording(blank.join(parts).encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)


@pytest.mark.parametrize("end", ["END", "# end of recording"])
def test_a_line_of_units_begins_no_section(end: str) -> None:
    rows = [[r[0], "25.1", *r[1:]] for r in cells(TRUTH, unit=9.80665)]
    data = text(rows, "time\twarm\tx\ty\tz\n\t\t[g]\t[g]\t[g]", "\t") + end + "\n"
    recording = read_recording(data.encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)
    assert "table-chosen" not in {w.code for w in recording.warnings}


@pytest.mark.parametrize("title", ["Recorded on 14.05.2024", "# phone log", "[Accelerometer]"])
def test_names_once_more_go_on_with_the_table_that_has_a_title(title: str) -> None:
    """A logger that is stopped and started writes its names again, its title only once."""
    rows = cells(TRUTH)
    names = "time,acc x,acc y,acc z"
    recording = read_recording((f"{title}\n" + text(rows[:600], names) + text(rows[700:], names)).encode())
    kept = np.r_[0:600, 700 : len(rows)]
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel[kept], atol=1e-4)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s[kept], atol=1e-5)


def test_names_once_more_over_another_sensor_are_a_table_of_their_own() -> None:
    data = "Accelerometer\n" + text(cells(TRUTH)) + "\n" + text(cells(turning(100.0)))
    check(read_recording(data.encode()))

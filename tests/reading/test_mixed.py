"""Rows of several sensors or devices in one file, told by a number or a word in a column.

What tells is gravity, 9.80665 m/s2 by definition; the ways of writing are common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.reading.make import Floats, G, cells, shake, text
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import read_recording

TRUTH = shake(100.0, 20.0)
RNG = np.random.default_rng(3)
TURNING = RNG.normal(0, 0.02, TRUTH.accel.shape)  # rad/s
FIELD = RNG.normal([20.0, -5.0, -40.0], 0.3, TRUTH.accel.shape)  # uT
TURNED = TRUTH.accel[:, [1, 2, 0]]  # a second phone, lying another way


def mixed(parts: dict[str, Floats], header: str | None, late: float = 0.001, unit: float = 1.0) -> bytes:
    """Rows time, part, x, y, z, one of each part for every sample, each `late` s after the one before."""
    rows = []
    for i, t in enumerate(TRUTH.t_s):
        for j, (name, axes) in enumerate(parts.items()):
            rows.append([f"{t + j * late:.6f}", name, *(f"{v / unit:.5f}" for v in axes[i])])
    return text(rows, header).encode()


def check(recording: Recording) -> None:
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-3)
    assert recording.gravity_included
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=0.01)


@pytest.mark.parametrize("header", ["time,sensor_type,x,y,z", "timestamp,id,ax,ay,az", None])
@pytest.mark.parametrize("late", [0.001, 0.0])
@pytest.mark.parametrize(("unit", "names"), [(1.0, "14"), (G, "10"), (1.0, ["S1", "S2"])])
def test_the_numbered_sensor_with_gravity_is_read(
    header: str | None, late: float, unit: float, names: list[str]
) -> None:
    data = mixed({names[0]: TRUTH.accel, names[1]: TURNING}, header, late, unit)
    recording = read_recording(data)
    check(recording)
    told = [w.message for w in recording.warnings if w.code == "sensor-chosen"]
    assert len(told) == 1
    assert "2000 rows" in told[0]
    assert f"'{names[0]}'" in told[0]


def test_three_sensors_with_a_turning_rate_of_one_at_rest() -> None:
    """1 degree a second is no gravity in g beside 9.8 m/s2."""
    off = TURNING + np.array([0.6, 0.0, -0.8])
    data = mixed({"2": FIELD, "4": off, "1": TRUTH.accel}, "time,sensor,x,y,z", 0.0)
    check(read_recording(data))


def test_a_sensor_half_as_fast_and_one_that_seldom_speaks() -> None:
    rows = []
    for i, (t, a) in enumerate(zip(TRUTH.t_s, TRUTH.accel, strict=True)):
        rows.append([f"{t:.6f}", "1", *(f"{v:.5f}" for v in a)])
        if i % 2:
            rows.append([f"{t + 0.001:.6f}", "4", *(f"{v:.5f}" for v in TURNING[i])])
        if i in (30, 700, 705, 1400):
            rows.append([f"{t + 0.002:.6f}", "5", "120", "0", "0"])
    check(read_recording(text(rows, "time,sensor,x,y,z").encode()))


@pytest.mark.parametrize("names", [("wheel", "engine"), ("left", "right"), ("1", "2"), ("AA:01", "AA:02")])
@pytest.mark.parametrize("late", [0.0017, 0.0])
def test_two_phones_in_one_file_are_refused(names: tuple[str, str], late: float) -> None:
    data = mixed({names[0]: TRUTH.accel, names[1]: TURNED}, "time,device,x,y,z", late)
    with pytest.raises(ReadingError, match="2 recordings in one") as refused:
        read_recording(data)
    for word in (*names, "device", "Split"):
        assert word in str(refused.value)


N = len(TRUTH.t_s)
SIZE = np.linalg.norm(TRUTH.accel, axis=1)


MARKS = {
    "accuracy": np.where(np.arange(N) == 7, 2, 3),
    "status": np.where(np.arange(N) < 40, 1, 3),
    "mark": (np.arange(N) // 500) % 2,
    "flag": RNG.integers(0, 2, N),
    "total": np.rint(SIZE),
    "size": np.rint(SIZE / G),
    "jolt": (TRUTH.accel[:, 0] > 2.0).astype(int),
    "tilt": np.rint(np.degrees(np.arcsin(TRUTH.accel[:, 0] / SIZE))),
    "place": np.arange(N) % 4,
    "d": np.where(np.arange(N) % 2, 4, 5),
    "label": np.where(np.arange(N) < 900, "idle", "drive"),
    "moving": np.where(TRUTH.accel[:, 1] > -5.0, "yes", "no"),
}


def marked(name: str, header: str | None) -> bytes:
    extra = [str(v) if isinstance(v, str) else f"{v:g}" for v in MARKS[name].tolist()]
    return text([[*row, more] for row, more in zip(cells(TRUTH), extra, strict=True)], header).encode()


@pytest.mark.parametrize("name", list(MARKS))
def test_marks_and_measures_part_no_rows(name: str) -> None:
    recording = read_recording(marked(name, f"time,x,y,z,{name}"))
    check(recording)
    assert "sensor-chosen" not in {w.code for w in recording.warnings}


@pytest.mark.parametrize("name", list(MARKS))
def test_nor_do_they_without_names(name: str) -> None:
    """Of four columns without names the axes may not be known; then that is said, as ever."""
    try:
        recording = read_recording(marked(name, None))
    except ReadingError as error:
        refused = str(error)
    else:
        check(recording)
        refused = "no three columns"
    assert "no three columns" in refused


def test_without_gravity_all_stays_as_it_was() -> None:
    free = shake(100.0, 20.0, gravity=False)
    rows = [[*row, "12"[i % 2]] for i, row in enumerate(cells(free))]
    recording = read_recording(text(rows, "time,x (g),y (g),z (g),bank").encode())
    assert len(recording.t_s) == N


# --- batches: some rows of one sensor, then some of the other, over the same time ---


def batches(parts: dict[str, Floats], rows_each: int, header: str, marked: bool = True) -> bytes:
    """Rows part, time, x, y, z, `rows_each` of one part at a time; without the part if not marked."""
    rows = []
    for k in range(0, len(TRUTH.t_s), rows_each):
        for name, axes in parts.items():
            for i in range(k, min(k + rows_each, len(TRUTH.t_s))):
                rows.append([name] * marked + [f"{TRUTH.t_s[i]:.6f}", *(f"{v:.5f}" for v in axes[i])])
    return text(rows, header).encode()


@pytest.mark.parametrize("rows_each", [2, 10, 100, 700, 2000])
@pytest.mark.parametrize("names", [("1", "4"), ("A", "B"), ("accelerometer", "gyroscope")])
@pytest.mark.parametrize("first", [True, False], ids=["acceleration first", "turning first"])
def test_batches_of_two_sensors_are_parted(names: tuple[str, str], rows_each: int, first: bool) -> None:
    parts = [(names[0], TRUTH.accel), (names[1], TURNING)]
    recording = read_recording(batches(dict(parts if first else parts[::-1]), rows_each, "id,time,x,y,z"))
    check(recording)
    assert [w.code for w in recording.warnings] == ["sensor-chosen"]


@pytest.mark.parametrize("rows_each", [10, 100, 700, 2000])
def test_batches_of_two_phones_are_refused(rows_each: int) -> None:
    data = batches({"left": TRUTH.accel, "right": TURNED}, rows_each, "phone,time,x,y,z")
    with pytest.raises(ReadingError, match="2 recordings in one"):
        read_recording(data)


@pytest.mark.parametrize("rows_each", [1, 10, 100, 400])
@pytest.mark.parametrize(
    "parts",
    [[TRUTH.accel, TURNING], [TURNING, TRUTH.accel], [TRUTH.accel, TURNING, FIELD], [TRUTH.accel, TURNED]],
)
def test_sensors_that_nothing_tells_apart_are_refused(rows_each: int, parts: list[Floats]) -> None:
    named = {str(i): axes for i, axes in enumerate(parts)}
    with pytest.raises(ReadingError, match="several sensors"):
        read_recording(batches(named, rows_each, "time,x,y,z", marked=False))


@pytest.mark.parametrize("first", [True, False], ids=["acceleration first", "turning first"])
def test_one_sensor_after_the_other_the_one_with_gravity_is_read(first: bool) -> None:
    parts = [("a", TRUTH.accel), ("b", TURNING)]
    data = batches(dict(parts if first else parts[::-1]), 2000, "time,x,y,z", marked=False)
    recording = read_recording(data)
    check(recording)
    assert [w.code for w in recording.warnings] == ["several-recordings"]


def test_two_accelerometers_by_name_are_refused() -> None:
    data = mixed({"accelerometer 1": TRUTH.accel, "accelerometer 2": TURNED}, "time,sensor,x,y,z")
    with pytest.raises(ReadingError, match="2 recordings in one"):
        read_recording(data)


@pytest.mark.parametrize("name", ["tacho", "pulse", "sync"])
@pytest.mark.parametrize("high", ["1", "5"])
def test_pulses_beside_one_sensor_part_no_rows(name: str, high: str) -> None:
    """A pulse a turn of the crank: its rows are of the same motion, and the rest has holes without them."""
    pulse = np.sin(2 * np.pi * 12.3 * TRUTH.t_s) > 0.9
    rows = [[*row, high if p else "0"] for row, p in zip(cells(TRUTH), pulse, strict=True)]
    recording = read_recording(text(rows, f"time,x,y,z,{name}").encode())
    check(recording)
    assert not recording.warnings


def test_two_phones_called_by_letters_are_refused() -> None:
    with pytest.raises(ReadingError, match="2 recordings in one"):
        read_recording(mixed({"A": TRUTH.accel, "B": TURNED}, "time,device,x,y,z"))


def test_sensors_called_by_letters_are_told_apart() -> None:
    check(read_recording(mixed({"A": TRUTH.accel, "G": TURNING}, "time,device,x,y,z")))


@pytest.mark.parametrize("others", [1, 2])
def test_rows_of_sensors_with_columns_of_their_own_do_not_count_for_the_rate(others: int) -> None:
    """500 and 500 samples a second at the same times: 1000 rows a second and more are no sensor's."""
    truth = shake(500.0, 8.0, jitter=0.0)
    rows = []
    for row in cells(truth, t_unit=1e-3, t_digits=0):
        rows.append([*row, *[""] * 3 * others])
        for k in range(others):
            rows.append([row[0], *[""] * 3 * (k + 1), ".1", ".2", ".3", *[""] * 3 * (others - 1 - k)])
    names = ["time", *(f"{s}{a}" for s in ("a", "w", "m")[: others + 1] for a in "xyz")]
    recording = read_recording(text(rows, ",".join(names)).encode())
    assert recording.sample_rate_hz == pytest.approx(500.0, rel=1e-3)
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=1e-4)
    assert "coarse-stamps" not in {w.code for w in recording.warnings}


def test_a_time_in_a_row_of_its_own_before_each_sample() -> None:
    rows = [row for r in cells(TRUTH) for row in ([r[0], "", "", ""], ["", *r[1:]])]
    recording = read_recording(text(rows).encode())
    at = len(TRUTH.t_s) - len(recording.t_s)  # a first line of one value is none of data
    assert at <= 1
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s[at:] - TRUTH.t_s[at], atol=1e-5)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel[at:], atol=1e-4)

"""Logs whose rows name their values, x=0.1, or bracket them, (0.1, 0.2, 9.8).

The truth is the shake that the rows were printed from; the ways of writing are common practice, no source.
"""

from __future__ import annotations

import datetime as dt
import time

import numpy as np
import pytest

from tests.reading.make import Floats, G, Truth, shake
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import keyed, read_recording

TRUTH = shake(100.0, 6.0)
FREE = shake(100.0, 6.0, gravity=False)
TURNING = np.random.default_rng(4).normal(0, 0.05, TRUTH.accel.shape)
START = dt.datetime(2026, 3, 14, 11, 59, 55)


def log(form: str, axes: Floats = TRUTH.accel, unit: float = 1.0, truth: Truth = TRUTH) -> list[str]:
    """A line for each sample; {w} is its place, {c} a time of day, {d} one with its date, {g[0]} a turning
    rate."""
    lines = []
    for i, (t, (x, y, z), g) in enumerate(zip(truth.t_s, axes / unit, TURNING, strict=True)):
        at = START + dt.timedelta(seconds=float(t))
        c, d = at.strftime("%H:%M:%S.%f"), at.isoformat(timespec="microseconds")
        lines.append(form.format(w=i, t=t, ms=t * 1e3, c=c, d=d, x=x, y=y, z=z, g=g))
    return lines


def read(lines: list[str], name: str = "log.txt") -> Recording:
    return read_recording(("\n".join(lines) + "\n").encode(), name=name)


def check(recording: Recording, truth: Truth = TRUTH) -> None:
    np.testing.assert_allclose(recording.t_s, truth.t_s, atol=1.1e-3)
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=1e-4)


FORMS = [
    "t={t:.5f} x={x:.5f} y={y:.5f} z={z:.5f}",
    "t={t:.5f},x={x:.5f},y={y:.5f},z={z:.5f}",
    "t: {t:.5f}; x: {x:.5f}; y: {y:.5f}; z: {z:.5f}",
    "time: {t:.5f} x: {x:.5f} y: {y:.5f} z: {z:.5f}",
    "time:{t:.5f}, ax:{x:.5f}, ay:{y:.5f}, az:{z:.5f}",
    "t = {t:.5f}, x = {x:.5f}, y = {y:.5f}, z = {z:.5f}",
    "{c} ACC x={x:.5f} y={y:.5f} z={z:.5f}",
    "03-14 {c}  123  456 D/Sensor: x={x:.5f}, y={y:.5f}, z={z:.5f}",
    "{d} accel [x={x:.5f}, y={y:.5f}, z={z:.5f}]",
    "[{d}] INFO acceleration: ({x:.5f}, {y:.5f}, {z:.5f})",
    "t={t:.5f}s x={x:.5f}m/s2 y={y:.5f}m/s2 z={z:.5f}m/s2",
    "{ms:.2f} X:{x:11.5f} Y:{y:11.5f} Z:{z:11.5f}",
    "seq={w} t={t:.5f} ax={x:.5f} ay={y:.5f} az={z:.5f} gx={g[0]:.5f} gy={g[1]:.5f} gz={g[2]:.5f}",
    "t={t:.5f} gyro x={g[0]:.5f} y={g[1]:.5f} z={g[2]:.5f} acc x={x:.5f} y={y:.5f} z={z:.5f}",
    "<s t='{t:.5f}' x='{x:.5f}' y='{y:.5f}' z='{z:.5f}'/>",
    "{{'t': {t:.5f}, 'x': {x:.5f}, 'y': {y:.5f}, 'z': {z:.5f}}}",
    "{t:.5f} ({x:.5f}, {y:.5f}, {z:.5f})",
    "{t:.5f}: [{x:.5f} {y:.5f} {z:.5f}]",
    "2026-03-14, {c}, ACC x={x:.5f} y={y:.5f} z={z:.5f}",
    "{c} I/Log: GYRO ({g[0]:.5f}, {g[1]:.5f}, {g[2]:.5f}) ACC ({x:.5f}, {y:.5f}, {z:.5f})",
    "t={t:.5e} x={x:.6e} y={y:.6e} z={z:.6e}",
    "{t:.5f} acc: {x:.5f},{y:.5f},{z:.5f}",
    "t={t:.5f};acc={x:.5f},{y:.5f},{z:.5f};gyro={g[0]:.5f},{g[1]:.5f},{g[2]:.5f}",
    "t={t:.5f};gyro={g[0]:.5f},{g[1]:.5f},{g[2]:.5f};acc={x:.5f},{y:.5f},{z:.5f}",
    "{{{t:.5f}, {x:.5f}, {y:.5f}, {z:.5f}}},",
    "[{t:.5f}, {x:.5f}, {y:.5f}, {z:.5f}],",
    "33,idle,{ms:.2f},{x:.5f},{y:.5f},{z:.5f};",
    "{c} [{w}7] acc x={x:.5f} y={y:.5f} z={z:.5f}",
]


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("before", [[], ["# log of the wheel", "", "phone: made up"]], ids=["", "notes"])
def test_rows_that_name_their_values(form: str, before: list[str]) -> None:
    check(read([*before, *log(form)]))


@pytest.mark.parametrize("form", FORMS[:3])
def test_decimal_commas(form: str) -> None:
    lines = log(form.replace(",", ";"))
    check(read([line.replace(".", ",") for line in lines]))


def test_units_behind_the_values_and_gravity_out() -> None:
    lines = log("t={ms:.2f}ms x={x:.6f}g y={y:.6f}g z={z:.6f}g", FREE.accel, G, FREE)
    recording = read(lines)
    check(recording, FREE)
    assert not recording.gravity_included
    assert recording.warnings == ()


def test_a_rate_told_in_words() -> None:
    lines = log("x={x:.5f} y={y:.5f} z={z:.5f}")
    recording = read(["fs=100", *lines])
    assert recording.sample_rate_hz == pytest.approx(100.0)
    with pytest.raises(ReadingError, match="with time stamps"):
        read(lines)


@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize(
    ("one", "other"), [("ACC", "GYR"), ("Accelerometer:", "Gyroscope:"), ("sensor A", "sensor B")]
)
def test_lines_of_two_sensors(one: str, other: str, first: bool) -> None:
    form = "{{c}} {} x={{x:.5f}} y={{y:.5f}} z={{z:.5f}}"
    pairs = zip(log(form.format(one)), log(form.format(other), TURNING), strict=True)
    recording = read([line for pair in pairs for line in (pair if first else pair[::-1])])
    check(recording)
    assert recording.gravity_included


def test_words_that_change_by_chance_part_nothing() -> None:
    lines = log("{c} acc ? x={x:.5f} y={y:.5f} z={z:.5f}")
    words = np.random.default_rng(6).choice(["HIGH", "LOW"], len(lines))
    check(read([line.replace("?", word) for line, word in zip(lines, words, strict=True)]))


def test_lines_of_two_phones_are_refused() -> None:
    form = "{{c}} {} x={{x:.5f}} y={{y:.5f}} z={{z:.5f}}"
    turned = TRUTH.accel[:, [1, 2, 0]]
    pairs = zip(log(form.format("left")), log(form.format("right"), turned), strict=True)
    with pytest.raises(ReadingError, match=r"2 recordings in one.*'left' and 'right'"):
        read([line for pair in pairs for line in pair])


def test_lines_of_a_gyroscope_alone_are_refused() -> None:
    for form in ("{c} GYR x={x:.5f} y={y:.5f} z={z:.5f}", "{c} GYR [{x:.5f}, {y:.5f}, {z:.5f}]"):
        with pytest.raises(ReadingError, match="turning rates"):
            read(log(form, TURNING))


def test_other_lines_between_are_left_out_and_told() -> None:
    lines = log("{c} ACC x={x:.5f} y={y:.5f} z={z:.5f}")
    lines[100:100] = ["12:00:00.000 BATTERY 77 %", "12:00:00.001 screen off"]
    recording = read(lines)
    check(recording)
    assert [(w.code, w.message[:2]) for w in recording.warnings] == [("broken-rows", "2 ")]


def test_names_in_another_order_are_not_muddled() -> None:
    """Refused or read right: a line in another order is never half of the recording."""
    one, other = (
        log("t={t:.5f} x={x:.5f} y={y:.5f} z={z:.5f}"),
        log("t={t:.5f} z={z:.5f} y={y:.5f} x={x:.5f}"),
    )
    with pytest.raises(ReadingError, match="rows of numbers"):
        read([a if i % 2 else b for i, (a, b) in enumerate(zip(one, other, strict=True))])


@pytest.mark.parametrize(
    ("header", "form"),
    [
        ("time,acc", '{t:.5f},"[{x:.5f}, {y:.5f}, {z:.5f}]"'),
        ("time,accelerometer", '{t:.5f},"{x:.5f},{y:.5f},{z:.5f}"'),
        ("time,acc", "{t:.5f},{x:.5f};{y:.5f};{z:.5f}"),
        ("time;acc", "{t:.5f};({x:.5f}, {y:.5f}, {z:.5f})"),
        ("time,gyro,acc", '{t:.5f},"[{g[0]:.4f}, {g[1]:.4f}, {g[2]:.4f}]","[{x:.5f}, {y:.5f}, {z:.5f}]"'),
        ("time,acc,n", '{t:.5f},"[{x:.5f}, {y:.5f}, {z:.5f}]",{w}'),
    ],
)
def test_three_values_in_one_cell(header: str, form: str) -> None:
    check(read([header, *log(form)], "idle.csv"))


def test_three_turning_rates_in_one_cell_are_refused() -> None:
    with pytest.raises(ReadingError, match="turning rates"):
        read(["time,gyro", *log('{t:.5f},"[{x:.5f}, {y:.5f}, {z:.5f}]"', TURNING)], "idle.csv")


def test_the_sensor_before_each_bracket_counts() -> None:
    """Without gravity nothing but the words tells which of the two is the acceleration."""
    form = "{c} GYRO ({g[0]:.5f}, {g[1]:.5f}, {g[2]:.5f}) LINEAR ACC ({x:.5f}, {y:.5f}, {z:.5f})"
    check(read(log(form, FREE.accel, truth=FREE)), FREE)


@pytest.mark.parametrize(
    "form",
    [
        "{t:8.3f}{x:8.4f}{y:7.4f}{z:8.4f}",
        "T {t:.3f} X{x:+.4f} Y{y:+.4f} Z{z:+.4f}",
        "{w}-{x:.4f} {y:.4f} {z:.4f}",
    ],
)
def test_numbers_run_together_are_refused(form: str) -> None:
    """What stands before a sign may be the end of a number, or the sign may be a dash."""
    lines = log(form, TRUTH.accel - np.array([0.0, 5.2, 0.0]))
    with pytest.raises(ReadingError):
        read(lines)


def test_lines_that_break_off_take_no_time() -> None:
    """Each value's digits must be matched in one way only: else the ways multiply with every value."""
    whole = "|".join(f"v{k}:612412" for k in range(12))
    start = time.perf_counter()
    with pytest.raises(ReadingError):
        read_recording("\n".join([whole] * 20 + [f"{whole[:-1]}!"] * 20).encode())
    assert time.perf_counter() - start < 5


def test_a_time_with_a_colon_behind_it() -> None:
    lines = [f"{t:.6f}: {x:.5f} {y:.5f} {z:.5f}" for t, (x, y, z) in zip(TRUTH.t_s, TRUTH.accel, strict=True)]
    recording = read_recording("\n".join(lines).encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)


def test_rows_of_fewer_values_are_not_parted_within_a_number() -> None:
    """12 is not 1 and 2 where nothing but blanks stand between the values of the other rows."""
    values = [f"{1234567890 + k}" for k in range(12)]
    whole, short = "\t".join(values), "\t".join(values[:6])
    log = "\n".join([*[whole] * 100, *[short] * 3, *[whole] * 100])
    assert [table.rows for table in keyed.tables(log.encode(), "log", 10_000)] == [200]

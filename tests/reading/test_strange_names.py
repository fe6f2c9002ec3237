"""What else is recorded beside a time is no acceleration; axes are told where channels have numbers too."""

from __future__ import annotations

import time

import numpy as np
import pytest

from tests.reading.make import G, Truth, cells, codes, csv, shake, text
from vibecore.errors import ReadingError
from vibecore.reading import read_recording

TRUTH = shake()
FREE = shake(gravity=False)


def columns(names: str, *means: float) -> bytes:
    """Three columns of slight noise about these means."""
    noise = np.random.default_rng(3).normal(0, 0.05, (2000, 3))
    rows = cells(Truth(np.arange(2000) / 100, noise + means, 100.0))
    return text(rows, f"time,{names}").encode()


@pytest.mark.parametrize(
    ("names", "means"),
    [
        ("lambda,stft,ltft", (1.0, 0.02, 0.04)),
        ("temp,hum,press", (21.0, 45.0, 1013.2)),
        ("Temperatur,Feuchte,Luftdruck", (21.0, 45.0, 1013.2)),
        ("battery voltage,sensor 1 voltage,sensor 2 voltage", (9.5, 0.5, 0.7)),
        ("MAF,load (%),throttle (%)", (3.4, 5.0, 7.7)),
        ("mic left,mic right,mic rear", (0.0, 0.0, 0.0)),
        ("pos_x,pos_y,pos_z", (2.0, -4.0, 8.7)),
        ("oven,hall,yard", (100.0, 150.0, 180.0)),  # 255 in all: near a sensor's counts to 1 g
        *((f"x ({u}),y ({u}),z ({u})", (0.0, 0.0, 0.0)) for u in ("N", "V", "mV", "Nm", "rpm", "cg")),
    ],
)
def test_other_quantities_are_refused(names: str, means: tuple[float, float, float]) -> None:
    with pytest.raises(ReadingError):
        read_recording(columns(names, *means), name="log.csv")


def test_columns_with_words_of_their_own_are_told_by_gravity() -> None:
    recording = read_recording(csv(TRUTH, "time,quer,davor,oben").encode(), name="log.csv")
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)
    assert "axes-by-contents" in codes(recording)
    with pytest.raises(ReadingError, match="no three columns"):
        read_recording(csv(FREE, "time,quer,davor,oben").encode(), name="log.csv")


def test_a_force_in_g_is_an_acceleration() -> None:
    rows = cells(TRUTH, unit=G, digits=7)
    recording = read_recording(text(rows, "time,force x (g),force y (g),force z (g)").encode(), name="a.csv")
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)


@pytest.mark.parametrize(
    "name", ["Ch{} {}", "CH{}_acc{}", "{}: acc {}", "Kanal {} - {}", "{}) a{}", "s{}.{}"]
)
def test_axes_of_numbered_channels(name: str) -> None:
    """Channels in another order than the axes, and behind three of another sensor."""
    turn = cells(Truth(TRUTH.t_s, 0.01 * FREE.accel, 100.0))
    rows = [[t, *w, z, x, y] for (t, x, y, z), (_, *w) in zip(cells(TRUTH), turn, strict=True)]
    header = [name.format(k, f"gyro {a}") for k, a in zip((1, 2, 3), "xyz", strict=True)]
    header += [name.format(k, a) for k, a in zip((4, 5, 6), "zxy", strict=True)]
    recording = read_recording(text(rows, ",".join(["time", *header])).encode(), name="log.csv")
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)


def test_names_with_lines_of_their_own_within_quotes() -> None:
    """As spreadsheets write a heading that was wrapped by hand: quotes keep line ends (RFC 4180, 2.6)."""
    header = '"Time\n(s)","Acc X\n(g)","Acc Y\n(g)","Acc Z\n(g)"'
    recording = read_recording(text(cells(FREE, unit=G, digits=7), header).encode(), name="log.csv")
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-5)
    assert codes(recording) == []


@pytest.mark.parametrize("decimal", [".", ","])
def test_dates_with_blanks_between_tabs(decimal: str) -> None:
    rows = [
        [f"Wed May 01 10:00:{i // 100:02d}.{i % 100:02d} 2024", *(c.replace(".", decimal) for c in r[1:])]
        for i, r in enumerate(cells(TRUTH))
    ]
    recording = read_recording(text(rows, "time\tx\ty\tz", "\t").encode(), name="log.txt")
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)


def test_zero_bytes_before_a_text_are_no_other_kind_of_file() -> None:
    recording = read_recording(bytes(5000) + csv(TRUTH).encode(), name="log.csv")
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)


@pytest.mark.parametrize(
    ("middle", "one_g"), [(128, 21), (512, 102), (2048, 330), (2048, 800), (32768, 8192)]
)
@pytest.mark.parametrize("name", ["a{}", "{} (counts)"])
def test_counts_about_the_middle_of_a_range_have_gravity_of_no_known_size(middle, one_g, name) -> None:
    """A sensor with voltages for outputs and a converter: 0 g is half the supply (ADXL335 data sheet; from
    memory), and counts from 0 to twice the middle."""
    counts = np.round(TRUTH.accel / G * one_g) + middle
    header = ",".join(["time_ms", *(name.format(a) for a in "xyz")])
    rows = cells(Truth(TRUTH.t_s, counts, 100.0), t_unit=1e-3, digits=0)
    with pytest.raises(ReadingError, match=f"about {middle}"):
        read_recording(text(rows, header).encode(), name="log.csv")


@pytest.mark.parametrize("one_g", [16384, 4096, 1024])
def test_signed_counts_askew_are_still_read(one_g: int) -> None:
    askew = TRUTH.accel - TRUTH.accel.mean(axis=0) + G * np.array([0.3, 0.3, np.sqrt(1 - 0.18)])
    counts = np.round(askew / G * one_g)
    rows = cells(Truth(TRUTH.t_s, counts, 100.0), digits=0)
    recording = read_recording(text(rows).encode(), name="log.csv")
    np.testing.assert_allclose(recording.accel_m_s2, askew, atol=G / one_g)


@pytest.mark.parametrize("delimiter", ["\t", ";", ","])
def test_a_sign_for_number_over_a_column_that_counts(delimiter: str) -> None:
    """The sign begins no remark here; rows written twice leave a count that does not go up by one."""
    rows = [[str(k), *row] for k, row in enumerate(cells(TRUTH))]
    header = delimiter.join(["#", "time", "x", "y", "z"])
    recording = read_recording(text(rows[:700] + rows[600:], header, delimiter).encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)


@pytest.mark.parametrize(
    "names",
    ["accel_lat,accel_long,accel_vert", "accel_lat,accel_lon,accel_vert", "Acc lat,Acc long,Acc vert"],
)
def test_axes_of_a_car_in_short_are_no_positions(names: str) -> None:
    """Lateral, longitudinal, vertical; common practice, no source."""
    recording = read_recording(csv(TRUTH, f"time,{names}").encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)


def test_thousands_of_names_are_refused_quickly() -> None:
    """A table on its side, or a line that lost its ends: no name beyond the widest table is looked at."""
    names = ",".join(f"c{k}" for k in range(15_000))
    start = time.process_time()
    with pytest.raises(ReadingError, match="columns"):
        read_recording((f"time,{names}\n" + "0," * 15_000 + "0\n").encode())
    assert time.process_time() - start < 2

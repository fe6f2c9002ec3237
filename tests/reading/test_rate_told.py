"""Files without stamps: a rate told in words before the data, or the time since the row before.

The true rate is the one that the rows were made with; the words are common practice, no source.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.reading.books import xlsx
from tests.reading.make import Truth, cells, codes, csv, shake, text
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import read_recording

TRUTH = shake(jitter=0.0)
BARE = [row[1:] for row in cells(TRUTH)]


def under(lines: str, header: str = "x,y,z") -> Recording:
    return read_recording(text(BARE, lines + "\n" + header).encode(), name="idle.csv")


# --- a rate told in words ---

TOLD = [
    "# sample rate: 100 Hz",
    "# Sampling rate = 100.0 Hz; range 4 g",
    "fs=100",
    "Fs: 100Hz",
    "// device: made up, sample_rate: 100, range: 4 g",
    "SampleRate,100",
    "Sample Rate (Hz);100",
    "rate\t100",
    "Sampling frequency 100 samples/s",
    "Sampling interval 10 ms",
    "Sampling interval (ms): 10",
    "sample period: 0.01 s",
    "# interval = 10000 us",
    "dt=0.01",
    "time step: 10",
    "Abtastrate: 100 Hz",
    "Abtastintervall: 10 ms",
    "Frecuencia de muestreo: 100 Hz",
    "Fréquence d'échantillonnage : 100,0 Hz",
    "Frequenza di campionamento 100 Hz",
    "частота дискретизации: 100 Гц",
    "采样率\uff1a100Hz",
    "Recorded 14.03.2026 15:30, 2000 samples, 20 s\nODR 100 Hz",
    "gyroscope sample rate: 200 Hz\naccelerometer sample rate: 100 Hz",
    "Sampled every 10 ms",
    "Sampling every 10 milliseconds",
    "1 sample every 10 ms",
    "10 ms per sample",
    "100 samples per second",
    "100 readings a second",
    "100 times per second",
    "Sampling: 100 Hz",
    "Sampling time 10 ms",
    "sampling speed: 100 Hz",
    "0.1 kHz",
    "# 100 Hz",
    "sampling frequency: 0.1 kHz",
    "100 SPS",
    "Datarate: 100 S/s",
    "SR: 100",
    "Hz: 100",
    "Hz,100",
    "Accelerometer @ 100 Hz",
    "Accelerometer 100 Hz, range 4 g",
    "Accelerometer rate: 100 Hz",
    "sensor delay: 10 ms",
    "SENSOR_DELAY 10000 us",
    "Ts = 0.01 s",
    "Ts=0.01",
    "delta t = 10 ms",
    "Delta_X\t0.01\t0.01\t0.01",
    "X increment: 0.01",
    "time between samples: 10 ms",
    "Sample rate: 1.0E2 Hz",
    "Sampling rate:\n100 Hz",
    "# start: 2026-03-01 12:00:00 rate=100Hz range=2g",
    "Messfrequenz 100 Hz",
    "Abtastung alle 10 ms",
    "100 Messwerte pro Sekunde",
    "100 muestras por segundo",
    "Sampling rate: 100 Hz\nAccelerometer bandwidth 50 Hz",
    "low-pass cutoff frequency: 45 Hz, sample rate 100 Hz",
    "recorded at 100 Hz",
    "# Accelerometer data recorded at 100 Hz on 2026-03-14 12:00:00",
    "# 100Hz accelerometer recording",
    "logging at 100Hz, range 4g",
    "Aufgezeichnet mit 100 Hz",
    "Enregistré à 100 Hz",
    "grabado a 100 Hz",
    "Запись 100 Гц",
    "Samplingsfrekvens: 100 Hz",
    "Vzorkovací frekvence: 100 Hz",
    "Näytteenottotaajuus: 100 Hz",
    "Mintavételi frekvencia: 100 Hz",
    "Örnekleme frekansi: 100 Hz",
    "Частота дискретизації: 100 Гц",
    "Frecvența de eșantionare: 100 Hz",
    "Frekvencija uzorkovanja: 100 Hz",
    "Συχνότητα δειγματοληψίας: 100 Hz",
]


@pytest.mark.parametrize("line", TOLD)
def test_a_rate_told_before_the_data(line: str) -> None:
    recording = under(line)
    assert recording.sample_rate_hz == pytest.approx(100.0)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-6)
    assert codes(recording) == ["rate-told"]
    assert "100 samples a second" in recording.warnings[0].message


@pytest.mark.parametrize(
    "line",
    [
        "",
        "# recorded at the lights",
        "Recorded 14.03.2026, 100 km on the clock",
        "cutoff frequency: 45 Hz",
        "gyroscope sample rate: 200 Hz",
        "sample rate: 100 Hz\nsample rate: 200 Hz",
        "Sample rate: requested 100 Hz, measured 200 Hz",
        "sample rate: 0 Hz",
        "sample rate: 1000000 Hz",
        "firing frequency: 25 Hz",
        "version 100, range 16 g, 2000 samples",
        "engine 750 rpm, rate of wheel shake 7 of 10",
        "mains hum 50 Hz",
        "vibration at 50 Hz",
        "recorded with the shake at 50 Hz",
        "recorded at 50 Hz low pass",
        "gyroscope recorded at 200 Hz",
        "50 Hz low pass",
        "low pass, 50 Hz",
        "Phone 12, 50 Hz",
        "refresh of the display 60 Hz",
        "Accelerometer bandwidth 50 Hz",
        "Accelerometer: low pass at 50 Hz",
        "Maximum sampling rate: 400 Hz",
        "Supported sample rates: 50 Hz",
        "oversampling: 16",
        "Sampling: 16 bit",
        "screen saved every 100 ms",
        "delay before start: 10 ms",
        "firing at 25 Hz, shake felt at 25 Hz",
        "Duration: 20 s, samples: 2000",
        "knocks: 10 per second",
        "range 100 mg per digit",
        "Hz",
        "sampling rate: 200 Hz, decimated by 2",
        "sampling rate: 200 Hz\ndown-sampled by: 2",
    ],
)
def test_what_is_no_rate_is_not_taken_for_one(line: str) -> None:
    with pytest.raises(ReadingError, match="with time stamps") as caught:
        under(line)
    assert "# sample rate: 100 Hz" in str(caught.value)  # what to write, should nothing else be had
    assert "option" not in str(caught.value)


def test_the_line_that_the_refusal_proposes_serves() -> None:
    data = text(BARE, "x,y,z").encode()
    with pytest.raises(ReadingError, match="# sample rate: 100 Hz"):
        read_recording(data)
    assert read_recording(b"# sample rate: 100 Hz\n" + data).sample_rate_hz == pytest.approx(100.0)


def test_stamps_win_over_a_told_rate() -> None:
    recording = read_recording(("# sample rate: 50 Hz\n" + csv(TRUTH)).encode())
    assert recording.sample_rate_hz == pytest.approx(100.0)
    assert codes(recording) == []


def test_a_counter_with_a_told_rate() -> None:
    rows = [[str(i), *row] for i, row in enumerate(BARE)]
    recording = read_recording(text(rows, "# fs = 100 Hz\nn,x,y,z").encode())
    assert recording.sample_rate_hz == pytest.approx(100.0)


def test_a_told_rate_is_that_of_one_sensor() -> None:
    rows = [[sensor, *row] for row in BARE for sensor in ("accelerometer", "gyroscope")]
    recording = read_recording(text(rows, "# fs = 100 Hz\nsensor,x,y,z").encode())
    assert recording.t_s[-1] == pytest.approx(TRUTH.t_s[-1])


def test_a_rate_told_in_other_containers() -> None:
    numbers = [[float(v) for v in row] for row in BARE]
    book = xlsx({"S": [["Sample rate", 100, "Hz"], ["x", "y", "z"], *numbers]})
    data = {"name": "made up", "sampleRate": 100, "data": [dict(zip("xyz", r, strict=True)) for r in numbers]}
    for content in (book, json.dumps(data).encode()):
        recording = read_recording(content)
        assert recording.sample_rate_hz == pytest.approx(100.0)
        assert codes(recording) == ["rate-told"]


@pytest.mark.parametrize(
    "form",
    [
        {"sampling_rate": 100.0, "x": 0, "y": 1, "z": 2},
        {"meta": {"fs": 100, "device": "made up"}, "data": "rows"},
        {"interval_ms": 10, "values": "rows"},
        {"rate": "100 Hz", "acc": {"x": 0, "y": 1, "z": 2}},
    ],
    ids=str,
)
def test_a_rate_told_beside_the_samples_of_json(form: dict[str, Any]) -> None:
    rows = [[float(v) for v in row] for row in BARE]

    def filled(key: str, value: Any) -> Any:
        if isinstance(value, dict):
            return {k: filled(k, v) for k, v in value.items()}
        return rows if value == "rows" else [r[value] for r in rows] if key in "xyz" else value

    recording = read_recording(json.dumps(filled("", form)).encode())
    assert recording.sample_rate_hz == pytest.approx(100.0)
    assert codes(recording) == ["rate-told"]


# --- time since the row before ---


@settings(max_examples=60, deadline=None)
@given(
    name=st.sampled_from(
        ["dt", "delta", "interval", "delta_t", "Δt", "time delta", "dt (ms)", "interval_us"]
    ),
    unit=st.sampled_from(["s", "ms", "us", "ns"]),
    jitter=st.sampled_from([0.0, 0.1]),
    first=st.sampled_from(["0", "", "as the rest"]),
    last_column=st.booleans(),
)
def test_steps_are_added_up(name: str, unit: str, jitter: float, first: str, last_column: bool) -> None:
    size, digits = {"s": (1.0, 6), "ms": (1e-3, 3), "us": (1e-6, 0), "ns": (1e-9, 0)}[unit]
    if name in ("dt (ms)", "interval_us"):
        size, digits = {"dt (ms)": (1e-3, 3), "interval_us": (1e-6, 0)}[name]
    truth = shake(100.0, 20.0, jitter=jitter)
    steps = [f"{s / size:.{digits}f}" for s in np.diff(truth.t_s, prepend=-0.01)]
    steps[0] = steps[0] if first == "as the rest" else first
    put = (lambda s, r: [*r[1:], s]) if last_column else (lambda s, r: [s, *r[1:]])
    rows = [put(s, r) for s, r in zip(steps, cells(truth), strict=True)]
    header = f"x,y,z,{name}" if last_column else f"{name},x,y,z"
    recording = read_recording(text(rows, header).encode())
    np.testing.assert_allclose(recording.t_s, truth.t_s, atol=2e-3)  # the printed digits add up
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=1e-3)
    assert codes(recording) == []


def test_a_gap_in_the_steps_is_a_gap() -> None:
    steps = ["10"] * len(BARE)
    steps[1000] = "510"
    recording = read_recording(text([[s, *r] for s, r in zip(steps, BARE, strict=True)], "dt,x,y,z").encode())
    assert recording.lost_samples == 50


def test_stamps_win_over_steps() -> None:
    rows = [["10", *row] for row in cells(TRUTH)]
    recording = read_recording(text(rows, "dt_ms,time,x,y,z").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-6)


def test_steps_that_are_none() -> None:
    """A column called delta that goes up and down about 0 is a change of something else."""
    rng = np.random.default_rng(0)
    rows = [[f"{v:.4f}", *r] for v, r in zip(rng.normal(0, 1, len(BARE)), BARE, strict=True)]
    with pytest.raises(ReadingError, match="with time stamps"):
        read_recording(text(rows, "delta,x,y,z").encode())


def test_steps_of_a_slow_logger_are_told_as_slow() -> None:
    slow = Truth(np.arange(300) / 10, shake(10.0, 30.0).accel, 10.0)
    rows = [["100", *r[1:]] for r in cells(slow)]
    with pytest.raises(ReadingError, match="10 samples a second"):
        read_recording(text(rows, "dt_ms,x,y,z").encode())

"""Rows that repeat: a logger that polls too fast or writes again, and what only looks like it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.reading.make import Truth, cells, codes, csv, shake, text
from vibecore.reading import read_recording

TRUTH = shake()


@settings(max_examples=15, deadline=None)
@given(poll_hz=st.floats(115.0, 400.0), seed=st.integers(0, 99))
def test_a_logger_that_polls_too_fast(poll_hz: float, seed: int) -> None:
    """Each value of the sensor once, though it was asked for more often."""
    truth = shake(100.0, 20.0, seed=seed)
    asked = np.arange(0, truth.t_s[-1], 1 / poll_hz)
    at = np.searchsorted(truth.t_s, asked, side="right") - 1
    polled = Truth(asked, truth.accel[at], poll_hz)
    recording = read_recording(csv(polled).encode())
    assert codes(recording)[0] == "repeated-rows"
    assert recording.sample_rate_hz == pytest.approx(100.0, rel=5e-3)
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel[: len(recording.t_s)], atol=1e-5)


@pytest.mark.parametrize(("noise", "alike"), [(0.03, 0.2), (0.018, 0.9), (0.014, 0.98)])
def test_a_coarse_sensor_at_rest_is_not_taken_for_polling(noise: float, alike: float) -> None:
    """Browsers round to 0.1 m/s2: rows repeat by chance, axis by axis, and stay; nearly all of them when the
    engine is off."""
    rng = np.random.default_rng(0)
    accel = np.round(rng.normal([0.012, 0.0, 9.81], noise, (3000, 3)), 1)
    assert np.mean((np.diff(accel, axis=0) == 0).all(axis=1)) > alike
    recording = read_recording(csv(Truth(np.arange(3000) / 60, accel, 60.0)).encode())
    assert len(recording.t_s) == 3000


@pytest.mark.parametrize(("level", "noise"), [(0.1, 0.004), (0.1, 0.008), (0.3, 0.004)])
def test_a_coarse_sensor_on_a_smooth_engine_is_not_taken_for_polling(level: float, noise: float) -> None:
    """At the turns of a smooth motion the three axes stand still together, more often than three independent
    ones: not in a beat, as two rates would."""
    rng = np.random.default_rng(4)
    t_s = np.arange(3000) / 100
    turn = 2 * np.pi * np.cumsum(11.7 + 0.05 * np.sin(2 * np.pi * t_s / 3.7)) / 100
    motion = level * (np.sin(turn) + 0.8 * np.sin(turn / 2 + 1))
    accel = np.outer(motion, [0.6, 0.3, 0.74]) + rng.normal([0.2, 0.1, 9.8], noise, (3000, 3))
    accel = np.round(accel / 0.0383) * 0.0383  # 12 bits at 8 g
    assert np.mean((np.diff(accel, axis=0) == 0).all(axis=1)) > 0.05
    recording = read_recording(csv(Truth(t_s, accel, 100.0)).encode())
    assert len(recording.t_s) == 3000
    assert "repeated-rows" not in codes(recording)


@pytest.mark.parametrize("offset", [0.0, 0.15])  # m/s2: of a zero that is off
@pytest.mark.parametrize("rate_hz", [50.0, 75.0])
def test_a_line_at_half_or_a_third_of_the_rate_is_one_sensor(rate_hz: float, offset: float) -> None:
    """Firing at 25 Hz and no gravity: every other or third row is alike."""
    t = np.arange(round(20 * rate_hz)) / rate_hz
    accel = np.outer(np.cos(2 * np.pi * 25.0 * t), [1.0, -0.5, 0.3]) + offset
    accel += np.random.default_rng(0).normal(0, 0.05, accel.shape)
    recording = read_recording(csv(Truth(t, accel, rate_hz), "time,ax (m/s2),ay (m/s2),az (m/s2)").encode())
    np.testing.assert_allclose(recording.accel_m_s2, accel, atol=1e-5)


@pytest.mark.parametrize("unit", [1.0, 1e-3])
def test_a_block_of_rows_that_was_written_again(unit: float) -> None:
    """The same stamps with the same values, two seconds long: no clock that was set back."""
    rows = cells(TRUTH, t_unit=unit, t_digits=6 if unit == 1 else 0)
    recording = read_recording(text([*rows[:900], *rows[700:900], *rows[900:]]).encode())
    assert len(recording.t_s) == len(TRUTH.t_s)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-3)
    assert codes(recording) == ["repeated-rows"]

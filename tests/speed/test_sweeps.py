"""Speeds that climb and fall, against chirps of known frequency (scipy.signal.chirp) and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal as ss

from tests.speed.closed_form import as_signal, noise
from vibecore.engine import Engine
from vibecore.model import Condition, Floats
from vibecore.speed import find_speed, sweeps

FS_HZ = 200.0
LENGTH_S = 24.0
T_S = np.arange(round(LENGTH_S * FS_HZ)) / FS_HZ
DIRECTION = np.array([0.6, 0.0, 0.8])
SWEEP = Condition("steering wheel", "neutral", "sweep")


def _chirp(first_hz: float, last_hz: float, size: float) -> Floats:
    """A tone that climbs at one steady rate in the logarithm."""
    wave = ss.chirp(T_S, first_hz, LENGTH_S, last_hz, method="logarithmic")
    return np.outer(size * wave, DIRECTION)


def _true_hz(first_hz: float, last_hz: float, t_s: Floats) -> Floats:
    """scipy's manual: f(t) = f0 (f1 / f0) ** (t / t1)."""
    return first_hz * (last_hz / first_hz) ** (t_s / LENGTH_S)


@pytest.mark.parametrize(("first_hz", "last_hz"), [(12.0, 40.0), (60.0, 20.0), (25.0, 26.0)])
def test_a_chirp_is_followed_from_end_to_end(first_hz: float, last_hz: float) -> None:
    found = next(sweeps.followed(as_signal(_chirp(first_hz, last_hz, 0.1) + noise(len(T_S), 0.1), FS_HZ), 1))
    assert found.hz == pytest.approx(_true_hz(first_hz, last_hz, found.t_s), rel=0.03)
    assert np.median(np.abs(found.hz / _true_hz(first_hz, last_hz, found.t_s) - 1)) < 0.008


def test_a_line_goes_on_as_it_went_where_it_crosses_another() -> None:
    """A fan's at 24 Hz, stronger, is crossed half way; both are followed, one after the other."""
    fan = np.outer(0.3 * np.sin(2 * np.pi * 24.0 * T_S), DIRECTION)
    accel = _chirp(14.0, 40.0, 0.1) + fan + noise(len(T_S), 0.05)
    first, second = sweeps.followed(as_signal(accel, FS_HZ), 2)
    assert first.hz == pytest.approx(24.0, rel=0.02)
    missed = np.abs(second.hz / _true_hz(14.0, 40.0, second.t_s) - 1) > 0.03
    assert missed.mean() < 0.12  # near the crossing the line that was taken out leaves nothing


def test_a_line_that_climbs_out_of_sight_is_not_taken_for_one_that_stops_there() -> None:
    accel = _chirp(50.0, 140.0, 0.2) + noise(len(T_S), 0.02)
    assert not list(sweeps.followed(as_signal(accel[: len(T_S) * 2 // 3], FS_HZ), 1))


def test_noise_holds_no_line() -> None:
    assert not list(sweeps.followed(as_signal(noise(len(T_S), 0.2), FS_HZ), 3))


def _engine(
    seed: int,
    sizes: dict[float, float],
    span_hz: tuple[float, float] | None = None,
    sinks: tuple[float, float, float] = (0.0, 0.0, 1.0),
) -> tuple[Floats, Floats]:
    """A sweep up and down again, and its speed (hertz) over time: a raised cosine, so its turns are known.
    sinks: an order, the speed (hertz) below which it does, and how much of it is left there."""
    rng = np.random.default_rng(seed)
    low, high = span_hz or (rng.uniform(10.5, 13.0), rng.uniform(20.0, 30.0))
    middle, swing = (low + high) / 2, (high - low) / 2
    speed = middle - swing * np.cos(2 * np.pi * T_S / LENGTH_S)
    turns = middle * T_S - swing * LENGTH_S / (2 * np.pi) * np.sin(2 * np.pi * T_S / LENGTH_S)
    accel = noise(len(T_S), 0.05, seed=seed)
    for order, size in sizes.items():
        left = np.where((speed < sinks[1]) & (order == sinks[0]), sinks[2], 1.0)
        wave = left * np.cos(2 * np.pi * (order * turns + rng.random()))
        accel += np.outer(size * wave, rng.standard_normal(3))
    return accel, speed


@pytest.mark.parametrize("seed", range(4))
def test_the_speed_of_an_engine_that_is_swept_is_found_and_followed(seed: int) -> None:
    accel, speed = _engine(seed, {0.5: 0.05, 1.0: 0.05, 1.5: 0.05, 2.0: 0.1})
    track = find_speed(as_signal(accel, FS_HZ), Engine(4), SWEEP).track
    assert track is not None
    assert track.low_rpm < 60 * speed.mean() < track.high_rpm
    off = np.abs(track.rpm / 60 / np.interp(track.t_s, T_S, speed) - 1)
    assert np.median(off) < 0.002
    assert np.quantile(off, 0.95) < 0.02


def test_one_line_alone_does_not_tell_which_order_was_swept() -> None:
    accel, _ = _engine(1, {2.0: 0.3})
    answer = find_speed(as_signal(accel, FS_HZ), Engine(4), SWEEP)
    assert answer.track is None
    assert [w.code for w in answer.warnings] == ["speed-undecided"]


@pytest.mark.parametrize("seed", range(3))
def test_a_sweep_is_at_the_idle_where_it_is_lowest(seed: int) -> None:
    """From 690 rpm up to 2400: half that would begin at 345 (sweeps are asked for from the idle: common
    practice, no source)."""
    accel, speed = _engine(seed, {0.5: 0.05, 1.0: 0.1}, (11.5, 40.0))
    track = find_speed(as_signal(accel, FS_HZ), Engine(4), SWEEP).track
    assert track is not None
    assert track.mean_rpm == pytest.approx(60 * speed.mean(), rel=0.01)


@pytest.mark.parametrize("seed", range(3))
def test_an_order_that_sinks_in_part_of_a_sweep_has_not_gone(seed: int) -> None:
    """Below 840 rpm the firing order shakes by a twelfth; order 1 holds on."""
    accel, speed = _engine(seed, {1.0: 0.15, 2.0: 1.0}, (11.5, 26.0), sinks=(2.0, 14.0, 0.08))
    track = find_speed(as_signal(accel, FS_HZ), Engine(4), SWEEP).track
    assert track is not None
    assert track.mean_rpm == pytest.approx(60 * speed.mean(), rel=0.01)


def test_an_order_that_is_lost_in_part_of_a_sweep_gives_no_speed() -> None:
    accel, _ = _engine(1, {1.0: 0.15, 2.0: 1.0}, (11.5, 26.0), sinks=(2.0, 14.0, 0.0))
    answer = find_speed(as_signal(accel, FS_HZ), Engine(4), SWEEP)
    assert answer.track is None
    assert [w.code for w in answer.warnings] == ["speed-not-steady"]

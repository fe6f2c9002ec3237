"""Range exceeded or not: invented motions of many kinds, cut off or whole, by formula.

A sine cut off at the share c of its height keeps 2/pi (asin c + c sqrt(1 - c^2)) of its line (Fourier series,
any textbook): 0.3 dB lost at 0.9, 1.8 dB at 0.7.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.speed.closed_form import as_recording
from vibecore.conditioning import condition
from vibecore.model import Floats

STEPS = [0.0, 0.0006, 0.0024, 0.0098, 0.0383, 0.1, 0.15]  # of files, m/s2: 16 bits at 2 g to a coarse phone
RATES = [50.0, 60.0, 99.7, 100.0, 200.0, 400.0]


def told(accel: Floats, rate_hz: float) -> bool:
    recording = as_recording(np.arange(len(accel)) / rate_hz, accel, rate_hz)
    return "clipped" in {w.code for w in condition(recording).warnings}


def rounded(values: Floats, step: float) -> Floats:
    return np.round(values / step) * step if step else values


def motion(kind: str, t_s: Floats, line_hz: float, phase: float, seed: int) -> Floats:
    """One axis (n,) of about unit height."""
    rng = np.random.default_rng(seed)
    turn = 2 * np.pi * line_hz * t_s + phase
    turn = turn + 0.5 * np.sin(0.3 * t_s) + 0.4 * np.sin(1.7 * t_s)  # no engine keeps step with a phone
    match kind:
        case "sine":
            return np.sin(turn)
        case "sines":
            return sum(
                a * np.sin(k * turn / 2 + p)
                for k, a, p in zip((1, 2, 4), rng.random(3), 6 * rng.random(3), strict=True)
            )
        case "beat":
            return np.sin(turn) * np.cos(0.4 * t_s)
        case "wandering":
            return np.sin(turn + 3 * np.sin(0.7 * t_s))
        case "noise":
            return rng.normal(0, 0.4, len(t_s))
        case "knocks":
            return rng.normal(0, 0.02, len(t_s)) + np.exp(-20 * (t_s % 3.1)) * np.sin(turn)
        case "firings":
            return np.exp(-2 * (turn / (2 * np.pi) % 1)) * np.sin(4 * turn)
        case _:
            return 0.3 * np.tanh(t_s - t_s[-1] / 2) + rng.normal(0, 0.05, len(t_s))  # a phone that slips


KINDS = ["sine", "sines", "beat", "wandering", "noise", "knocks", "firings", "slip"]
whole = given(
    kinds=st.tuples(*[st.sampled_from(KINDS)] * 3),
    rate_hz=st.sampled_from(RATES),
    seconds=st.sampled_from([8.0, 30.0]),
    line_hz=st.floats(3.0, 24.0) | st.sampled_from([5.0, 10.0, 12.5, 16.6666667, 20.0, 24.0, 25.0]),
    height=st.sampled_from([0.02, 0.1, 0.5, 3.0]),
    noise=st.sampled_from([0.002, 0.03]),
    step=st.sampled_from(STEPS),
    offset=st.floats(-10.0, 10.0) | st.sampled_from([0.0, 9.80665]),
    seed=st.integers(0, 10_000),
)


@settings(max_examples=150, deadline=None, derandomize=True)
@whole
def test_a_whole_motion_is_not_called_cut_off(
    kinds: tuple[str, ...], rate_hz: float, seconds: float, line_hz: float, height: float, noise: float,
    step: float, offset: float, seed: int,
) -> None:  # fmt: skip
    t_s = np.arange(int(seconds * rate_hz)) / rate_hz
    rng = np.random.default_rng(seed)
    axes = [motion(kind, t_s, line_hz, 6.28 * rng.random(), seed + i) for i, kind in enumerate(kinds)]
    accel = np.column_stack(axes) * height * [1.0, 0.5, 0.8] + rng.normal(0, 1, (len(t_s), 3)) * noise
    accel += np.array([0.3 * offset, -0.2, offset])
    assert not told(rounded(accel, step), rate_hz)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    rate_hz=st.sampled_from(RATES),
    seconds=st.sampled_from([15.0, 60.0]),
    line_hz=st.floats(4.0, 24.5),
    kept=st.floats(0.4, 0.8),
    height=st.sampled_from([1.0, 5.0, 20.0]),
    noise=st.sampled_from([0.01, 0.05]),
    step=st.sampled_from(STEPS[:5]),
    both=st.booleans(),
    side=st.sampled_from([-1, 1]),
    seed=st.integers(0, 10_000),
)
def test_a_line_that_is_cut_off_is_told(
    rate_hz: float, seconds: float, line_hz: float, kept: float, height: float, noise: float, step: float,
    both: bool, side: int, seed: int,
) -> None:  # fmt: skip
    t_s = np.arange(int(seconds * rate_hz)) / rate_hz
    rng = np.random.default_rng(seed)
    speed = line_hz * (1 + 0.01 * np.sin(0.5 * t_s))  # an idle wanders by some percent
    line = height * np.sin(2 * np.pi * np.cumsum(speed) / rate_hz)
    accel = rng.normal(0, noise * height, (len(t_s), 3))
    limits = (-kept * height if both else None, kept * height)
    accel[:, 2] = rounded(np.clip(accel[:, 2] + line, *limits), step)
    accel[:, 2] = side * accel[:, 2] + 9.8
    assert told(accel, rate_hz)


def test_a_line_at_24_hertz_cut_off_at_100_samples_a_second() -> None:
    """Hardly ever two samples in a row at the end of the range, and 1.8 dB lost."""
    t_s = np.arange(3000) / 100
    accel = np.random.default_rng(0).normal(0, 0.05, (3000, 3))
    accel[:, 0] += 20 * np.sin(2 * np.pi * 24 * t_s)
    assert not told(accel, 100.0)
    assert told(np.clip(accel, -14.0, 14.0), 100.0)


@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("line_hz", [7.3, 11.77, 24.13])
def test_a_sine_without_any_noise_is_not_called_cut_off(line_hz: float, step: float) -> None:
    """Where it stays longest: at its ends."""
    t_s = np.arange(3000) / 100
    axes = [a * np.sin(2 * np.pi * line_hz * t_s + p) for a, p in ((0.3, 0.1), (1.0, 0.7), (0.0, 0.0))]
    assert not told(rounded(np.column_stack(axes), step), 100.0)


def test_noise_cut_off_is_told() -> None:
    accel = np.random.default_rng(1).normal(0, 5, (6000, 3))
    assert not told(accel, 100.0)
    assert told(np.clip(accel, -10.0, 10.0), 100.0)


@pytest.mark.parametrize("level", [9.72, 9.74, 9.76, 9.8, 9.82])
def test_a_quiet_coarse_phone_is_not_called_cut_off(level: float) -> None:
    rng = np.random.default_rng(3)
    accel = rng.normal([0.0, 0.07, level], 0.03, (3000, 3))
    accel[1000:1010, 2] -= 1.0
    assert not told(rounded(accel, 0.15), 100.0)


def test_a_value_far_from_the_motion_that_comes_back_is_not_called_cut_off() -> None:
    """A sensor that slips to one odd value now and then has not run out of its range."""
    accel = np.random.default_rng(3).normal(0, 0.3, (3000, 3))
    accel[::50, 0] = 5.0
    accel[25, 0] = 4.9  # one of sixty on its way there
    assert not told(accel, 100.0)


@pytest.mark.parametrize(("at_the_end", "cut_off"), [(15, False), (30, True)])
def test_few_samples_beside_the_end_may_be_few_by_chance(at_the_end: int, cut_off: bool) -> None:
    """Two counted may stand for 2 + 2 sqrt(2) = 4.8 (Poisson): fifteen are not surely four times as many."""
    accel = np.random.default_rng(3).uniform(-1.0, 0.85, (3000, 3))
    accel[:: 3000 // at_the_end, 0] = 1.0
    accel[[7, 1507], 0] = 0.995
    assert told(accel, 100.0) == cut_off


def test_a_value_held_while_the_sensor_wakes_is_not_called_cut_off() -> None:
    accel = np.random.default_rng(3).normal(0, 0.3, (3000, 3))
    accel[:100, 0] = 1.3
    assert not told(accel, 100.0)


def test_dropouts_written_as_zero_are_not_called_cut_off() -> None:
    rng = np.random.default_rng(3)
    accel = rng.normal([0, 0, 9.8], 0.3, (3000, 3))
    accel[rng.random(3000) < 0.01, 2] = 0.0
    assert not told(accel, 100.0)

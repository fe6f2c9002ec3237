"""Level and phase of an order near a natural frequency, judged as one.

Outside: the response of one degree of freedom, H = 1 / (1 - r^2 + 2 i z r) (Thomson, Theory of Vibration with
Applications, ch. 3), differentiated numerically here.
"""

from __future__ import annotations

import numpy as np
import pytest

from vibecore.evidence.near_mode import log_likelihood
from vibecore.wander import Slope


def response(r: float, z: float) -> complex:
    return 1 / complex(1 - r**2, 2 * z * r)


def slopes(r: float, z: float) -> tuple[Slope, Slope]:
    """d ln |H| / d ln r and d arg H / d ln r, with what a path without a mode adds: the centres."""
    step = 1e-5
    change = np.log(response(r * (1 + step), z) / response(r * (1 - step), z)) / (2 * step)
    return Slope(float(change.real) - 1.5, 0.5), Slope(float(change.imag) + 1.5, 0.5)


def says_mode(level: Slope | None, turn: Slope | None) -> float:
    logs = log_likelihood(level, turn)
    return 10 / np.log(10) * (logs["idle-resonance"] - logs["normal"])


@pytest.mark.parametrize("z", [0.02, 0.05, 0.1])
@pytest.mark.parametrize("r", [0.93, 1.0, 1.08])
def test_near_a_mode_both_together_say_so(r, z):
    assert says_mode(*slopes(r, z)) > 4.0


def test_beside_a_mode_a_phase_that_hardly_turns_does_not_deny_it():
    """12 % above: the level falls by 8 % a percent of speed, the phase turns by under 2 degrees."""
    level, turn = slopes(1.12, 0.03)
    assert level.value < -7
    assert abs(np.degrees(turn.value)) / 100 < 2.0
    assert says_mode(level, turn) > 4.0


@pytest.mark.parametrize("r", [2.0, 3.0])
def test_far_above_a_mode_there_is_none(r):
    assert says_mode(*slopes(r, 0.05)) < -2.0


def test_what_was_not_read_counts_for_nothing():
    level, turn = slopes(1.0, 0.05)
    assert says_mode(None, turn) > 5.0
    assert abs(says_mode(None, None)) < 1e-9
    assert says_mode(Slope(level.value, 50.0), Slope(turn.value, 500.0)) == pytest.approx(0.0, abs=2.5)

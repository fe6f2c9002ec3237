"""Which of belt and fan: by definition the one keeps its order and the other its hertz as the engine's speed
wanders. A line under Hann's window has powers 1/4, 1, 1/4 (Harris, Proc. IEEE 66(1), 1978), an effective
width of 1.5^2 / (1 + 2 / 16) = 2 bins; one that sweeps evenly over D hertz is D hertz wide.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.orders_made import FS_HZ, HUNTING, STEADY, made_of, true_track
from tests.speed.closed_form import Crank, as_signal
from vibecore.drifting import narrower_in_hertz_db

BELT, FAN_HZ = 2.7, 27.3
RAMP = Crank(12.0, 30.0, slope_hz_s=0.01)


def _narrower(crank: Crank, belt: float = 0.0, fan: float = 0.0) -> float:
    accel = made_of({BELT: belt, 2.0: 0.2, 2.5: 0.1}, crank)
    t = np.arange(len(accel)) / FS_HZ
    accel[:, 2] += fan * 2**0.5 * np.sin(2 * np.pi * FAN_HZ * t)
    track = true_track(crank, len(accel), FS_HZ)
    return narrower_in_hertz_db(as_signal(accel, FS_HZ), track, FAN_HZ if fan else BELT * track.turns_hz)


def test_what_turns_with_the_crank_is_narrower_in_orders_and_a_motor_in_hertz() -> None:
    assert _narrower(HUNTING, belt=0.1) < -4
    assert _narrower(HUNTING, fan=0.1) > 4


def test_how_much_narrower_is_how_far_the_speed_swept() -> None:
    """Half a minute at 0.01 Hz a second sweeps a line of order 2.7 over 0.81 Hz, about half of which counts
    under the window (its own effective width); alone it is 2 / 30 Hz wide."""
    swept = 0.01 * 30 * BELT
    widest, least = (10 * np.log10(share * swept / (2 / 30)) for share in (0.8, 0.4))
    assert least < -_narrower(RAMP, belt=0.1) < widest


def test_at_a_speed_that_stands_nothing_tells() -> None:
    assert _narrower(STEADY, belt=0.1) == pytest.approx(0.0, abs=0.5)


def test_where_nothing_stands_nothing_tells() -> None:
    still = np.zeros((round(30 * FS_HZ), 3))
    track = true_track(HUNTING, len(still), FS_HZ)
    assert narrower_in_hertz_db(as_signal(still, FS_HZ), track, FAN_HZ) == 0.0

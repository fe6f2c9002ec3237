"""Resampling along the crank's angle, against general libraries that do the same in two steps."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.ndimage
import scipy.signal

from vibecore.between import BLOCK
from vibecore.model import Signal
from vibecore.turning import turn

FS_HZ = 200.0


def signal(accel: np.ndarray) -> Signal:
    n = len(accel)
    return Signal(FS_HZ, 0.0, accel, np.ones(n, bool), (0.0, n / FS_HZ), True, 0.0, (), ())


def test_it_reads_between_the_samples_as_scipys_resample_and_spline_do_one_after_the_other() -> None:
    """scipy.signal.resample to twice the rate, then scipy.ndimage.map_coordinates, cubic."""
    n = 4000
    t_s = np.arange(n) / FS_HZ
    angle = 12 * t_s + 0.3 * np.sin(t_s)
    rng = np.random.default_rng(1)
    accel = scipy.signal.sosfilt(scipy.signal.butter(6, 0.8, output="sos"), rng.normal(size=(n, 3)), axis=0)
    turned = turn(signal(accel), angle)
    even = np.arange(angle[0], angle[-1], 1 / turned.per_rev)
    place = 2 * np.interp(even, angle, np.arange(n))
    doubled = scipy.signal.resample(accel, 2 * n)
    inside = slice(400, -400)  # the ends are carried on in different ways
    for axis in range(3):
        wanted = scipy.ndimage.map_coordinates(doubled[:, axis], place[None], order=3)
        assert turned.accel_m_s2[inside, axis] == pytest.approx(wanted[inside], abs=0.01)


@pytest.mark.parametrize("n", [700, BLOCK, 2 * BLOCK + 37])
def test_a_sine_keeps_its_level_up_to_0_4_of_the_rate_wherever_blocks_meet(n: int) -> None:
    """The sine itself, in closed form."""
    t_s = np.arange(n) / FS_HZ
    angle = 10 * t_s + 0.1 * np.sin(0.7 * t_s)
    sine = np.sin(2 * np.pi * 0.4 * FS_HZ * t_s)
    turned = turn(signal(np.column_stack([sine, sine, sine])), angle)
    even = np.arange(angle[0], angle[-1], 1 / turned.per_rev)
    wanted = np.sin(2 * np.pi * 0.4 * FS_HZ * np.interp(even, angle, t_s))
    error = (turned.accel_m_s2[:, 0] - wanted)[100:-100]
    assert np.sqrt(2 * np.mean(error**2)) < 0.007  # 0.06 dB
    assert np.abs(error).max() < 0.02

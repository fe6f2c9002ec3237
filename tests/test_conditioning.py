"""Gravity, upright axes, a phone that slips, against closed forms and scipy's rotations."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.conditioning_made import FS_HZ, UP, N, codes, idle, ready, rms, times, with_gravity
from tests.speed.closed_form import GRAVITY, as_recording, db
from vibecore.conditioning import condition
from vibecore.model import Signal


# Peer: scipy.spatial.transform.Rotation; the vertical part put in is known.
@pytest.mark.parametrize("seed", range(8))
def test_the_last_axis_is_vertical_however_the_phone_lay(seed: int) -> None:
    accel = idle()
    signal = ready(accel, Rotation.random(rng=np.random.default_rng(seed)))
    centred = accel - accel.mean(axis=0)
    assert signal.vertical_known
    assert np.abs(signal.accel_m_s2.mean(axis=0)).max() < 1e-9
    # the mean of the shake itself tilts gravity's estimate by less than a milliradian
    np.testing.assert_allclose(signal.accel_m_s2[:, 2], centred[:, 2], atol=2e-3)
    np.testing.assert_allclose(np.hypot(*signal.accel_m_s2[:, :2].T), np.hypot(*centred[:, :2].T), atol=2e-3)


@pytest.mark.parametrize("axis", [(1, 0, 0), (0, 1, 0), (0, 0, 1), (-1, 0, 0), (0, -1, 0), (0, 0, -1)])
def test_the_six_flat_ways_to_lie(axis: tuple[int, int, int]) -> None:
    """Gravity exactly along an axis, upside down too, where a formula for the turn may divide by nothing."""
    turned, _ = Rotation.align_vectors([axis], [(0, 0, 1)])
    accel = idle()
    signal = ready(accel, turned)
    np.testing.assert_allclose(signal.accel_m_s2[:, 2], accel[:, 2] - accel[:, 2].mean(), atol=2e-3)
    assert rms(signal.accel_m_s2) == pytest.approx(rms(accel - accel.mean(axis=0)), rel=1e-3)


def test_opposite_signs_of_two_makers_give_the_same_size() -> None:
    accel = idle()
    plain = ready(accel)
    opposite = condition(as_recording(times(), -(accel + UP), FS_HZ, gravity=(0, 0, 0)))
    np.testing.assert_allclose(np.abs(opposite.accel_m_s2[:, 2]), np.abs(plain.accel_m_s2[:, 2]), atol=1e-4)
    assert rms(opposite.accel_m_s2) == pytest.approx(rms(plain.accel_m_s2), rel=1e-6)


@pytest.mark.parametrize("angle_deg", [3.0, 6.0, 13.0, 30.0])
def test_gravity_is_followed_when_the_phone_slips(angle_deg: float) -> None:
    """Turned by 6 degrees, gravity's step alone is 9.81 sin 6 / 2 = 0.5 m/s2 rms, twice the shake."""
    slipped = times() > 13.0
    seen = idle() + UP
    seen[slipped] = Rotation.from_euler("x", angle_deg, degrees=True).apply(seen[slipped])
    signal = condition(with_gravity(as_recording(times(), seen, FS_HZ, gravity=None), True))
    assert abs(db(rms(signal.accel_m_s2[signal.good]) / rms(idle()))) < 0.3
    assert ("moved" in codes(signal)) == (angle_deg == 6.0)  # of more the longer part is used


def test_a_car_that_drives_keeps_its_slow_accelerations() -> None:
    """It speeds up and turns all the time: 1 m/s2 within some seconds is 6 degrees, and no slip."""
    driving = np.sin(2 * np.pi * 0.1 * times())[:, None] * [1.0, 0.5, 0.0]
    signal = ready(idle() + driving)
    expected = np.hypot(rms(idle()), rms(driving))
    assert abs(db(rms(signal.accel_m_s2[signal.good]) / expected)) < 0.3


def test_a_body_that_rocks_keeps_its_gravity_in_one_piece() -> None:
    """Under a degree it is motion of the car, and stays."""
    rocking = np.radians(0.8) * np.sin(2 * np.pi * 0.1 * times())
    seen = idle() + GRAVITY * np.stack([np.sin(rocking), np.zeros(N), np.cos(rocking)], axis=1)
    signal = condition(with_gravity(as_recording(times(), seen, FS_HZ, gravity=None), True))
    expected = np.hypot(rms(idle()), GRAVITY * np.radians(0.8) / 2**0.5)
    assert abs(db(rms(signal.accel_m_s2[signal.good]) / expected)) < 0.3


def test_without_gravity_no_vertical_is_claimed() -> None:
    accel = idle() + np.array([0.05, -0.02, 0.01])  # a sensor's own zero error
    signal = ready(accel, gravity=False)
    assert not signal.vertical_known
    np.testing.assert_allclose(signal.accel_m_s2, accel - accel.mean(axis=0), atol=1e-9)


def _slipped(angle_deg: float, at_share: float) -> Signal:
    accel = idle() + UP
    after = times() >= at_share * N / FS_HZ
    accel[after] = Rotation.from_euler("x", angle_deg, degrees=True).apply(accel[after])
    return condition(with_gravity(as_recording(times(), accel, FS_HZ, gravity=None), True))


@pytest.mark.parametrize("angle_deg", [6.0, 7.0])
def test_a_phone_that_slipped_a_little_is_told(angle_deg: float) -> None:
    signal = _slipped(angle_deg, 0.5)
    assert "moved" in codes(signal)
    told = next(w.message for w in signal.warnings if w.code == "moved")
    assert f"{angle_deg:.0f} degrees" in told
    assert "record again" in told


def test_a_phone_that_stayed_is_not_said_to_have_moved() -> None:
    """A body that rocks on its springs by one degree is no slip."""
    rocking = Rotation.from_euler("x", np.sin(2 * np.pi * 0.3 * times())[:, None], degrees=True)
    accel = rocking.apply(idle() + UP)
    signal = condition(with_gravity(as_recording(times(), accel, FS_HZ, gravity=None), True))
    assert "moved" not in codes(signal)
    assert signal.good.all()


@pytest.mark.parametrize(("angle_deg", "at_share"), [(20, 0.25), (60, 0.3), (90, 0.7), (180, 0.75)])
def test_of_a_phone_that_fell_the_longer_part_is_used(angle_deg: float, at_share: float) -> None:
    signal = _slipped(angle_deg, at_share)
    at_s = at_share * N / FS_HZ
    span = (at_s, N / FS_HZ) if at_share < 0.5 else (0.0, at_s)
    assert signal.used_span_s[0] == pytest.approx(span[0], abs=0.6)
    assert signal.used_span_s[1] == pytest.approx(span[1], abs=0.6)
    assert rms(signal.accel_m_s2[signal.good]) == pytest.approx(rms(idle()), rel=0.05)


@pytest.mark.parametrize("angle_deg", [20, 45, 90])
def test_of_a_phone_that_fell_half_way_one_half_is_used(angle_deg: float) -> None:
    assert _slipped(angle_deg, 0.5).good.sum() > 0.3 * N


@pytest.mark.parametrize("n", [1, 2, 3, 5, 8, 20, 100, 250])
def test_tiny_input_is_served(n: int) -> None:
    signal = ready(idle(n))
    assert len(signal.accel_m_s2) == len(signal.good) == n
    assert np.isfinite(signal.accel_m_s2).all()
    assert "short" in codes(signal)


@pytest.mark.parametrize("gravity", [True, False])
def test_input_that_never_changes_is_served(gravity: bool) -> None:
    signal = ready(np.zeros((N, 3)), gravity=gravity)
    assert np.abs(signal.accel_m_s2).max() < 1e-9
    assert signal.good.all()


def test_times_are_those_of_the_file() -> None:
    """Sample i of the signal is at start_s + i / fs_hz of the file: a tap put at 12 s is found there."""
    accel = idle()
    accel[:200] += 8.0 * np.random.default_rng(0).standard_normal((200, 3))
    accel[1200, 0] += 2.0
    signal = ready(accel)
    assert signal.used_span_s[0] == signal.start_s > 1.9
    peak = int(np.abs(signal.accel_m_s2[:, :2]).max(axis=1).argmax())
    assert signal.t_s[peak] == pytest.approx(12.0, abs=1e-6)
    assert signal.t_s[-1] == pytest.approx(signal.used_span_s[1], abs=1e-6)


def test_history_and_resolution_come_along() -> None:
    accel = np.round((idle() + UP) / 0.01) * 0.01
    signal = condition(with_gravity(as_recording(times(), accel, FS_HZ, gravity=None), True))
    assert signal.resolution_m_s2 == pytest.approx(0.01, rel=1e-6)
    assert signal.history
    assert not signal.accel_m_s2.flags.writeable

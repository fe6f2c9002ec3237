"""Gravity, upright axes, handling and knocks, against closed forms, scipy's rotations, simulated truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.speed.closed_form import GRAVITY, Crank, as_recording, db, noise, of_simulated, shake
from vibecore.conditioning import condition
from vibecore.engine import Engine
from vibecore.model import Condition, Floats, Recording, Signal
from vibecore.simulate import Phone, draw_car, simulate_recording
from vibecore.simulate.phone import Hand

FS_HZ = 100.0
N = 3000
UP = np.array([0.0, 0.0, GRAVITY])
IDLE = Condition("steering wheel", "neutral", "idle")
SEEDS = range(100_000, 100_012)


def _t(n: int = N) -> Floats:
    return np.arange(n) / FS_HZ


def _idle(n: int = N, seed: int = 0, level: float = 0.2) -> Floats:
    """(n, 3): an idling four in car axes, the last one up; vertical and sideways shake differ."""
    angle = Crank(12.0, n / FS_HZ, swing_hz=0.2).angle_rev(_t(n))
    firing = shake(angle, {2.0: level, 0.5: level / 4}, seed=seed, axes=(0.2, 0.3, 0.9))
    rocking = shake(angle, {1.0: level / 3}, seed=seed + 1, axes=(0.9, 0.1, 0.0))
    return firing + rocking + noise(n, 0.03, seed=seed)


def _with_gravity(recording: Recording, there: bool) -> Recording:
    return replace(recording, gravity_included=there)


def _ready(accel: Floats, turned: Rotation | None = None, *, gravity: bool = True) -> Signal:
    """Condition shake given in car axes, as a phone lying as `turned` says writes it down."""
    there = accel + UP if gravity else accel
    seen = there if turned is None else turned.apply(there)
    recording = as_recording(_t(len(seen)), seen, FS_HZ, gravity=None)
    return condition(_with_gravity(recording, gravity))


def _codes(signal: Signal) -> set[str]:
    return {w.code for w in signal.warnings}


def _rms(accel: Floats) -> float:
    return float(np.sqrt(np.mean(np.sum(accel**2, axis=1))))


# Peer: scipy.spatial.transform.Rotation; the vertical part put in is known.
@pytest.mark.parametrize("seed", range(8))
def test_the_last_axis_is_vertical_however_the_phone_lay(seed: int) -> None:
    accel = _idle()
    signal = _ready(accel, Rotation.random(rng=np.random.default_rng(seed)))
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
    accel = _idle()
    signal = _ready(accel, turned)
    np.testing.assert_allclose(signal.accel_m_s2[:, 2], accel[:, 2] - accel[:, 2].mean(), atol=2e-3)
    assert _rms(signal.accel_m_s2) == pytest.approx(_rms(accel - accel.mean(axis=0)), rel=1e-3)


def test_opposite_signs_of_two_makers_give_the_same_size() -> None:
    accel = _idle()
    plain = _ready(accel)
    opposite = condition(as_recording(_t(), -(accel + UP), FS_HZ, gravity=(0, 0, 0)))
    np.testing.assert_allclose(np.abs(opposite.accel_m_s2[:, 2]), np.abs(plain.accel_m_s2[:, 2]), atol=1e-4)
    assert _rms(opposite.accel_m_s2) == pytest.approx(_rms(plain.accel_m_s2), rel=1e-6)


@pytest.mark.parametrize("angle_deg", [3.0, 6.0, 13.0, 30.0])
def test_gravity_is_followed_when_the_phone_slips(angle_deg: float) -> None:
    """Turned by 6 degrees, gravity's step alone is 9.81 sin 6 / 2 = 0.5 m/s2 rms, twice the shake."""
    slipped = _t() > 13.0
    seen = _idle() + UP
    seen[slipped] = Rotation.from_euler("x", angle_deg, degrees=True).apply(seen[slipped])
    signal = condition(_with_gravity(as_recording(_t(), seen, FS_HZ, gravity=None), True))
    assert abs(db(_rms(signal.accel_m_s2[signal.good]) / _rms(_idle()))) < 0.3
    assert ("moved" in _codes(signal)) == (angle_deg == 6.0)  # of more the longer part is used


def test_a_car_that_drives_keeps_its_slow_accelerations() -> None:
    """It speeds up and turns all the time: 1 m/s2 within some seconds is 6 degrees, and no slip."""
    driving = np.sin(2 * np.pi * 0.1 * _t())[:, None] * [1.0, 0.5, 0.0]
    signal = _ready(_idle() + driving)
    expected = np.hypot(_rms(_idle()), _rms(driving))
    assert abs(db(_rms(signal.accel_m_s2[signal.good]) / expected)) < 0.3


def test_a_body_that_rocks_keeps_its_gravity_in_one_piece() -> None:
    """Under a degree it is motion of the car, and stays."""
    rocking = np.radians(0.8) * np.sin(2 * np.pi * 0.1 * _t())
    seen = _idle() + GRAVITY * np.stack([np.sin(rocking), np.zeros(N), np.cos(rocking)], axis=1)
    signal = condition(_with_gravity(as_recording(_t(), seen, FS_HZ, gravity=None), True))
    expected = np.hypot(_rms(_idle()), GRAVITY * np.radians(0.8) / 2**0.5)
    assert abs(db(_rms(signal.accel_m_s2[signal.good]) / expected)) < 0.3


def test_without_gravity_no_vertical_is_claimed() -> None:
    accel = _idle() + np.array([0.05, -0.02, 0.01])  # a sensor's own zero error
    signal = _ready(accel, gravity=False)
    assert not signal.vertical_known
    np.testing.assert_allclose(signal.accel_m_s2, accel - accel.mean(axis=0), atol=1e-9)


# Truth: the simulator's own steady span. The hand is at least ten times the car's shake here.
@pytest.mark.parametrize("seed", SEEDS)
def test_handling_at_both_ends_is_cut_and_little_else(seed: int) -> None:
    rng = np.random.default_rng(seed)
    car = draw_car(rng, Engine(4))
    phone = Phone(rate_hz=float(rng.choice([100.0, 200.0])))
    quiet = simulate_recording(car, IDLE, phone, seed, duration_s=24.0, hand=Hand())
    strength = 10.0 * quiet.truth.overall_m_s2 + 0.5
    hand = Hand(rng.uniform(0.6, 3.0), rng.uniform(0.5, 2.0), strength_m_s2=strength)
    made = simulate_recording(car, IDLE, phone, seed, duration_s=24.0, hand=hand)
    start_s, end_s = condition(of_simulated(made)).used_span_s
    true_start, true_end = made.truth.steady_span_s
    # A hand starts and stops softly: a fifth of a second of its fading may stay, a second may be lost.
    assert true_start - 0.2 <= start_s <= true_start + 1.0
    assert true_end - 1.0 <= end_s <= true_end + 0.2


def test_a_hand_is_cut_where_the_shake_itself_comes_and_goes() -> None:
    """Two lines that beat fade by tens of decibels: beside that a hand's level is nothing unusual."""
    t_s = np.arange(round(12 * FS_HZ)) / FS_HZ
    beat = np.sin(2 * np.pi * 11.7 * t_s) + np.sin(2 * np.pi * 12.2 * t_s)
    accel = np.outer(0.1 * beat, [1.0, 0.5, 0.2])
    hand = np.outer(np.sin(2 * np.pi * 1.3 * t_s), [1.0, 1.0, 0.3])
    hand[(t_s > 2.6) & (t_s < 11.2)] = 0.0
    signal = _ready(accel + hand, gravity=False)
    assert 2.6 <= signal.used_span_s[0] <= 3.4
    assert 10.4 <= signal.used_span_s[1] <= 11.2
    inside = (t_s > 2.6) & (t_s < 11.2)
    assert abs(db(_rms(signal.accel_m_s2[signal.good]) / _rms(accel[inside]))) < 1.0  # whole beats or not


def test_the_slowest_shake_of_an_engine_is_no_hand() -> None:
    """Order 0.5 at 400 rpm that grows tenfold, as a cylinder does that comes and goes."""
    accel = _idle()
    accel[:, 0] += np.linspace(0.3, 3.0, N) * np.sin(2 * np.pi * 400 / 120 * _t())
    signal = _ready(accel)
    assert signal.good.all()
    assert signal.used_span_s == (0.0, (N - 1) / FS_HZ)


@pytest.mark.parametrize(
    ("still_s", "used_s"),
    [((0.0, 11.0), (11.0, 30.0)), ((16.0, 30.0), (0.0, 16.0)), ((9.0, 13.0), (13.0, 30.0))],
    ids=["starts late", "stops", "stops and starts"],
)
def test_the_time_in_which_the_engine_does_not_run_is_left_out(
    still_s: tuple[float, float], used_s: tuple[float, float]
) -> None:
    accel = _idle()
    still = (_t() >= still_s[0]) & (_t() < still_s[1])
    accel[still] = noise(int(still.sum()), 0.01, seed=1)
    signal = _ready(accel)
    assert signal.used_span_s == pytest.approx(used_s, abs=0.6)
    assert "stood-still" in _codes(signal)


def test_a_shake_that_rises_slowly_from_little_is_read_throughout() -> None:
    """As in a sweep that climbs onto a natural frequency: 30 dB in 20 seconds."""
    rises = 10 ** (np.clip(_t() - 5.0, 0.0, 20.0) * 1.5 / 20)
    signal = _ready(_idle() * 0.1 * rises[:, None])
    assert signal.used_span_s == (0.0, (N - 1) / FS_HZ)
    assert "stood-still" not in _codes(signal)


def test_an_engine_that_is_off_throughout_is_read_throughout() -> None:
    """A phone that rounds shows nothing at all for long, and a step now and then; a hand at the start."""
    accel = np.round(noise(N, 0.02, seed=3) / 0.05) * 0.05
    accel[:500] += np.outer(np.sin(2 * np.pi * 1.1 * _t(500)), [2.0, 1.0, 1.0])
    signal = _ready(accel)
    assert signal.used_span_s == pytest.approx((5.0, (N - 1) / FS_HZ), abs=0.8)
    assert "stood-still" not in _codes(signal)


def test_a_quiet_car_under_a_phone_that_rounds_does_not_stand_still() -> None:
    """Its shake comes and goes under the step: nothing for three seconds, then single steps."""
    comes_and_goes = 0.06 * np.outer(np.sin(2 * np.pi * _t() / 10.0), [1.0, 0.3, 0.1])
    signal = _ready(np.round((comes_and_goes + noise(N, 0.01, seed=3)) / 0.1) * 0.1, gravity=False)
    assert "stood-still" not in _codes(signal)


@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_is_cut_where_nobody_touched_the_phone(seed: int) -> None:
    rng = np.random.default_rng(seed)
    made = simulate_recording(draw_car(rng), IDLE, Phone(rate_hz=200.0), seed, duration_s=20.0, hand=Hand())
    signal = condition(of_simulated(made))
    assert signal.used_span_s[0] == 0.0
    assert signal.used_span_s[1] == pytest.approx(made.t_s[-1], abs=0.02)
    assert signal.good.mean() > 0.97
    assert abs(db(_rms(signal.accel_m_s2) / made.truth.overall_m_s2)) < 1.0


def _knocked(at_s: list[float], size: float) -> Floats:
    """Idle with knocks that ring at 30 Hz and are gone after a third of a second."""
    accel = _idle()
    for at in at_s:
        since = np.clip(_t() - at, 0, None)
        accel[:, 1] += size * np.exp(-15 * since) * np.sin(2 * np.pi * 30 * since)
    return accel


@pytest.mark.parametrize("size", [5.0, 20.0])
def test_knocks_are_cut_out_and_the_rest_kept(size: float) -> None:
    at_s = [7.1, 14.0, 21.3]
    signal = _ready(_knocked(at_s, size))
    t_s = signal.t_s
    struck = np.any([(t_s >= at) & (t_s < at + 0.1) for at in at_s], axis=0)
    near = np.any([(t_s >= at - 0.8) & (t_s < at + 1.0) for at in at_s], axis=0)
    assert not signal.good[struck].any()
    assert signal.good[~near].all()
    assert signal.used_span_s == (0.0, (N - 1) / FS_HZ)
    assert _rms(signal.accel_m_s2[signal.good]) == pytest.approx(_rms(_idle()), rel=0.02)


def test_a_car_that_shakes_badly_all_the_time_is_not_cut() -> None:
    signal = _ready(_idle(level=3.0))
    assert signal.good.all()
    assert signal.used_span_s == (0.0, (N - 1) / FS_HZ)


def test_gaps_stay_marked_and_add_nothing() -> None:
    keep = np.ones(N, dtype=bool)
    keep[1200:1260] = False
    t_s, accel = _t()[keep], (_idle() + UP)[keep]
    signal = condition(_with_gravity(as_recording(t_s, accel, FS_HZ, gravity=None), True))
    assert not signal.good[1200:1260].any()
    assert keep.sum() - 50 <= signal.good.sum() <= keep.sum()  # a quarter second beside it may go too
    assert np.abs(signal.accel_m_s2[~signal.good]).max() == 0.0
    assert _rms(signal.accel_m_s2[signal.good]) == pytest.approx(_rms(_idle()), rel=0.02)


def _slipped(angle_deg: float, at_share: float) -> Signal:
    accel = _idle() + UP
    after = _t() >= at_share * N / FS_HZ
    accel[after] = Rotation.from_euler("x", angle_deg, degrees=True).apply(accel[after])
    return condition(_with_gravity(as_recording(_t(), accel, FS_HZ, gravity=None), True))


@pytest.mark.parametrize("angle_deg", [6.0, 7.0])
def test_a_phone_that_slipped_a_little_is_told(angle_deg: float) -> None:
    signal = _slipped(angle_deg, 0.5)
    assert "moved" in _codes(signal)
    told = next(w.message for w in signal.warnings if w.code == "moved")
    assert f"{angle_deg:.0f} degrees" in told
    assert "record again" in told


def test_a_phone_that_stayed_is_not_said_to_have_moved() -> None:
    """A body that rocks on its springs by one degree is no slip."""
    rocking = Rotation.from_euler("x", np.sin(2 * np.pi * 0.3 * _t())[:, None], degrees=True)
    accel = rocking.apply(_idle() + UP)
    signal = condition(_with_gravity(as_recording(_t(), accel, FS_HZ, gravity=None), True))
    assert "moved" not in _codes(signal)
    assert signal.good.all()


@pytest.mark.parametrize(("angle_deg", "at_share"), [(20, 0.25), (60, 0.3), (90, 0.7), (180, 0.75)])
def test_of_a_phone_that_fell_the_longer_part_is_used(angle_deg: float, at_share: float) -> None:
    signal = _slipped(angle_deg, at_share)
    at_s = at_share * N / FS_HZ
    span = (at_s, N / FS_HZ) if at_share < 0.5 else (0.0, at_s)
    assert signal.used_span_s[0] == pytest.approx(span[0], abs=0.6)
    assert signal.used_span_s[1] == pytest.approx(span[1], abs=0.6)
    assert _rms(signal.accel_m_s2[signal.good]) == pytest.approx(_rms(_idle()), rel=0.05)


@pytest.mark.parametrize("angle_deg", [20, 45, 90])
def test_of_a_phone_that_fell_half_way_one_half_is_used(angle_deg: float) -> None:
    assert _slipped(angle_deg, 0.5).good.sum() > 0.3 * N


@pytest.mark.parametrize("n", [1, 2, 3, 5, 8, 20, 100, 250])
def test_tiny_input_is_served(n: int) -> None:
    signal = _ready(_idle(n))
    assert len(signal.accel_m_s2) == len(signal.good) == n
    assert np.isfinite(signal.accel_m_s2).all()
    assert "short" in _codes(signal)


@pytest.mark.parametrize("gravity", [True, False])
def test_input_that_never_changes_is_served(gravity: bool) -> None:
    signal = _ready(np.zeros((N, 3)), gravity=gravity)
    assert np.abs(signal.accel_m_s2).max() < 1e-9
    assert signal.good.all()


def test_times_are_those_of_the_file() -> None:
    """Sample i of the signal is at start_s + i / fs_hz of the file: a tap put at 12 s is found there."""
    accel = _idle()
    accel[:200] += 8.0 * np.random.default_rng(0).standard_normal((200, 3))
    accel[1200, 0] += 2.0
    signal = _ready(accel)
    assert signal.used_span_s[0] == signal.start_s > 1.9
    peak = int(np.abs(signal.accel_m_s2[:, :2]).max(axis=1).argmax())
    assert signal.t_s[peak] == pytest.approx(12.0, abs=1e-6)
    assert signal.t_s[-1] == pytest.approx(signal.used_span_s[1], abs=1e-6)


def test_history_and_resolution_come_along() -> None:
    accel = np.round((_idle() + UP) / 0.01) * 0.01
    signal = condition(_with_gravity(as_recording(_t(), accel, FS_HZ, gravity=None), True))
    assert signal.resolution_m_s2 == pytest.approx(0.01, rel=1e-6)
    assert signal.history
    assert not signal.accel_m_s2.flags.writeable

"""What is left out of a recording: hands, a still engine, knocks, gaps; and what is not.

Against closed forms and simulated truth.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.conditioning_made import FS_HZ, UP, N, codes, idle, ready, rms, times, with_gravity
from tests.speed.closed_form import as_recording, db, noise, of_simulated
from vibecore.conditioning import condition
from vibecore.engine import Engine
from vibecore.model import Condition, Floats
from vibecore.simulate import Phone, draw_car, simulate_recording
from vibecore.simulate.phone import Hand

IDLE = Condition("steering wheel", "neutral", "idle")
SEEDS = range(100_000, 100_012)


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
    signal = ready(accel + hand, gravity=False)
    assert 2.6 <= signal.used_span_s[0] <= 3.4
    assert 10.4 <= signal.used_span_s[1] <= 11.2
    inside = (t_s > 2.6) & (t_s < 11.2)
    assert abs(db(rms(signal.accel_m_s2[signal.good]) / rms(accel[inside]))) < 1.0  # whole beats or not


def test_the_slowest_shake_of_an_engine_is_no_hand() -> None:
    """Order 0.5 at 400 rpm that grows tenfold, as a cylinder does that comes and goes."""
    accel = idle()
    accel[:, 0] += np.linspace(0.3, 3.0, N) * np.sin(2 * np.pi * 400 / 120 * times())
    signal = ready(accel)
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
    accel = idle()
    still = (times() >= still_s[0]) & (times() < still_s[1])
    accel[still] = noise(int(still.sum()), 0.01, seed=1)
    signal = ready(accel)
    assert signal.used_span_s == pytest.approx(used_s, abs=0.6)
    assert "stood-still" in codes(signal)


def test_a_shake_that_rises_slowly_from_little_is_read_throughout() -> None:
    """As in a sweep that climbs onto a natural frequency: 30 dB in 20 seconds."""
    rises = 10 ** (np.clip(times() - 5.0, 0.0, 20.0) * 1.5 / 20)
    signal = ready(idle() * 0.1 * rises[:, None])
    assert signal.used_span_s == (0.0, (N - 1) / FS_HZ)
    assert "stood-still" not in codes(signal)


def test_an_engine_that_is_off_throughout_is_read_throughout() -> None:
    """A phone that rounds shows nothing at all for long, and a step now and then; a hand at the start."""
    accel = np.round(noise(N, 0.02, seed=3) / 0.05) * 0.05
    accel[:500] += np.outer(np.sin(2 * np.pi * 1.1 * times(500)), [2.0, 1.0, 1.0])
    signal = ready(accel)
    assert signal.used_span_s == pytest.approx((5.0, (N - 1) / FS_HZ), abs=0.8)
    assert "stood-still" not in codes(signal)


def test_a_quiet_car_under_a_phone_that_rounds_does_not_stand_still() -> None:
    """Its shake comes and goes under the step: nothing for three seconds, then single steps."""
    comes_and_goes = 0.06 * np.outer(np.sin(2 * np.pi * times() / 10.0), [1.0, 0.3, 0.1])
    signal = ready(np.round((comes_and_goes + noise(N, 0.01, seed=3)) / 0.1) * 0.1, gravity=False)
    assert "stood-still" not in codes(signal)


@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_is_cut_where_nobody_touched_the_phone(seed: int) -> None:
    rng = np.random.default_rng(seed)
    made = simulate_recording(draw_car(rng), IDLE, Phone(rate_hz=200.0), seed, duration_s=20.0, hand=Hand())
    signal = condition(of_simulated(made))
    assert signal.used_span_s[0] == 0.0
    assert signal.used_span_s[1] == pytest.approx(made.t_s[-1], abs=0.02)
    assert signal.good.mean() > 0.97
    assert abs(db(rms(signal.accel_m_s2) / made.truth.overall_m_s2)) < 1.0


def _knocked(at_s: list[float], size: float) -> Floats:
    """Idle with knocks that ring at 30 Hz and are gone after a third of a second."""
    accel = idle()
    for at in at_s:
        since = np.clip(times() - at, 0, None)
        accel[:, 1] += size * np.exp(-15 * since) * np.sin(2 * np.pi * 30 * since)
    return accel


@pytest.mark.parametrize("size", [5.0, 20.0])
def test_knocks_are_cut_out_and_the_rest_kept(size: float) -> None:
    at_s = [7.1, 14.0, 21.3]
    signal = ready(_knocked(at_s, size))
    t_s = signal.t_s
    struck = np.any([(t_s >= at) & (t_s < at + 0.1) for at in at_s], axis=0)
    near = np.any([(t_s >= at - 0.8) & (t_s < at + 1.0) for at in at_s], axis=0)
    assert not signal.good[struck].any()
    assert signal.good[~near].all()
    assert signal.used_span_s == (0.0, (N - 1) / FS_HZ)
    assert rms(signal.accel_m_s2[signal.good]) == pytest.approx(rms(idle()), rel=0.02)


def test_a_car_that_shakes_badly_all_the_time_is_not_cut() -> None:
    signal = ready(idle(level=3.0))
    assert signal.good.all()
    assert signal.used_span_s == (0.0, (N - 1) / FS_HZ)


def test_gaps_stay_marked_and_add_nothing() -> None:
    keep = np.ones(N, dtype=bool)
    keep[1200:1260] = False
    t_s, accel = times()[keep], (idle() + UP)[keep]
    signal = condition(with_gravity(as_recording(t_s, accel, FS_HZ, gravity=None), True))
    assert not signal.good[1200:1260].any()
    assert keep.sum() - 50 <= signal.good.sum() <= keep.sum()  # a quarter second beside it may go too
    assert np.abs(signal.accel_m_s2[~signal.good]).max() == 0.0
    assert rms(signal.accel_m_s2[signal.good]) == pytest.approx(rms(idle()), rel=0.02)

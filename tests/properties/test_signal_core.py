"""What must hold for any recording (hypothesis): how hard it shakes, how the phone lies and when it was
started change nothing but what they should."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from tests.speed.closed_form import Crank, as_recording, as_signal, noise, shake
from vibecore.conditioning import condition as make_ready
from vibecore.engine import Engine, fold
from vibecore.model import Analysis, Condition, Floats, OrderTable, Recording
from vibecore.orders import measure_orders
from vibecore.pipeline import analyze
from vibecore.speed import find_speed
from vibecore.timebase import even_steps

FOUR = Engine(4)
READ = Condition("steering wheel", "neutral", "idle", tachometer_rpm=730.0)
UP = np.array([0.0, 0.0, 9.80665])
FEW = settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
MANY = settings(max_examples=40, deadline=None, derandomize=True)

seeds = st.integers(0, 10_000)
turns = st.integers(0, 10_000).map(lambda s: Rotation.random(rng=np.random.default_rng(s)))
factors = st.sampled_from([0.25, 0.5, 2.0, 8.0])  # powers of two: floating point adds nothing of its own


def _accel(seed: int, fs_hz: float = 100.0, seconds: float = 16.0) -> tuple[Floats, Crank]:
    """(n, 3): an idling four with half orders, order 1 sideways and the firing order upright."""
    rng = np.random.default_rng(seed)
    crank = Crank(rng.uniform(11.0, 13.2), seconds, swing_hz=rng.uniform(0, 0.15), period_s=rng.uniform(3, 8))
    angle = crank.angle_rev(np.arange(round(fs_hz * seconds)) / fs_hz)
    upright = shake(angle, {2.0: 0.2, 0.5: 0.02, 1.5: 0.015, 4.0: 0.04}, seed=seed, axes=(0.2, 0.3, 0.9))
    sideways = shake(angle, {1.0: 0.06}, seed=seed + 1, axes=(1.0, 0.4, 0.0))
    return upright + sideways + noise(len(angle), 0.04, seed=seed), crank


def _recording(accel: Floats, fs_hz: float = 100.0) -> Recording:
    made = as_recording(np.arange(len(accel)) / fs_hz, accel, fs_hz, gravity=None)
    return replace(made, gravity_included=True)


def _analyzed(accel: Floats) -> Analysis:
    analysis = analyze(_recording(accel), FOUR, READ)
    assert analysis.speed is not None
    assert analysis.orders is not None
    return analysis


def _numbers(analysis: Analysis, factor: float = 1.0) -> Floats:
    """Speed, levels, budget and overall shake, levels divided by `factor`."""
    assert analysis.speed is not None
    table: OrderTable | None = analysis.orders
    assert table is not None
    levels = [(lv.rms_m_s2 or 0.0) / factor for lv in table.levels]
    squares = [table.orders_ms / factor**2, table.total_ms / factor**2]
    return np.array([analysis.speed.mean_rpm / 720, *levels, *squares, analysis.overall.rms_m_s2 / factor])


@FEW
@given(seeds, turns)
def test_any_way_the_phone_lies_gives_the_same_three_axis_results(seed: int, turned: Rotation) -> None:
    accel, _ = _accel(seed)
    plain, other = _analyzed(accel + UP), _analyzed(turned.apply(accel + UP))
    # the level of an empty order is what two readings of noise differ by: within its interval, 0.003 here
    np.testing.assert_allclose(_numbers(other), _numbers(plain), rtol=0.02, atol=3e-3)
    assert [w.code for w in other.warnings] == [w.code for w in plain.warnings]


@FEW
@given(seeds, turns)
def test_the_vertical_is_the_same_vertical(seed: int, turned: Rotation) -> None:
    accel, _ = _accel(seed)
    plain, other = (make_ready(_recording(a)) for a in (accel + UP, turned.apply(accel + UP)))
    np.testing.assert_allclose(other.accel_m_s2[:, 2], plain.accel_m_s2[:, 2], atol=1e-6)


@FEW
@given(seeds, factors)
def test_a_harder_shake_scales_levels_and_leaves_the_speed(seed: int, factor: float) -> None:
    """Gravity stays what it is; everything else is in proportion."""
    accel, _ = _accel(seed)
    plain, louder = _analyzed(accel + UP), _analyzed(factor * accel + UP)
    np.testing.assert_allclose(_numbers(louder, factor), _numbers(plain), rtol=5e-3, atol=1e-4)
    assert plain.speed is not None
    assert louder.speed is not None
    assert louder.speed.mean_rpm == pytest.approx(plain.speed.mean_rpm, rel=1e-5)


@FEW
@given(seeds, factors)
def test_coherence_height_and_lines_do_not_hang_on_the_size(seed: int, factor: float) -> None:
    accel, _ = _accel(seed)
    plain, louder = _analyzed(accel + UP), _analyzed(factor * accel + UP)
    assert plain.orders is not None
    assert louder.orders is not None
    for a, b in zip(plain.orders.levels, louder.orders.levels, strict=True):
        assert a.visible == b.visible
        if a.visible:
            assert b.above_floor_db == pytest.approx(a.above_floor_db, abs=0.1)
            assert b.coherence == pytest.approx(a.coherence, abs=0.01)
    assert len(plain.orders.other_lines) == len(louder.orders.other_lines)


@FEW
@given(seeds, st.integers(1, 150))
def test_starting_a_little_later_changes_little(seed: int, late: int) -> None:
    accel, crank = _accel(seed)
    speed = _analyzed(accel[late:] + UP).speed
    assert speed is not None
    truth = crank.mean_rpm(late / 100.0, (len(accel) - 1) / 100.0)
    assert speed.mean_rpm == pytest.approx(truth, rel=2e-3)


@FEW
@given(seeds)
def test_time_run_backwards_turns_as_fast(seed: int) -> None:
    accel, crank = _accel(seed)
    truth = crank.mean_rpm(0.0, (len(accel) - 1) / 100.0)
    track = find_speed(as_signal(accel[::-1], 100.0), FOUR, READ).track
    assert track is not None
    assert track.mean_rpm == pytest.approx(truth, rel=2e-3)


@FEW
@given(seeds, st.permutations([0, 1, 2]), st.tuples(*[st.sampled_from([1.0, -1.0])] * 3))
def test_axes_in_any_order_and_sign(seed: int, order: list[int], signs: tuple[float, float, float]) -> None:
    """Mirrored axes are no rotation, but no three-axis level may know."""
    accel, _ = _accel(seed)
    changed = (accel * np.array(signs))[:, order]
    track = find_speed(as_signal(accel, 100.0), FOUR, READ).track
    other = find_speed(as_signal(changed, 100.0), FOUR, READ).track
    assert track is not None
    assert other is not None
    assert other.mean_rpm == pytest.approx(track.mean_rpm, rel=1e-4)
    a = measure_orders(as_signal(accel, 100.0), track, FOUR)
    b = measure_orders(as_signal(changed, 100.0), track, FOUR)
    for one, two in zip(a.levels, b.levels, strict=True):
        assert (one.rms_m_s2 or 0.0) == pytest.approx(two.rms_m_s2 or 0.0, rel=1e-6, abs=1e-9)


@FEW
@given(seeds)
def test_the_budget_always_adds_up(seed: int) -> None:
    table = _analyzed(_accel(seed)[0] + UP).orders
    assert table is not None
    assert table.orders_ms + table.other_ms + table.rest_ms == pytest.approx(table.total_ms, rel=0.01)
    assert min(table.orders_ms, table.other_ms) >= 0.0
    in_table = sum((lv.rms_m_s2 or 0.0) ** 2 for lv in table.levels)
    assert in_table <= table.orders_ms * (1 + 1e-9)


@FEW
@given(seeds)
def test_what_is_said_of_a_level_is_in_order(seed: int) -> None:
    table = _analyzed(_accel(seed)[0] + UP).orders
    assert table is not None
    for level in table.levels:
        if not level.visible:
            assert level.rms_m_s2 is None
            assert level.why_not
            continue
        assert level.rms_m_s2 is not None
        assert level.low_m_s2 is not None
        assert level.high_m_s2 is not None
        assert level.coherence is not None
        assert 0.0 <= level.low_m_s2 <= level.rms_m_s2 <= level.high_m_s2
        assert 0.0 <= level.coherence <= 1.0


@MANY
@given(seeds, st.floats(-1e3, 1e3), st.integers(400, 3000), st.floats(0.0, 0.15))
def test_even_steps_keep_a_constant_and_the_length(seed: int, level: float, n: int, jitter: float) -> None:
    """A constant has no derivative: however the stamps err, it comes out as it went in."""
    rng = np.random.default_rng(seed)
    t_s = (np.arange(n) + np.clip(jitter * rng.standard_normal(n), -0.3, 0.3)) / 100.0
    series = even_steps(as_recording(t_s, np.full((n, 3), level), 100.0, gravity=None))
    assert abs(len(series.accel_m_s2) - n) <= 1
    np.testing.assert_allclose(series.accel_m_s2, level, rtol=1e-9, atol=1e-9)
    assert len(series.good) == len(series.accel_m_s2)


@MANY
@given(seeds, st.floats(0.005, 0.12), factors)
def test_even_steps_are_linear(seed: int, jitter: float, factor: float) -> None:
    rng = np.random.default_rng(seed)
    t_s = (np.arange(1500) + np.clip(jitter * rng.standard_normal(1500), -0.3, 0.3)) / 100.0
    accel = _accel(seed, seconds=15.0)[0]
    plain, louder = (even_steps(as_recording(t_s, k * accel, 100.0, gravity=None)) for k in (1.0, factor))
    np.testing.assert_allclose(louder.accel_m_s2, factor * plain.accel_m_s2, rtol=1e-9, atol=1e-12)


@MANY
@given(st.floats(0.0, 1000.0), st.floats(20.0, 500.0))
def test_a_folded_line_makes_the_same_samples(frequency_hz: float, fs_hz: float) -> None:
    """Shannon: sampled at fs, a cosine and its folded self cannot be told apart."""
    k = np.arange(64)
    seen = fold(frequency_hz, fs_hz).seen_at_hz
    assert 0.0 <= seen <= fs_hz / 2 + 1e-9
    true, folded = (np.cos(2 * np.pi * f * k / fs_hz) for f in (frequency_hz, seen))
    np.testing.assert_allclose(true, folded, atol=1e-6)


@FEW
@given(st.integers(1, 12), st.sampled_from([2, 4]), st.integers(20, 400), seeds)
def test_whatever_comes_in_something_sensible_comes_out(
    cylinders: int, strokes: int, rate: int, seed: int
) -> None:
    """Noise, steps, spikes and silence mixed at random: an answer or a reason, no NaN, no exception."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(5, 12)) * rate
    accel = rng.standard_normal((n, 3)) * rng.choice([0.0, 0.01, 1.0]) + UP
    accel[rng.random(n) < 0.01] += 20 * rng.standard_normal(3)
    accel[n // 2 :] += rng.standard_normal(3) * rng.choice([0.0, 5.0])
    analysis = analyze(_recording(accel, float(rate)), Engine(cylinders, strokes), Condition())
    assert np.isfinite(analysis.signal.accel_m_s2).all()
    assert np.isfinite(analysis.overall.rms_m_s2)
    if analysis.speed is None:
        assert analysis.warnings
    else:
        assert analysis.speed.low_rpm <= analysis.speed.mean_rpm <= analysis.speed.high_rpm
        assert 0.0 < analysis.speed.confidence < 1.0

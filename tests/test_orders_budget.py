"""What is no order, what cannot be seen, and the shake budget: against closed forms and scipy.signal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.orders_made import (
    DRIFTING,
    FOUR,
    FS_HZ,
    HUNTING,
    SOUND,
    STEADY,
    level_of,
    made_of,
    measured,
    rms_of,
    true_track,
)
from tests.speed.closed_form import Crank, as_signal, noise, shake
from vibecore.engine import Engine
from vibecore.model import Floats, Line, Signal
from vibecore.orders import lines_in_hertz, measure_orders
from vibecore.turning import turn

# ---------------------------------------------------------------- budget and lines


def _line(n: int, frequency_hz: float, rms: float) -> Floats:
    wave = rms * np.sqrt(2) * np.cos(2 * np.pi * frequency_hz * np.arange(n) / FS_HZ + 0.7)
    return np.asarray(wave[:, None] * np.array([0.8, 0.6, 0.0]))


def _ms(accel: Floats) -> float:
    return float(np.mean(np.sum(accel**2, axis=1)))


def test_the_shake_budget_adds_up_and_each_part_is_what_was_put_in() -> None:
    crank = Crank(12.0, 30.0, swing_hz=0.05)
    angle = crank.angle_rev(np.arange(3000) / FS_HZ)
    on_orders, off_orders, rest = shake(angle, SOUND), _line(3000, 31.2, 0.08), noise(3000, 0.1)
    table = measured(on_orders + off_orders + rest, crank)
    total = table.orders_ms + table.other_ms + table.rest_ms
    assert total == pytest.approx(table.total_ms, rel=0.01)
    assert table.total_ms == pytest.approx(_ms(on_orders + off_orders + rest), rel=0.01)
    assert table.orders_ms == pytest.approx(_ms(on_orders), rel=0.05)
    assert table.other_ms == pytest.approx(_ms(off_orders), rel=0.1)
    assert table.rest_ms == pytest.approx(_ms(rest), rel=0.1)


@pytest.mark.parametrize(
    "crank",
    [
        pytest.param(STEADY, id="steady"),
        pytest.param(HUNTING, id="hunting"),
        pytest.param(DRIFTING, id="drifting"),
        pytest.param(Crank(12.0, 30.0, slope_hz_s=0.05), id="drifting fast"),
    ],
)
def test_nothing_is_counted_twice(crank: Crank) -> None:
    """Only orders and noise: the other lines hold next to nothing and the rest is the noise, however the
    crank turns. An order that drifts across hertz is no line of its own."""
    for seed in range(4):
        table = measured(made_of(SOUND, crank, noise_rms=0.1, seed=seed), crank)
        assert table.rest_ms == pytest.approx(0.1**2, rel=0.2)
        assert table.other_ms < 0.05 * table.orders_ms
        assert not [line for line in table.other_lines if line.rms_m_s2 > 0.03]


def _near(lines: tuple[Line, ...], frequency_hz: float) -> Line:
    near = [line for line in lines if abs(line.frequency_hz - frequency_hz) < 0.3]
    assert len(near) == 1
    return near[0]


def test_a_fan_is_found_at_its_hertz_and_keeps_to_the_clock() -> None:
    accel = made_of(SOUND, HUNTING) + _line(3000, 33.0, 0.1)
    line = _near(measured(accel, HUNTING).other_lines, 33.0)
    assert line.frequency_hz == pytest.approx(33.0, abs=0.1)
    assert line.order == pytest.approx(33.0 / 12.0, abs=0.02)
    assert line.rms_m_s2 == pytest.approx(0.1, rel=0.15)
    assert line.drifts_with == "clock"


@pytest.mark.parametrize("order", [1.28, 2.87, 3.31])
def test_a_belt_driven_unit_is_found_at_its_order_and_drifts_with_the_engine(order: float) -> None:
    accel = made_of(SOUND | {order: 0.1}, HUNTING)
    found = measured(accel, HUNTING).other_lines
    mean_hz = HUNTING.mean_rpm(0.0, 29.99) / 60
    line = _near(found, order * mean_hz)
    assert line.order == pytest.approx(order, abs=0.01)
    assert line.rms_m_s2 == pytest.approx(0.1, rel=0.1)
    assert line.drifts_with == "engine"


# Idles that wander by 1 % of their speed, as standard deviation: a sine's is its swing over the root of two.
WANDERING = [Crank(12.0, 60.0, swing_hz=0.12 * 2**0.5, period_s=s) for s in (6.0, 20.0, 45.0)]


@pytest.mark.parametrize("crank", WANDERING, ids=["in 6 s", "in 20 s", "in 45 s"])
@pytest.mark.parametrize("turns_hz", [26.9, 31.2, 34.1, 41.3])
def test_while_an_idle_wanders_a_motor_keeps_its_hertz_and_a_belt_its_order(
    crank: Crank, turns_hz: float
) -> None:
    fan = made_of(SOUND, crank) + _line(6000, turns_hz, 0.1)
    belt = made_of(SOUND | {turns_hz / 12.0: 0.1}, crank)
    assert _near(measured(fan, crank).other_lines, turns_hz).drifts_with == "clock"
    assert _near(measured(belt, crank).other_lines, turns_hz).drifts_with == "engine"


@pytest.mark.parametrize("turns_hz", [26.9, 31.2, 34.1, 41.3])
def test_a_steady_idle_does_not_show_what_a_line_keeps_to(turns_hz: float) -> None:
    crank = Crank(12.0, 60.0, swing_hz=0.01, period_s=20.0)
    fan = made_of(SOUND, crank) + _line(6000, turns_hz, 0.1)
    belt = made_of(SOUND | {turns_hz / 12.0: 0.1}, crank)
    for accel in (fan, belt):
        assert _near(measured(accel, crank).other_lines, turns_hz).drifts_with == "unknown"


def test_what_strays_in_hertz_and_in_orders_keeps_to_neither() -> None:
    """A motor whose own speed swings as the crank's does, and at another pace."""
    crank, t_s = WANDERING[1], np.arange(6000) / FS_HZ
    phase = 2 * np.pi * 31.2 * t_s + 0.44 * 13.0 * np.sin(2 * np.pi * t_s / 13.0)
    wave = 0.1 * np.sqrt(2) * np.cos(phase)
    accel = made_of(SOUND, crank) + wave[:, None] * np.array([0.8, 0.6, 0.0])
    assert {line.drifts_with for line in measured(accel, crank).other_lines} == {"unknown"}


@pytest.mark.parametrize(
    ("crank", "fan_hz"),
    [
        (Crank(12.0, 30.0, swing_hz=0.5), 22.2),
        (Crank(12.0, 30.0, swing_hz=0.5, period_s=20.0), 21.15),
        (Crank(12.0, 30.0, swing_hz=0.5, period_s=20.0), 36.55),
    ],
)
def test_where_a_motors_line_turns_back_along_the_cranks_angle_no_line_follows_the_engine(
    crank: Crank, fan_hz: float
) -> None:
    """A line that swings as a sine does stays longest at its ends: a peak, and narrow."""
    found = measured(made_of(SOUND, crank) + _line(3000, fan_hz, 0.1), crank).other_lines
    assert max(abs(line.frequency_hz - fan_hz) for line in found) > 0.7
    assert not [line for line in found if line.drifts_with == "engine"]


def test_of_lines_little_over_their_floor_nothing_is_said() -> None:
    """Of fans and belts at three times the amplitude of the noise about them: they scatter as they stray."""
    crank = WANDERING[1]
    lines = []
    for seed in range(8):
        weak = made_of(SOUND | {3.27: 0.018}, crank, noise_rms=0.1, seed=seed) + _line(6000, 33.1, 0.018)
        lines += measured(weak, crank).other_lines
    assert len(lines) > 8
    assert {line.drifts_with for line in lines} == {"unknown"}


def test_a_plain_recording_has_no_other_lines() -> None:
    for seed in range(4):
        assert measured(made_of(SOUND, STEADY, noise_rms=0.05, seed=seed), STEADY).other_lines == ()


def test_lines_in_hertz_without_any_speed() -> None:
    accel = noise(4000, 0.03) + _line(4000, 17.4, 0.05) + _line(4000, 38.9, 0.1)
    lines, spectrum = lines_in_hertz(as_signal(accel, FS_HZ))
    assert [line.frequency_hz for line in lines] == pytest.approx([17.4, 38.9], abs=0.1)
    assert [line.rms_m_s2 for line in lines] == pytest.approx([0.05, 0.1], rel=0.1)
    assert all(line.order is None for line in lines)
    area = float(spectrum.psd.sum() * (spectrum.x[1] - spectrum.x[0]))
    assert area == pytest.approx(_ms(accel), rel=0.03)  # Parseval


# ---------------------------------------------------------------- what cannot be seen


@pytest.mark.parametrize(("cylinders", "fs_hz"), [(4, 50.0), (8, 60.0), (6, 59.4), (12, 100.0)])
def test_orders_above_half_the_rate_are_not_visible_and_say_why(cylinders: int, fs_hz: float) -> None:
    """Shannon's sampling theorem; a line above half the rate is seen at the rate less its own frequency. A
    lower order on which the firing order or twice it lands, to a tenth of an order, cannot be seen either."""
    engine = Engine(cylinders)
    crank = Crank(12.0, 30.0, swing_hz=0.1)
    table = measured(made_of({1.0: 0.1}, crank, fs_hz), crank, engine, fs_hz)
    assert {level.order for level in table.levels} >= set(np.arange(0.5, cylinders + 0.01, 0.5))
    loud_hz = [order * 12.0 for order in (cylinders / 2, cylinders)]
    lands_at = [abs(fs_hz - hz) / 12.0 for hz in loud_hz if hz > 0.475 * fs_hz]
    for level in table.levels:
        if level.frequency_hz > fs_hz / 2:
            assert not level.visible
            assert level.why_not
            assert f"{level.frequency_hz:.1f} Hz" in level.why_not
            values = (level.rms_m_s2, level.low_m_s2, level.high_m_s2, level.above_floor_db, level.coherence)
            assert values == (None,) * 5
        elif level.frequency_hz < 0.4 * fs_hz:
            drowned = any(abs(level.order - at) <= 0.1 for at in lands_at)
            assert level.visible == (not drowned or level.order == cylinders / 2)
            assert (level.rms_m_s2 is not None) == level.visible


def test_a_folded_firing_order_is_said_to_land_beside_a_lower_one() -> None:
    """An eight at 700 rpm: 46.7 Hz, at 60 samples a second seen at 13.3 Hz (60 - 46.7)."""
    crank = Crank(700 / 60, 30.0)
    level = level_of(measured(made_of({1.0: 0.1}, crank, 60.0), crank, Engine(8), 60.0), 4.0)
    assert level.why_not is not None
    assert "13.3 Hz" in level.why_not


def test_frequencies_are_order_times_speed() -> None:
    table = measured(made_of(SOUND, DRIFTING), DRIFTING)
    mean_hz = DRIFTING.mean_rpm(0.0, 29.99) / 60
    assert table.levels
    for level in table.levels:
        assert level.frequency_hz == pytest.approx(level.order * mean_hz, rel=1e-4)


def test_two_stroke_tables_reach_twice_the_firing_order() -> None:
    table = measured(made_of({2.0: 0.1}, STEADY, 200.0), STEADY, Engine(2, 2), 200.0)
    assert max(level.order for level in table.levels) >= 4.0
    assert rms_of(table, 2.0) == pytest.approx(0.1, rel=0.03)


# ---------------------------------------------------------------- resampling, edges


def test_resampled_to_the_crank_every_order_is_a_pure_sine() -> None:
    """Along the even angle the order is a sine of the angle: closed form to 2 % of its amplitude."""
    crank = Crank(12.0, 30.0, swing_hz=0.6, period_s=3.0)
    t_s = np.arange(3000) / FS_HZ
    angle = crank.angle_rev(t_s)
    accel = np.cos(2 * np.pi * 3.0 * angle)[:, None] * np.array([1.0, 0.5, 0.0])
    turned = turn(as_signal(accel, FS_HZ), angle)
    even = angle[0] + np.arange(len(turned.accel_m_s2)) / turned.per_rev
    expected = np.cos(2 * np.pi * 3.0 * even)[:, None] * np.array([1.0, 0.5, 0.0])
    inner = slice(60, -60)
    assert np.abs(turned.accel_m_s2[inner] - expected[inner]).max() < 0.02


@pytest.mark.parametrize("duration_s", [3.0, 4.5, 7.0, 10.0])
def test_short_signals_give_numbers_or_none_never_nan(duration_s: float) -> None:
    crank = Crank(12.0, duration_s)
    table = measured(made_of(SOUND, crank), crank)
    for level in table.levels:
        for value in (level.rms_m_s2, level.low_m_s2, level.high_m_s2, level.above_floor_db, level.coherence):
            assert value is None or np.isfinite(value)
    assert np.isfinite([table.orders_ms, table.other_ms, table.rest_ms, table.total_ms]).all()


def test_a_silent_signal_gives_zeros_not_nan() -> None:
    table = measured(np.zeros((3000, 3)), STEADY)
    assert table.total_ms == 0.0
    for level in table.levels:
        assert level.rms_m_s2 is None or level.rms_m_s2 == pytest.approx(0.0, abs=1e-12)
        assert level.above_floor_db is None or np.isfinite(level.above_floor_db)


def test_input_is_left_alone_and_the_answer_repeats() -> None:
    accel = made_of(SOUND, HUNTING)
    signal: Signal = as_signal(accel, FS_HZ)
    track = true_track(HUNTING, 3000, FS_HZ)
    before = signal.accel_m_s2.copy(), track.angle_rev.copy()
    first, second = measure_orders(signal, track, FOUR), measure_orders(signal, track, FOUR)
    np.testing.assert_array_equal(signal.accel_m_s2, before[0])
    np.testing.assert_array_equal(track.angle_rev, before[1])
    assert first.levels == second.levels
    assert first.other_lines == second.other_lines


def test_hertz_lines_handed_in_change_nothing() -> None:
    signal = as_signal(made_of(SOUND, HUNTING) + _line(3000, 31.2, 0.1), FS_HZ)
    track = true_track(HUNTING, 3000, FS_HZ)
    alone = measure_orders(signal, track, FOUR)
    helped = measure_orders(replace(signal), track, FOUR, lines_in_hertz(signal))
    assert alone.levels == helped.levels
    assert alone.other_lines == helped.other_lines

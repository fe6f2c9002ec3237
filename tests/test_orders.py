"""Engine orders against closed forms and scipy.signal: a sine of amplitude A has the rms A / sqrt(2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from scipy import signal as ss

from tests.speed.closed_form import Crank, as_recording, as_signal, db, noise, of_simulated, shake
from vibecore.conditioning import condition as make_ready
from vibecore.engine import Engine
from vibecore.model import Condition, Floats, Line, OrderLevel, OrderTable, Signal, SpeedTrack
from vibecore.orders import lines_in_hertz, measure_orders, turn
from vibecore.pipeline import analyze
from vibecore.simulate import Phone, draw_car, simulate_recording
from vibecore.simulate.phone import Hand

FOUR = Engine(4)
FS_HZ = 100.0
SOUND = {0.5: 0.04, 1.0: 0.06, 1.5: 0.04, 2.0: 0.2, 3.0: 0.05}
STEADY = Crank(12.0, 30.0)
HUNTING = Crank(12.0, 30.0, swing_hz=0.5, period_s=4.0)
DRIFTING = Crank(12.0, 30.0, slope_hz_s=0.03)


def _true_track(crank: Crank, n: int, fs_hz: float) -> SpeedTrack:
    """The track that a perfect speed finder would give."""
    t_s = np.arange(n) / fs_hz
    at_s = np.arange(0.0, t_s[-1], 0.25)
    mean = crank.mean_rpm(0.0, float(t_s[-1]))
    speed = 60 * crank.speed_hz(at_s)
    return SpeedTrack(
        at_s, speed, mean, mean, mean, float(speed.std()), 0.99, "vibration", crank.angle_rev(t_s)
    )


def _measured(accel: Floats, crank: Crank, engine: Engine = FOUR, fs_hz: float = FS_HZ) -> OrderTable:
    return measure_orders(as_signal(accel, fs_hz), _true_track(crank, len(accel), fs_hz), engine)


def _made(
    orders: Mapping[float, float], crank: Crank, fs_hz: float = FS_HZ, noise_rms: float = 0.03, seed: int = 0
) -> Floats:
    n = round(crank.duration_s * fs_hz)
    return shake(crank.angle_rev(np.arange(n) / fs_hz), orders, seed=seed) + noise(n, noise_rms, seed=seed)


def _level(table: OrderTable, order: float) -> OrderLevel:
    level = table.level(order)
    assert level is not None
    return level


def _rms(table: OrderTable, order: float) -> float:
    rms = _level(table, order).rms_m_s2
    assert rms is not None
    return rms


# ---------------------------------------------------------------- levels


@pytest.mark.parametrize("crank", [STEADY, HUNTING, DRIFTING], ids=["steady", "hunting", "drifting"])
def test_levels_are_those_put_in(crank: Crank) -> None:
    table = _measured(_made(SOUND, crank, noise_rms=0.01), crank)
    for order, rms in SOUND.items():
        assert abs(db(_rms(table, order) / rms)) < 0.3


# 4 x 10 Hz at 100 a second is 0.4 of the rate, the highest promised.
@pytest.mark.parametrize("share", [0.05, 0.1, 0.2, 0.3, 0.35, 0.4])
@pytest.mark.parametrize("swing_hz", [0.0, 0.4])
def test_level_holds_up_to_0_4_of_the_rate(share: float, swing_hz: float) -> None:
    order = 4.0
    crank = Crank(share * FS_HZ / order, 40.0, swing_hz=swing_hz * share)
    table = _measured(_made({order: 0.1}, crank, noise_rms=0.01), crank)
    assert abs(db(_rms(table, order) / 0.1)) < 0.3


@pytest.mark.parametrize("order", [0.5, 2.0, 4.0])
@pytest.mark.parametrize("jitter", [0.02, 0.1])
def test_level_holds_through_jitter_and_lost_samples(order: float, jitter: float) -> None:
    """The whole way from uneven stamps; 4 x 10 Hz is at 0.4 of the rate."""
    rng = np.random.default_rng(1)
    crank = Crank(10.0, 40.0, swing_hz=0.05)
    taken = (np.arange(4000) + np.clip(jitter * rng.standard_normal(4000), -0.4, 0.4)) / FS_HZ
    taken -= taken[0]
    accel = shake(crank.angle_rev(taken), {order: 0.1, 1.0: 0.05, 1.5: 0.05}) + noise(4000, 0.02)
    kept = rng.random(4000) > 0.005
    kept[[0, -1]] = True
    signal = make_ready(as_recording(taken[kept], accel[kept], FS_HZ))
    track = _true_track(crank, len(signal.accel_m_s2), FS_HZ)
    assert abs(db(_rms(measure_orders(signal, track, FOUR), order) / 0.1)) < 0.3


def test_levels_are_those_of_a_scipy_periodogram_at_constant_speed() -> None:
    """Whole turns only, so that the boxcar's line falls on one point: scipy.signal.periodogram, spectrum."""
    accel = _made(SOUND, STEADY, noise_rms=0.02)
    hertz, power = ss.periodogram(accel, FS_HZ, window="boxcar", detrend=False, scaling="spectrum", axis=0)
    table = _measured(accel, STEADY)
    for order in SOUND:
        at = int(np.argmin(np.abs(hertz - order * 12.0)))
        assert abs(db(_rms(table, order) / np.sqrt(power[at].sum()))) < 0.3


def test_the_three_axes_add_as_a_vector() -> None:
    """Closed form: axes of 0.12, 0.16 and 0.15 m/s2 rms make a vector of 0.25, also where phases differ."""
    t_s = np.arange(3000) / FS_HZ
    turns = 2 * np.pi * 2.0 * HUNTING.angle_rev(t_s)
    sizes = np.array([0.12, 0.16, 0.15])
    accel = np.sqrt(2) * sizes * np.cos(turns[:, None] + np.array([0.0, 1.3, 2.9])) + noise(3000, 0.005)
    level = _level(_measured(accel, HUNTING), 2.0)
    assert level.rms_m_s2 == pytest.approx(0.25, rel=0.02)
    assert level.axis_rms_m_s2 == pytest.approx(sizes, rel=0.03)


@pytest.mark.parametrize("fs_hz", [50.0, 100.0, 208.0, 400.0])
def test_level_is_the_same_at_every_rate(fs_hz: float) -> None:
    crank = Crank(9.0, 30.0, swing_hz=0.1)
    table = _measured(_made({1.0: 0.1, 2.0: 0.1}, crank, fs_hz, noise_rms=0.01), crank, fs_hz=fs_hz)
    assert _rms(table, 1.0) == pytest.approx(0.1, rel=0.03)
    assert _rms(table, 2.0) == pytest.approx(0.1, rel=0.03)


def test_level_above_floor_is_line_and_noise_over_noise() -> None:
    """White noise of mean square s^2 puts 2 s^2 / fs on every hertz (Bendat and Piersol, ch. 5); in a band
    0.1 order wide that is 0.1 x 12 Hz of it."""
    accel = _made({2.0: 0.05}, STEADY, noise_rms=0.1)
    floor = 2 * 0.1**2 / FS_HZ * 0.1 * 12.0
    expected = 10 * np.log10((0.05**2 + floor) / floor)
    assert _level(_measured(accel, STEADY), 2.0).above_floor_db == pytest.approx(expected, abs=1.5)


def test_no_order_grows_out_of_noise_alone() -> None:
    """Over many seeds the floor taken off leaves next to nothing: mean square under half of the floor's."""
    squares = []
    for seed in range(20):
        table = _measured(noise(2000, 0.2, seed=seed), Crank(12.0, 20.0))
        squares += [(_rms(table, order)) ** 2 for order in (0.5, 1.0, 1.5, 2.0, 2.5, 3.0)]
        assert all((_level(table, o).low_m_s2 or 0.0) < 0.03 for o in (0.5, 1.0, 1.5, 2.0))
    floor = 2 * 0.2**2 / FS_HZ * 0.1 * 12.0
    assert np.mean(squares) < 0.5 * floor


def test_knocks_and_gaps_cut_out_do_not_lower_the_level() -> None:
    accel = _made(SOUND, HUNTING, noise_rms=0.01)
    good = np.ones(3000, dtype=bool)
    for start in (400, 1300, 2210):
        good[start : start + 120] = False
    signal = as_signal(accel * good[:, None], FS_HZ, good)
    table = measure_orders(signal, _true_track(HUNTING, 3000, FS_HZ), FOUR)
    for order, rms in SOUND.items():
        assert abs(db(_rms(table, order) / rms)) < 0.4


# ---------------------------------------------------------------- coherence


def test_coherence_of_steady_orders_is_near_one() -> None:
    table = _measured(_made(SOUND, HUNTING, noise_rms=0.01), HUNTING)
    for order in SOUND:
        assert _level(table, order).coherence == pytest.approx(1.0, abs=0.03)


def test_coherence_of_random_phase_is_near_nought() -> None:
    """Phase drawn anew every 7 revolutions, as unevenly burning cylinders do: mean over seeds below 0.15."""
    found = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        angle = STEADY.angle_rev(np.arange(3000) / FS_HZ)
        piece = (angle / 7.0).astype(int)
        phase, size = 2 * np.pi * rng.random(piece.max() + 1), rng.rayleigh(1.0, piece.max() + 1)
        wave = 0.1 * size[piece] * np.cos(np.pi * angle + phase[piece])
        accel = wave[:, None] * np.array([0.6, 0.0, 0.8]) + noise(3000, 0.01, seed=seed)
        accel += shake(angle, {2.0: 0.1}, seed=seed)
        table = _measured(accel, STEADY)
        found.append(_level(table, 0.5).coherence or 0.0)
        assert (_level(table, 2.0).coherence or 0.0) > 0.95
    assert np.mean(found) < 0.15


def test_coherence_of_noise_in_a_short_recording_is_near_nought() -> None:
    """|mean|^2 over mean square of K random vectors is 1 / K on average: 0.2 with five, to be taken off."""
    crank = Crank(12.0, 9.0)
    found = []
    for seed in range(30):
        table = _measured(noise(900, 0.1, seed=seed), crank)
        found += [level.coherence for level in table.levels if level.coherence is not None]
    assert len(found) > 100
    assert np.mean(found) < 0.13


def test_coherence_too_short_to_tell_is_not_known() -> None:
    """Three blocks are needed to speak of steadiness; a value not known is None, never NaN (the contract)."""
    crank = Crank(12.0, 4.0)
    levels = _measured(_made(SOUND, crank), crank).levels
    for level in levels:
        assert level.coherence is None or np.isfinite(level.coherence)


# ---------------------------------------------------------------- intervals


def test_intervals_cover_lines_in_noise() -> None:
    """95 % nominal over seeds and levels from buried to clear, along the true angle; and not idly wide."""
    orders = {0.5: 0.02, 1.0: 0.05, 1.5: 0.03, 2.0: 0.1, 2.5: 0.03, 3.0: 0.04}
    hits: list[bool] = []
    widths: list[float] = []
    for seed in range(40):
        crank = Crank(12.0 + 0.01 * seed, 20.0, swing_hz=0.2)
        table = _measured(_made(orders, crank, noise_rms=0.1 * (1 + seed % 4), seed=seed), crank)
        for order, rms in orders.items():
            level = _level(table, order)
            low, high = level.low_m_s2 or 0.0, level.high_m_s2 or 0.0
            hits.append(low <= rms <= high)
            widths.append(high - low)
            assert low <= (level.rms_m_s2 or 0.0) <= high
    assert np.mean(hits) >= 0.93
    assert np.median(widths) < 0.04


def test_intervals_cover_simulated_cars_all_the_way() -> None:
    """Found speed, jitter and losses included; truth by the simulator. 95 % nominal: 90 to 99.5 % taken."""
    hits: list[bool] = []
    errors: list[float] = []
    phone = Phone(rate_hz=200.0, sampling_jitter=0.03, loss=0.002)
    for seed in range(100_300, 100_318):
        rng = np.random.default_rng(seed)
        engine = Engine(int(rng.choice([3, 4, 4, 6, 8])))
        hold = Condition("steering wheel", "neutral", "idle")
        made = simulate_recording(
            draw_car(rng, engine), hold, phone, seed, duration_s=22.0, hand=Hand(0.6, 0.5)
        )
        analysis = analyze(of_simulated(made), engine, made.condition)
        if analysis.orders is None:
            continue
        for level in analysis.orders.levels:
            true = made.truth.orders_m_s2.get(level.order, 0.0)
            if level.rms_m_s2 is None or level.frequency_hz > 0.4 * 200.0 or true < 0.01:
                continue
            hits.append((level.low_m_s2 or 0.0) <= true <= (level.high_m_s2 or 0.0))
            if true > 0.03:
                errors.append(abs(db(level.rms_m_s2 / true)))
    assert len(hits) > 40
    assert 0.90 <= np.mean(hits) <= 0.995
    assert np.median(errors) < 0.3


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
    table = _measured(on_orders + off_orders + rest, crank)
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
        table = _measured(_made(SOUND, crank, noise_rms=0.1, seed=seed), crank)
        assert table.rest_ms == pytest.approx(0.1**2, rel=0.2)
        assert table.other_ms < 0.05 * table.orders_ms
        assert not [line for line in table.other_lines if line.rms_m_s2 > 0.03]


def _near(lines: tuple[Line, ...], frequency_hz: float) -> Line:
    near = [line for line in lines if abs(line.frequency_hz - frequency_hz) < 0.3]
    assert len(near) == 1
    return near[0]


def test_a_fan_is_found_at_its_hertz_and_keeps_to_the_clock() -> None:
    accel = _made(SOUND, HUNTING) + _line(3000, 31.2, 0.1)
    line = _near(_measured(accel, HUNTING).other_lines, 31.2)
    assert line.frequency_hz == pytest.approx(31.2, abs=0.1)
    assert line.order == pytest.approx(31.2 / 12.0, abs=0.02)
    assert line.rms_m_s2 == pytest.approx(0.1, rel=0.15)
    assert line.drifts_with == "clock"


@pytest.mark.parametrize("order", [1.28, 2.87, 3.31])
def test_a_belt_driven_unit_is_found_at_its_order_and_drifts_with_the_engine(order: float) -> None:
    accel = _made(SOUND | {order: 0.1}, HUNTING)
    found = _measured(accel, HUNTING).other_lines
    mean_hz = HUNTING.mean_rpm(0.0, 29.99) / 60
    line = _near(found, order * mean_hz)
    assert line.order == pytest.approx(order, abs=0.01)
    assert line.rms_m_s2 == pytest.approx(0.1, rel=0.1)
    assert line.drifts_with == "engine"


def test_a_plain_recording_has_no_other_lines() -> None:
    for seed in range(4):
        assert _measured(_made(SOUND, STEADY, noise_rms=0.05, seed=seed), STEADY).other_lines == ()


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
    """Shannon's sampling theorem; a line above half the rate is seen at the rate less its own frequency."""
    engine = Engine(cylinders)
    crank = Crank(12.0, 30.0, swing_hz=0.1)
    table = _measured(_made({1.0: 0.1}, crank, fs_hz), crank, engine, fs_hz)
    assert {level.order for level in table.levels} >= set(np.arange(0.5, cylinders + 0.01, 0.5))
    for level in table.levels:
        if level.frequency_hz > fs_hz / 2:
            assert not level.visible
            assert level.why_not
            assert f"{level.frequency_hz:.1f} Hz" in level.why_not
            values = (level.rms_m_s2, level.low_m_s2, level.high_m_s2, level.above_floor_db, level.coherence)
            assert values == (None,) * 5
        elif level.frequency_hz < 0.4 * fs_hz:
            assert level.visible
            assert level.rms_m_s2 is not None


def test_a_folded_firing_order_is_said_to_land_beside_a_lower_one() -> None:
    """An eight at 700 rpm: 46.7 Hz, at 60 samples a second seen at 13.3 Hz (60 - 46.7)."""
    crank = Crank(700 / 60, 30.0)
    level = _level(_measured(_made({1.0: 0.1}, crank, 60.0), crank, Engine(8), 60.0), 4.0)
    assert level.why_not is not None
    assert "13.3 Hz" in level.why_not


def test_frequencies_are_order_times_speed() -> None:
    table = _measured(_made(SOUND, DRIFTING), DRIFTING)
    mean_hz = DRIFTING.mean_rpm(0.0, 29.99) / 60
    for level in table.levels:
        assert level.frequency_hz == pytest.approx(level.order * mean_hz, rel=1e-4)


def test_two_stroke_tables_reach_twice_the_firing_order() -> None:
    table = _measured(_made({2.0: 0.1}, STEADY, 200.0), STEADY, Engine(2, 2), 200.0)
    assert max(level.order for level in table.levels) >= 4.0
    assert _rms(table, 2.0) == pytest.approx(0.1, rel=0.03)


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
    table = _measured(_made(SOUND, crank), crank)
    for level in table.levels:
        for value in (level.rms_m_s2, level.low_m_s2, level.high_m_s2, level.above_floor_db, level.coherence):
            assert value is None or np.isfinite(value)
    assert np.isfinite([table.orders_ms, table.other_ms, table.rest_ms, table.total_ms]).all()


def test_a_silent_signal_gives_zeros_not_nan() -> None:
    table = _measured(np.zeros((3000, 3)), STEADY)
    assert table.total_ms == 0.0
    for level in table.levels:
        assert level.rms_m_s2 is None or level.rms_m_s2 == pytest.approx(0.0, abs=1e-12)
        assert level.above_floor_db is None or np.isfinite(level.above_floor_db)


def test_input_is_left_alone_and_the_answer_repeats() -> None:
    accel = _made(SOUND, HUNTING)
    signal: Signal = as_signal(accel, FS_HZ)
    track = _true_track(HUNTING, 3000, FS_HZ)
    before = signal.accel_m_s2.copy(), track.angle_rev.copy()
    first, second = measure_orders(signal, track, FOUR), measure_orders(signal, track, FOUR)
    np.testing.assert_array_equal(signal.accel_m_s2, before[0])
    np.testing.assert_array_equal(track.angle_rev, before[1])
    assert first.levels == second.levels
    assert first.other_lines == second.other_lines


def test_hertz_lines_handed_in_change_nothing() -> None:
    signal = as_signal(_made(SOUND, HUNTING) + _line(3000, 31.2, 0.1), FS_HZ)
    track = _true_track(HUNTING, 3000, FS_HZ)
    alone = measure_orders(signal, track, FOUR)
    helped = measure_orders(replace(signal), track, FOUR, lines_in_hertz(signal)[0])
    assert alone.levels == helped.levels
    assert alone.other_lines == helped.other_lines

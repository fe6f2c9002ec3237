"""Engine orders against closed forms and scipy.signal: a sine of amplitude A has the rms A / sqrt(2)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal as ss

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
from tests.speed.closed_form import Crank, as_recording, as_signal, db, noise, of_simulated, shake
from vibecore.conditioning import condition as make_ready
from vibecore.engine import Engine
from vibecore.model import Condition
from vibecore.orders import measure_orders
from vibecore.pipeline import analyze
from vibecore.simulate import Phone, draw_car, simulate_recording
from vibecore.simulate.phone import Hand

# ---------------------------------------------------------------- levels


@pytest.mark.parametrize("crank", [STEADY, HUNTING, DRIFTING], ids=["steady", "hunting", "drifting"])
def test_levels_are_those_put_in(crank: Crank) -> None:
    table = measured(made_of(SOUND, crank, noise_rms=0.01), crank)
    for order, rms in SOUND.items():
        assert abs(db(rms_of(table, order) / rms)) < 0.3


def test_a_stray_line_beside_an_order_leaves_its_level() -> None:
    """Closed form: two sines 0.08 order apart, the stray one three times as strong, in twelve seconds."""
    crank = Crank(12.0, 12.0)
    table = measured(made_of({2.0: 0.1, 2.08: 0.3, 1.0: 0.05}, crank, noise_rms=0.01), crank)
    assert abs(db(rms_of(table, 2.0) / 0.1)) < 0.3


# 4 x 10 Hz at 100 a second is 0.4 of the rate, the highest promised.
@pytest.mark.parametrize("share", [0.05, 0.1, 0.2, 0.3, 0.35, 0.4])
@pytest.mark.parametrize("swing_hz", [0.0, 0.4])
def test_level_holds_up_to_0_4_of_the_rate(share: float, swing_hz: float) -> None:
    order = 4.0
    crank = Crank(share * FS_HZ / order, 40.0, swing_hz=swing_hz * share)
    table = measured(made_of({order: 0.1}, crank, noise_rms=0.01), crank)
    assert abs(db(rms_of(table, order) / 0.1)) < 0.3


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
    track = true_track(crank, len(signal.accel_m_s2), FS_HZ)
    assert abs(db(rms_of(measure_orders(signal, track, FOUR), order) / 0.1)) < 0.3


def test_levels_are_those_of_a_scipy_periodogram_at_constant_speed() -> None:
    """Whole turns only, so that the boxcar's line falls on one point: scipy.signal.periodogram, spectrum."""
    accel = made_of(SOUND, STEADY, noise_rms=0.02)
    hertz, power = ss.periodogram(accel, FS_HZ, window="boxcar", detrend=False, scaling="spectrum", axis=0)
    table = measured(accel, STEADY)
    for order in SOUND:
        at = int(np.argmin(np.abs(hertz - order * 12.0)))
        assert abs(db(rms_of(table, order) / np.sqrt(power[at].sum()))) < 0.3


@pytest.mark.parametrize("grows", [True, False])
def test_every_revolution_counts_alike(grows: bool) -> None:
    """A line whose amplitude runs straight from 0 to A, or back, has the rms A / sqrt(6): the mean of its
    square by integration."""
    n = round(STEADY.duration_s * FS_HZ)
    angle = STEADY.angle_rev(np.arange(n) / FS_HZ)
    ramp = np.linspace(0, 1, n) if grows else np.linspace(1, 0, n)
    accel = shake(angle, {1.0: 0.3}) * ramp[:, None] + noise(n, 0.01)
    assert abs(db(rms_of(measured(accel, STEADY), 1.0) / (0.3 / np.sqrt(3)))) < 0.2


def test_the_three_axes_add_as_a_vector() -> None:
    """Closed form: axes of 0.12, 0.16 and 0.15 m/s2 rms make a vector of 0.25, also where phases differ."""
    t_s = np.arange(3000) / FS_HZ
    turns = 2 * np.pi * 2.0 * HUNTING.angle_rev(t_s)
    sizes = np.array([0.12, 0.16, 0.15])
    accel = np.sqrt(2) * sizes * np.cos(turns[:, None] + np.array([0.0, 1.3, 2.9])) + noise(3000, 0.005)
    level = level_of(measured(accel, HUNTING), 2.0)
    assert level.rms_m_s2 == pytest.approx(0.25, rel=0.02)


@pytest.mark.parametrize("fs_hz", [50.0, 100.0, 208.0, 400.0])
def test_level_is_the_same_at_every_rate(fs_hz: float) -> None:
    crank = Crank(9.0, 30.0, swing_hz=0.1)
    table = measured(made_of({1.0: 0.1, 2.0: 0.1}, crank, fs_hz, noise_rms=0.01), crank, fs_hz=fs_hz)
    assert rms_of(table, 1.0) == pytest.approx(0.1, rel=0.03)
    assert rms_of(table, 2.0) == pytest.approx(0.1, rel=0.03)


def test_level_above_floor_is_line_and_noise_over_noise() -> None:
    """White noise of mean square s^2 puts 2 s^2 / fs on every hertz (Bendat and Piersol, ch. 5); in a band
    0.1 order wide that is 0.1 x 12 Hz of it."""
    accel = made_of({2.0: 0.05}, STEADY, noise_rms=0.1)
    floor = 2 * 0.1**2 / FS_HZ * 0.1 * 12.0
    expected = 10 * np.log10((0.05**2 + floor) / floor)
    assert level_of(measured(accel, STEADY), 2.0).above_floor_db == pytest.approx(expected, abs=1.5)


@pytest.mark.parametrize("half_width", [0.02, 0.05])
def test_what_unsteady_cycles_smear_beside_a_line_belongs_to_its_order_within_the_width(
    half_width: float,
) -> None:
    """A sine whose amplitude is first-order Gauss-Markov noise has a Lorentzian line: of its mean square,
    2 / pi x atan(b / a) lies within +-b, a its half width (Bendat and Piersol, ch. 5). Long, so that chance
    moves it by 5 % only; the line alone, over what lies beside, is less."""
    crank, n = Crank(12.0, 400.0), 40000
    keeps = np.exp(-2 * np.pi * half_width * 12.0 / FS_HZ)
    rng = np.random.default_rng(3)
    size = ss.lfilter([np.sqrt(1 - keeps**2)], [1, -keeps], rng.standard_normal((2, n)), axis=1)
    turns = 2 * np.pi * 2.0 * crank.angle_rev(np.arange(n) / FS_HZ)
    wave = 0.2 * (size[0] * np.cos(turns) + size[1] * np.sin(turns))
    accel = np.outer(wave, [0.6, 0.8, 0.0]) + noise(n, 0.01)
    level = level_of(measured(accel, crank), 2.0)
    inside = 0.2 * np.sqrt(2 / np.pi * np.arctan(0.05 / half_width))
    assert level.rms_m_s2 == pytest.approx(inside, rel=0.08)
    assert level.line_m_s2 < level.rms_m_s2
    assert level.low_m_s2 < inside < level.high_m_s2


def test_no_order_grows_out_of_noise_alone() -> None:
    """Over many seeds the floor taken off leaves next to nothing: mean square under half of the floor's."""
    squares = []
    for seed in range(20):
        table = measured(noise(2000, 0.2, seed=seed), Crank(12.0, 20.0))
        squares += [(rms_of(table, order)) ** 2 for order in (0.5, 1.0, 1.5, 2.0, 2.5, 3.0)]
        assert all((level_of(table, o).low_m_s2 or 0.0) < 0.03 for o in (0.5, 1.0, 1.5, 2.0))
    floor = 2 * 0.2**2 / FS_HZ * 0.1 * 12.0
    assert np.mean(squares) < 0.5 * floor


def test_knocks_and_gaps_cut_out_do_not_lower_the_level() -> None:
    accel = made_of(SOUND, HUNTING, noise_rms=0.01)
    good = np.ones(3000, dtype=bool)
    for start in (400, 1300, 2210):
        good[start : start + 120] = False
    signal = as_signal(accel * good[:, None], FS_HZ, good)
    table = measure_orders(signal, true_track(HUNTING, 3000, FS_HZ), FOUR)
    for order, rms in SOUND.items():
        assert abs(db(rms_of(table, order) / rms)) < 0.4


# ---------------------------------------------------------------- coherence


def test_coherence_of_steady_orders_is_near_one() -> None:
    table = measured(made_of(SOUND, HUNTING, noise_rms=0.01), HUNTING)
    for order in SOUND:
        assert level_of(table, order).coherence == pytest.approx(1.0, abs=0.03)


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
        table = measured(accel, STEADY)
        found.append(level_of(table, 0.5).coherence or 0.0)
        assert (level_of(table, 2.0).coherence or 0.0) > 0.95
    assert np.mean(found) < 0.15


def test_coherence_of_noise_in_a_short_recording_is_near_nought() -> None:
    """|mean|^2 over mean square of K random vectors is 1 / K on average: 0.2 with five, to be taken off."""
    crank = Crank(12.0, 9.0)
    found = []
    for seed in range(30):
        table = measured(noise(900, 0.1, seed=seed), crank)
        found += [level.coherence for level in table.levels if level.coherence is not None]
    assert len(found) > 100
    assert np.mean(found) < 0.13


def test_coherence_too_short_to_tell_is_not_known() -> None:
    """Three blocks are needed to speak of steadiness; a value not known is None, never NaN (the contract)."""
    crank = Crank(12.0, 4.0)
    levels = measured(made_of(SOUND, crank), crank).levels
    known = [level.coherence for level in levels if level.coherence is not None]
    assert len(known) < len(levels)
    assert np.isfinite(known).all()


# ---------------------------------------------------------------- intervals


def test_intervals_cover_lines_in_noise() -> None:
    """95 % nominal over seeds and levels from buried to clear, along the true angle; and not idly wide."""
    orders = {0.5: 0.02, 1.0: 0.05, 1.5: 0.03, 2.0: 0.1, 2.5: 0.03, 3.0: 0.04}
    hits: list[bool] = []
    widths: list[float] = []
    for seed in range(40):
        crank = Crank(12.0 + 0.01 * seed, 20.0, swing_hz=0.2)
        table = measured(made_of(orders, crank, noise_rms=0.1 * (1 + seed % 4), seed=seed), crank)
        for order, rms in orders.items():
            level = level_of(table, order)
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


def test_a_recording_in_shreds_says_so_and_not_that_the_phone_is_too_slow() -> None:
    accel = made_of(SOUND, STEADY)
    signal = as_signal(accel, FS_HZ)
    signal = replace(signal, good=np.arange(len(accel)) / FS_HZ % 1.4 < 0.4)
    table = measure_orders(signal, true_track(STEADY, len(accel), FS_HZ), FOUR)
    assert {lv.why_not for lv in table.levels if lv.frequency_hz < 30} == {
        "too little of the recording is unbroken"
    }

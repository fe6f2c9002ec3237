"""No speed beats a wrong one: noise, lone tones, folded lines, engine off, too little to go by."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal as ss

from tests.speed.closed_form import Crank, as_signal, noise, of_simulated
from tests.speed.engines import IDLE, SOUND_FOUR, WRONG, Heard, codes, found, heard, line
from vibecore.conditioning import condition as make_ready
from vibecore.engine import Engine
from vibecore.model import Candidate, Condition
from vibecore.simulate import Phone, draw_car, simulate_recording
from vibecore.simulate.phone import Hand
from vibecore.speed import find_speed
from vibecore.speed.job import hints

FOUR = Engine(4)
UNSAID = Condition()
LOW_CONFIDENCE = 0.9


def _only(accel: np.ndarray, fs_hz: float) -> Heard:
    return Heard(as_signal(accel, fs_hz), Crank(12.0, len(accel) / fs_hz))


@pytest.mark.parametrize("engine", [FOUR, Engine(8), None], ids=["four", "eight", "not known"])
@pytest.mark.parametrize("fs_hz", [60.0, 100.0, 200.0])
def test_noise_alone_has_no_speed(fs_hz: float, engine: Engine | None) -> None:
    for seed in range(6):
        sound = _only(noise(round(24 * fs_hz), 0.05, seed=seed), fs_hz)
        for condition in (IDLE, UNSAID):
            assert found(sound, engine, condition) is None
            assert codes(sound, engine, condition)  # and a reason is given


def _ringing(seed: int, strength: float) -> Heard:
    """Noise through three broad body modes (scipy.signal.iirpeak, quality 8): humps that look like lines."""
    accel = noise(4800, 0.02, seed=seed)
    for mode_hz in (14.0, 27.0, 41.0):
        peak = ss.iirpeak(mode_hz, 8, fs=200.0)
        accel += strength * ss.lfilter(*peak, noise(4800, 0.05, seed=seed), axis=0)
    return _only(accel, 200.0)


@pytest.mark.parametrize("strength", [1.0, 6.0, 15.0])
def test_body_modes_in_noise_are_not_believed(strength: float) -> None:
    for seed in range(8):
        track = found(_ringing(seed, strength), FOUR, UNSAID)
        assert track is None or track.confidence < LOW_CONFIDENCE


def test_body_modes_in_noise_have_no_speed() -> None:
    assert not [seed for seed in range(12) if found(_ringing(seed, 15.0), FOUR, UNSAID) is not None]


@pytest.mark.parametrize("engine", [FOUR, Engine(8), None], ids=["four", "eight", "not known"])
@pytest.mark.parametrize("tone_hz", [9.3, 12.0, 17.3, 45.0])
def test_one_unexplained_tone_is_not_believed(tone_hz: float, engine: Engine | None) -> None:
    sound = _only(noise(2500, 0.03, seed=1) + line(2500, 100.0, tone_hz, 0.15), 100.0)
    for condition in (IDLE, UNSAID):
        track = found(sound, engine, condition)
        assert track is None or track.confidence < LOW_CONFIDENCE


@pytest.mark.parametrize("fs_hz", [60.0, 100.0, 200.0])
def test_no_tone_whatever_its_frequency_makes_a_family_of_orders(fs_hz: float) -> None:
    """One line has no harmonics and no half orders: what is read of it between its samples must add none."""
    for tone_hz in np.arange(15.0, min(44.0, 0.44 * fs_hz), 2.5):
        tone = noise(round(40 * fs_hz), 0.003, seed=int(tone_hz))
        tone += line(len(tone), fs_hz, float(tone_hz), 0.15, wander_hz=0.01)
        for engine in (FOUR, Engine(6), None):
            assert found(_only(tone, fs_hz), engine, UNSAID) is None, (tone_hz, engine)


@pytest.mark.parametrize("cylinders", [3, 6, 8])
def test_a_long_slow_recording_without_an_engine_is_refused_in_words(cylinders: int) -> None:
    """Five minutes of a phone in the hand at 50 samples a second: what is likeliest has no line to follow."""
    band = ss.butter(4, (1.0, 6.0), "bandpass", fs=50.0, output="sos")
    for seed in range(3):
        accel = 8.0 * ss.sosfilt(band, noise(15_000, 0.5, seed=seed), axis=0)
        assert found(_only(accel, 50.0), Engine(cylinders), UNSAID) is None


@pytest.mark.parametrize("fan_hz", [22.0, 31.0, 40.0])
def test_a_fan_with_the_engine_off_is_no_engine(fan_hz: float) -> None:
    """What nobody said is off: a fan's line and its double, drifting with the battery's voltage."""
    fan = line(4800, 200.0, fan_hz, 0.2, wander_hz=0.15) + line(4800, 200.0, 2 * fan_hz, 0.02)
    track = found(_only(noise(4800, 0.02) + fan, 200.0), FOUR, UNSAID)
    assert track is None or track.confidence < LOW_CONFIDENCE


@pytest.mark.parametrize("share", [0.85, 1.15])
@pytest.mark.parametrize(
    "orders", [{2.0: 0.2}, {2.0: 0.2, 4.0: 0.1}], ids=["a line", "a line and its double"]
)
def test_a_line_or_two_do_not_outweigh_a_tachometer(orders: dict[float, float], share: float) -> None:
    """A fan or a pulley shows these too: read 15 % off, the engine is not told from it.
    Borne out by the reading, or against it by half orders under a firing order that leads, it is."""
    crank = Crank(12.8, 30.0, swing_hz=0.05)
    off = replace(IDLE, tachometer_rpm=share * 768.0)
    assert found(heard(orders, crank), FOUR, off) is None
    for sound, read in ((heard(orders, crank), 768.0), (heard(orders | {0.5: 0.15, 1.5: 0.1}, crank), 653.0)):
        speed = found(sound, FOUR, replace(IDLE, tachometer_rpm=read))
        assert speed is not None
        assert speed.mean_rpm == pytest.approx(768.0, rel=0.01)


@pytest.mark.parametrize("belt_order", [0.29, 0.345, 0.36])
@pytest.mark.parametrize("levels", [(0.1, 0.2, 0.12, 0.05), (0.2, 0.1, 0.03, 0.05)])
def test_a_belt_and_its_harmonics_do_not_outweigh_a_tachometer(
    levels: tuple[float, ...], belt_order: float
) -> None:
    """A belt goes round once in about three turns of the crank (its length over the pulley's circumference:
    1348 mm over 153 mm x pi is 2.80): twice its rate and that in multiples is a comb of half orders too."""
    belt = {belt_order * (i + 1): level for i, level in enumerate(levels)}
    for seed in range(3):
        sound = heard(belt | {2.0: 0.02}, Crank(14.55, 30.0, swing_hz=0.05), seed=seed)
        told = find_speed(sound.signal, FOUR, replace(IDLE, tachometer_rpm=880.0))
        assert told.track is None or told.track.mean_rpm == pytest.approx(873.0, rel=WRONG)
        assert not any("enter it" in w.message for w in told.warnings)  # it was


def test_a_raised_idle_four_times_the_idle_is_not_believed() -> None:
    """A six's orders 1, 2 and 3 are 0.5, 1 and 1.5 of twice its speed; where its idle is known, no more."""
    sound = heard({1.0: 0.02, 2.0: 0.05, 3.0: 0.01}, Crank(22.5, 30.0, swing_hz=0.1), fs_hz=480.0)
    raised = replace(IDLE, speed_hold="raised")
    hint, _ = hints([(raised, ()), (IDLE, (Candidate(707.0, 0.999),))], None)
    track = find_speed(sound.signal, Engine(6), raised, hint).track
    assert track is None or track.mean_rpm == pytest.approx(1350.0, rel=WRONG)


# A real trap: a car's 49-51 Hz vibration at 59.4 samples a second looks like a clean line at 8-10 Hz
# (Shannon: 59.4 - 50 = 9.4). Whatever is said of it must not be built on 9.4 Hz as if it were there.
@pytest.mark.parametrize("wander_hz", [0.1, 0.4])
@pytest.mark.parametrize("true_hz", [49.4, 50.0, 50.8])
@pytest.mark.parametrize(
    ("engine", "firing"), [(FOUR, 2.0), (Engine(6), 3.0), (Engine(8), 4.0), (None, None)],
    ids=["four", "six", "eight", "not known"],
)  # fmt: skip
def test_a_folded_line_is_never_a_sure_wrong_speed(
    true_hz: float, wander_hz: float, engine: Engine | None, firing: float | None
) -> None:
    fs_hz = 59.4
    accel = noise(1782, 0.04, seed=2) + line(1782, fs_hz, true_hz, 0.25, wander_hz)
    sound = _only(accel, fs_hz)
    allowed = {60 * true_hz / f for f in ((firing, 2 * firing) if firing else (2.0, 3.0, 4.0, 6.0, 8.0))}
    readings = [0.96 * rpm for rpm in allowed if 450 < rpm < 1000]
    for condition in (IDLE, UNSAID, *(replace(IDLE, tachometer_rpm=r) for r in readings)):
        track = found(sound, engine, condition)
        if track is None or track.confidence < LOW_CONFIDENCE:
            continue
        assert any(track.mean_rpm == pytest.approx(rpm, rel=WRONG) for rpm in allowed)


def test_an_eight_with_half_orders_seen_through_the_fold_is_read_right() -> None:
    """The same line with the orders below it in sight: 750 rpm, firing order 4 at 50 Hz folded to 9.4 Hz."""
    fs_hz, crank = 59.4, Crank(12.5, 30.0, swing_hz=0.05)
    angle = crank.angle_rev(np.arange(1782) / fs_hz)
    low = heard({0.5: 0.02, 1.0: 0.05, 1.5: 0.015, 2.0: 0.02}, crank, fs_hz=fs_hz, noise_rms=0.03)
    firing = 0.2 * np.sqrt(2) * np.cos(2 * np.pi * 4 * angle)[:, None] * np.array([0.5, 0.5, 0.7])
    sound = Heard(as_signal(low.signal.accel_m_s2 + firing, fs_hz), crank)
    for reading in (None, 740.0):
        track = found(sound, Engine(8), replace(IDLE, tachometer_rpm=reading))
        assert track is None or track.mean_rpm == pytest.approx(sound.mean_rpm, rel=WRONG)


def test_an_engine_said_to_be_off_has_no_speed() -> None:
    sound = heard(SOUND_FOUR, Crank(12.0, 20.0))
    off = Condition(None, "neutral", "engine off")
    assert found(sound, FOUR, off) is None
    assert "engine-off" in codes(sound, FOUR, off)


@pytest.mark.parametrize("seed", range(100_100, 100_106))
def test_a_simulated_engine_that_is_off_though_nobody_said_so(seed: int) -> None:
    rng = np.random.default_rng(seed)
    off = Condition("steering wheel", "neutral", "engine off")
    made = simulate_recording(
        draw_car(rng, FOUR), off, Phone(rate_hz=200.0), seed, duration_s=20.0, hand=Hand()
    )
    assert made.truth.mean_rpm is None
    track = find_speed(make_ready(of_simulated(made)), FOUR, Condition("steering wheel")).track
    assert track is None or track.confidence < LOW_CONFIDENCE


@pytest.mark.parametrize("n", [1, 2, 10, 100, 190])
def test_too_little_is_said_to_be_too_little(n: int) -> None:
    sound = heard(SOUND_FOUR, Crank(12.0, 20.0), fs_hz=100.0)
    short = Heard(as_signal(sound.signal.accel_m_s2[:n], 100.0), sound.crank)
    assert found(short, FOUR) is None
    assert "too-short" in codes(short, FOUR)


def test_nothing_but_zeros_has_no_speed() -> None:
    sound = _only(np.zeros((3000, 3)), 100.0)
    with np.errstate(all="raise"):
        assert found(sound, FOUR) is None
    assert codes(sound, FOUR)


def test_mostly_cut_out_is_said_to_be_too_little() -> None:
    sound = heard(SOUND_FOUR, Crank(12.0, 20.0), fs_hz=100.0)
    good = np.arange(2000) < 400
    assert (
        found(Heard(as_signal(sound.signal.accel_m_s2 * good[:, None], 100.0, good), sound.crank), FOUR)
        is None
    )


def test_two_answers_that_fit_alike_are_both_named() -> None:
    """Orders of two engines at once, 600 and 750 rpm, equally strong: null, or the one and a runner-up."""
    both = heard(SOUND_FOUR, Crank(10.0, 24.0)).signal.accel_m_s2
    both = both + heard(SOUND_FOUR, Crank(12.5, 24.0), seed=1).signal.accel_m_s2
    answer = find_speed(as_signal(both, 200.0), FOUR, IDLE)
    assert sorted(c.rpm for c in answer.candidates[:2]) == pytest.approx([600, 750], rel=WRONG)
    named = answer.track is not None and answer.track.runner_up is not None
    assert named or any("rpm" in w.message for w in answer.warnings)


def test_reasons_are_sentences_that_say_what_to_do() -> None:
    for sound, condition in (
        (_only(noise(2400, 0.05), 100.0), IDLE),
        (_only(np.zeros((3000, 3)), 100.0), UNSAID),
        (heard(SOUND_FOUR, Crank(12.0, 1.0)), IDLE),
    ):
        answer = find_speed(sound.signal, FOUR, condition)
        assert answer.track is None
        assert answer.warnings
        for warning in answer.warnings:
            assert warning.message.endswith(".")
            assert "nan" not in warning.message.lower()
            assert any(word in warning.message for word in ("Record", "record", "Tape", "tape", "Read"))

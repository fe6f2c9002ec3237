"""What an answer carries beside the speed: interval, confidence, track, and what a tachometer adds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.speed.closed_form import Crank, as_signal
from tests.speed.engines import FOUR, IDLE, SOUND_FOUR, WANDERING, Heard, codes, heard, sure
from vibecore import read_recording
from vibecore.conditioning import condition
from vibecore.model import Candidate, Condition
from vibecore.places import demo_folder
from vibecore.speed import find_speed
from vibecore.speed.answer import undecided


def test_the_interval_holds_and_is_of_use() -> None:
    """95 % nominal; wider than the truth needs is allowed, but a fifth of a percent is enough."""
    hits, halves = [], []
    for seed in range(30):
        rng = np.random.default_rng([seed, 3])
        crank = Crank(
            rng.uniform(10.5, 14.0), 18.0, rng.normal() * 0.01, rng.uniform(0, 0.2), rng.uniform(2, 8)
        )
        sound = heard(SOUND_FOUR, crank, fs_hz=100.0, noise_rms=float(rng.choice([0.02, 0.1])), seed=seed)
        track = sure(sound, FOUR)
        hits.append(track.low_rpm <= sound.mean_rpm <= track.high_rpm)
        halves.append((track.high_rpm - track.low_rpm) / 2 / sound.mean_rpm)
    assert np.mean(hits) >= 0.9
    assert np.median(halves) < 2e-3


def test_confidence_and_runner_up_are_probabilities() -> None:
    """A firing order with its second multiple and little else is what twice the speed would show too."""
    track = sure(heard({1.0: 0.02, 2.0: 0.1, 4.0: 0.05}, WANDERING), FOUR)
    assert 0.75 <= track.confidence < 1.0
    assert track.runner_up is not None
    assert track.runner_up.mean_rpm == pytest.approx(2 * track.mean_rpm, rel=0.03)
    assert track.runner_up.relation == "twice it"
    assert 0.0 < track.runner_up.probability <= 1.0 - track.confidence


def test_track_is_dense_spans_the_signal_and_follows_the_crank() -> None:
    """At least twice a second (the contract), over the whole span, within 3 rpm rms of the formula."""
    sound = heard(SOUND_FOUR, Crank(12.0, 24.0, swing_hz=0.3, period_s=5.0))
    track = sure(sound, FOUR)
    assert np.diff(track.t_s).max() <= 0.5
    assert np.all(np.diff(track.t_s) > 0)
    assert track.t_s[0] <= 0.5
    assert track.t_s[-1] >= 23.5
    true_rpm = 60 * sound.crank.speed_hz(track.t_s)
    assert float(np.sqrt(np.mean((track.rpm - true_rpm) ** 2))) < 3.0
    assert track.steadiness_rpm == pytest.approx(60 * 0.3 / np.sqrt(2), rel=0.2)  # of a sine: swing / sqrt(2)


def test_track_times_are_those_of_the_file() -> None:
    sound = heard(SOUND_FOUR, WANDERING)
    later = replace(sound.signal, start_s=1.7, used_span_s=(1.7, 1.7 + sound.signal.used_span_s[1]))
    moved = sure(Heard(later, WANDERING), FOUR)
    np.testing.assert_allclose(moved.t_s, sure(sound, FOUR).t_s + 1.7)


def test_crank_angle_keeps_in_step_with_the_firing() -> None:
    """Phase of the firing order along the found angle, against the formula: within a tenth of a cycle."""
    sound = heard(SOUND_FOUR, Crank(12.0, 24.0, swing_hz=0.15))
    track = sure(sound, FOUR)
    t_s = np.arange(len(track.angle_rev)) / sound.signal.fs_hz
    slip = 2.0 * (track.angle_rev - sound.crank.angle_rev(t_s))
    slip -= np.median(slip)
    assert len(track.angle_rev) == len(sound.signal.accel_m_s2)
    assert float(np.std(slip)) < 0.05
    assert float(np.abs(slip).max()) < 0.25


# The tachometer is a hint, good to about 10 %.
@pytest.mark.parametrize("factor", [0.7, 0.8, 1.2, 1.3])
def test_a_tachometer_wrong_by_a_fifth_is_noticed(factor: float) -> None:
    sound = heard(SOUND_FOUR, WANDERING)
    condition = replace(IDLE, tachometer_rpm=factor * 720.0)
    assert sure(sound, FOUR, condition).mean_rpm == pytest.approx(sound.mean_rpm, rel=1e-3)
    assert "tachometer-differs" in codes(sound, FOUR, condition)


@pytest.mark.parametrize("factor", [0.92, 0.97, 1.0, 1.04, 1.09])
def test_a_tachometer_good_to_ten_per_cent_is_not_blamed(factor: float) -> None:
    sound = heard(SOUND_FOUR, WANDERING)
    condition = replace(IDLE, tachometer_rpm=factor * 720.0)
    assert sure(sound, FOUR, condition).mean_rpm == pytest.approx(sound.mean_rpm, rel=1e-3)
    assert "tachometer-differs" not in codes(sound, FOUR, condition)


def test_the_reading_itself_is_never_the_answer() -> None:
    sound = heard(SOUND_FOUR, WANDERING)
    means = [sure(sound, FOUR, replace(IDLE, tachometer_rpm=r)).mean_rpm for r in (None, 690.0, 760.0)]
    assert max(means) - min(means) < 0.1


@pytest.mark.parametrize("start_s", [5.0, 9.3, 14.0])
@pytest.mark.parametrize("gap_s", [0.8, 1.3, 2.0])
def test_a_knock_that_was_cut_out_does_not_lose_a_turn(start_s: float, gap_s: float) -> None:
    # Turns are counted through the gap: one of order 2 lost would be half a revolution of 288, or 0.17 %.
    for seed in range(4):
        sound = heard(SOUND_FOUR, WANDERING, fs_hz=100.0, seed=seed)
        t_s = np.arange(len(sound.signal.accel_m_s2)) / 100.0
        good = (t_s < start_s) | (t_s > start_s + gap_s)
        cut = as_signal(sound.signal.accel_m_s2 * good[:, None], 100.0, good)
        track = sure(Heard(cut, sound.crank), FOUR)
        assert track.mean_rpm == pytest.approx(sound.mean_rpm, rel=6e-4)


def test_a_quarter_cut_out_leaves_the_rest_to_tell() -> None:
    sound = heard(SOUND_FOUR, WANDERING, fs_hz=100.0)
    t_s = np.arange(len(sound.signal.accel_m_s2)) / 100.0
    good = t_s % 3.0 > 0.8
    cut = as_signal(sound.signal.accel_m_s2 * good[:, None], 100.0, good)
    assert sure(Heard(cut, sound.crank), FOUR).mean_rpm == pytest.approx(sound.mean_rpm, rel=2e-3)


def test_a_tachometer_that_contradicts_makes_nothing_surer() -> None:
    """A firing order and its double may be anything that turns: how sure that is, no wrong reading raises."""
    signal = condition(read_recording(demo_folder() / "mount-mended-and-proven" / "drive-idle.csv"))
    alone = find_speed(signal, FOUR, Condition()).candidates[0]
    for rpm in (300.0, 900.0, 3000.0):
        told = find_speed(signal, FOUR, Condition(tachometer_rpm=rpm))
        assert told.candidates[0].probability <= alone.probability + 0.01
        assert told.track is None or told.track.found_by == "vibration"


def test_a_speed_of_one_in_twelve_is_not_called_likely() -> None:
    found = undecided((Candidate(1332.0, 0.5), Candidate(668.0, 0.08)), None, Condition())
    (warning,) = found.warnings
    assert "most likely 1332 rpm (50 %), then 668 rpm (8 %). Read the tachometer" in warning.message

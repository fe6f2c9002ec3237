"""One working cycle, averaged: against waveforms written by formula and the standard error of a mean."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vibecore import figures
from vibecore.cycles import average_cycle
from vibecore.engine import Engine
from vibecore.model import Floats, Signal, SpeedTrack

FOUR = Engine(4)
FS_HZ, RPM = 400.0, 720.0


def made(
    shake: Floats, seconds: float = 30.0, noise: float = 0.0, rpm: float = RPM
) -> tuple[Signal, SpeedTrack]:
    """A signal along the diagonal of the phone's axes; shake (n,) at even times."""
    n = round(seconds * FS_HZ)
    t = np.arange(n) / FS_HZ
    accel = np.outer(shake, np.full(3, 3**-0.5)) + noise * np.random.default_rng(1).standard_normal((n, 3))
    signal = Signal(FS_HZ, 0.0, accel, np.ones(n, bool), (0.0, seconds), True, 0.0)
    track = SpeedTrack(t, np.full(n, rpm), rpm, rpm, rpm, 0.0, 0.99, "vibration", t * rpm / 60)
    return signal, track


def pulses(strengths: list[float], seconds: float = 30.0, missed: tuple[int, ...] = ()) -> Floats:
    """A firing order that each firing scales, smoothly from one to the next: the trigonometric polynomial
    through the strengths. missed: firings, counted from the start, that do not come at all."""
    turns = np.arange(round(seconds * FS_HZ)) / FS_HZ * RPM / 60
    count = len(strengths)
    place = turns * count / 2  # firings since the start
    lines = np.fft.fft(strengths) / count
    scale = sum(
        (lines[k] * np.exp(2j * np.pi * (k if k <= count // 2 else k - count) * place / count)).real
        for k in range(count)
    )
    return np.asarray(scale * ~np.isin(np.floor(place + 0.5), missed) * np.cos(2 * np.pi * place))


def test_the_mean_cycle_is_the_waveform_that_repeats() -> None:
    """Orders 0.5 and 2 with known phases; noise of standard deviation s in N cycles leaves s / sqrt(N)."""
    turns = np.arange(round(30 * FS_HZ)) / FS_HZ * RPM / 60
    wave = 0.3 * np.cos(np.pi * turns + 0.4) + 0.5 * np.cos(4 * np.pi * turns - 1.0)
    view = average_cycle(*made(wave, noise=0.1), FOUR)
    assert view is not None
    at = np.radians(view.angle_deg)  # half an order turns once in 720 degrees
    truth = 0.3 * np.cos(at / 2 + 0.4) + 0.5 * np.cos(2 * at - 1.0)
    sign = np.sign(np.dot(truth, view.mean_m_s2))  # a direction has no sign of its own
    assert view.angle_deg[0] == 0.0
    assert view.angle_deg[-1] < 720.0
    np.testing.assert_allclose(sign * view.mean_m_s2, truth, atol=5 * 0.1 / np.sqrt(view.cycles))
    assert view.cycles == pytest.approx(30 * RPM / 60 / 2, abs=2)
    assert float(np.median(view.spread_m_s2)) == pytest.approx(0.1, rel=0.15)
    share = (0.3**2 + 0.5**2) / 2
    assert view.alike == pytest.approx(share / (share + 0.1**2), abs=0.03)


@settings(max_examples=40, deadline=None)
@given(strengths=st.lists(st.floats(0.3, 1.0), min_size=4, max_size=4))
def test_how_firings_differ_is_kept(strengths: list[float]) -> None:
    view = average_cycle(*made(pulses(strengths)), FOUR)
    assert view is not None
    # Where in the cycle a firing shows is not known: by the shift theorem that turns the phases of the
    # discrete Fourier transform and leaves its sizes.
    found, true = (np.abs(np.fft.fft(v)) for v in (view.firings, strengths / np.mean(strengths)))
    np.testing.assert_allclose(found[:2], true[:2], atol=0.05)
    assert found[2] <= true[2] + 0.05
    assert found[2] >= 0.9 * true[2] - 0.05  # places are tried to an eighth of a firing


def test_the_standard_error_of_a_firing_is_how_far_it_strays_from_trial_to_trial() -> None:
    """By definition of a standard error, over 40 recordings that differ in their noise only."""
    signal, track = made(pulses([1.0, 0.8, 1.0, 1.0]))
    found, errors = [], []
    for seed in range(40):
        noise = 0.3 * np.random.default_rng(seed).standard_normal((len(signal.accel_m_s2), 3))
        view = average_cycle(replace(signal, accel_m_s2=signal.accel_m_s2 + noise), track, FOUR)
        assert view is not None
        found.append(np.sort(view.firings))
        errors.append(np.mean(view.firings_se))
    weakest = np.array(found)[:, 0]
    assert float(np.mean(errors)) == pytest.approx(float(weakest.std()), rel=0.35)


def test_even_firings_in_noise_are_not_called_unequal() -> None:
    """At most 1 in 100 by the table of the studentized range; leave for the place that is chosen."""
    signal, track = made(pulses([1.0] * 4))
    unequal = 0
    for seed in range(40):
        noise = 0.3 * np.random.default_rng(seed).standard_normal((len(signal.accel_m_s2), 3))
        view = average_cycle(replace(signal, accel_m_s2=signal.accel_m_s2 + noise), track, FOUR)
        assert view is not None
        unequal += "unequally" in figures.cycle(view, FOUR).sentence
    assert unequal <= 2


def test_imbalance_beside_even_firings_leaves_them_even() -> None:
    """Order 1 turns with the crank and lies below the firing order: it is no firing's."""
    turns = np.arange(round(30 * FS_HZ)) / FS_HZ * RPM / 60
    view = average_cycle(*made(pulses([1.0] * 4) + 3.0 * np.cos(2 * np.pi * turns + 0.7)), FOUR)
    assert view is not None
    assert view.firings == pytest.approx([1.0] * 4, abs=0.02)


def test_a_dead_cylinder_is_weak_every_time_and_so_not_missed() -> None:
    view = average_cycle(*made(pulses([1.0, 1.0, 0.1, 1.0]), noise=0.05), FOUR)
    assert view is not None
    assert min(view.firings) < 0.25
    assert view.missed_per_minute == 0.0


def test_even_firings_are_even_and_none_is_missed() -> None:
    view = average_cycle(*made(pulses([1.0] * 4), noise=0.02), FOUR)
    assert view is not None
    assert view.firings == pytest.approx([1.0] * 4, abs=0.05)
    assert view.missed_per_minute == 0.0


def test_missed_firings_are_counted() -> None:
    """Five firings of half a minute do not come: ten a minute."""
    view = average_cycle(*made(pulses([1.0] * 4, missed=(50, 121, 201, 333, 500)), noise=0.02), FOUR)
    assert view is not None
    assert view.missed_per_minute == pytest.approx(10.0, rel=0.05)


@pytest.mark.parametrize("at_s", [4.03, 11.37, 20.11])
def test_a_knock_is_no_missed_firing(at_s: float) -> None:
    """A mode of the body at 37 Hz rings, twice as strong as the firing, and dies away."""
    since = np.arange(12000) / FS_HZ - at_s
    knock = 2 * np.exp(-12 * since.clip(0)) * np.sin(2 * np.pi * 37 * since) * (since > 0)
    view = average_cycle(*made(pulses([1.0] * 4) + knock, noise=0.02), FOUR)
    assert view is not None
    assert view.missed_per_minute == 0.0


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
def test_a_fan_that_beats_with_the_firing_misses_none(share: float) -> None:
    """A fan 1.3 Hz beside the firing order, on for the last eight seconds."""
    t_s = np.arange(12000) / FS_HZ
    fan = share * np.cos(2 * np.pi * 25.3 * t_s) * (t_s > 22)
    view = average_cycle(*made(pulses([1.0] * 4) + fan, noise=0.02), FOUR)
    assert view is not None
    assert not view.missed_per_minute


def test_noise_is_not_alike_and_its_firings_are_not_told() -> None:
    view = average_cycle(*made(np.zeros(12000), noise=0.1), FOUR)
    assert view is not None
    assert view.alike < 0.1
    assert view.firings == ()
    assert view.missed_per_minute is None


def test_what_a_mean_of_few_cycles_keeps_of_noise_is_taken_off() -> None:
    """The mean of N cycles of noise keeps 1 / N of its power (standard error of a mean): with 12 cycles 8 %,
    which is nothing that repeats."""
    found = []
    for seed in range(20):
        signal, track = made(np.zeros(800), seconds=2.0)
        noise = 0.1 * np.random.default_rng(seed).standard_normal((800, 3))
        view = average_cycle(replace(signal, accel_m_s2=noise), track, FOUR)
        assert view is not None
        found.append(view.alike)
    assert float(np.mean(found)) < 0.05


def test_too_little_or_too_slow_gives_none() -> None:
    signal, track = made(pulses([1.0] * 4, seconds=0.5), seconds=0.5)
    assert average_cycle(signal, track, FOUR) is None
    slow = made(np.zeros(12000), rpm=6000.0)  # firing 200 times a second, at half the rate
    view = average_cycle(*slow, FOUR)
    assert view is None or view.firings == ()


def test_bad_samples_take_their_cycles_out() -> None:
    signal, track = made(pulses([1.0] * 4))
    good = signal.good.copy()
    good[4000:6000] = False
    spoiled = np.where(good[:, None], signal.accel_m_s2, 50.0)
    whole = average_cycle(signal, track, FOUR)
    view = average_cycle(replace(signal, accel_m_s2=spoiled, good=good), track, FOUR)
    assert whole is not None
    assert view is not None
    assert view.cycles < whole.cycles - 25
    np.testing.assert_allclose(view.mean_m_s2, whole.mean_m_s2, atol=0.02)


def test_firings_that_no_whole_cycle_shows_are_not_told() -> None:
    """Bad samples near both ends of every second cycle: cuts round the other firings all hold one."""
    signal, track = made(pulses([1.0] * 4))
    good = signal.good.copy()
    cycle = FS_HZ / (RPM / 120)
    odd = np.arange(cycle, len(good) - cycle, 2 * cycle)
    good[np.rint(np.concatenate((odd + 4, odd + cycle - 4))).astype(int)] = False
    view = average_cycle(replace(signal, good=good), track, FOUR)
    assert view is not None
    assert view.firings == ()
    assert view.missed_per_minute is None

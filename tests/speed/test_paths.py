"""Along which path through time a speed is read: closed forms, a crank of known angle beside weak strays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.speed.closed_form import Crank
from tests.speed.engines import FOUR, IDLE, found, heard, line
from vibecore.engine import Engine
from vibecore.speed import guesses, pattern


@pytest.mark.parametrize("seed", [116, 141, 169, 172, 195, 218])
def test_a_weak_stray_does_not_draw_the_path_from_a_strong_order(seed: int) -> None:
    """The firing order stands 20 dB over five tones that wander. Along such a tone's path it is smeared, and
    a smear lies on some order sooner than a line does: the speed was then a per cent off."""
    rng = np.random.default_rng(seed)
    fs_hz, duration_s = float(rng.choice([100.0, 200.0])), 20.0
    tones = [(float(rng.uniform(4, 40)), 0.02) for _ in range(5)]
    strays = sum(line(round(duration_s * fs_hz), fs_hz, *tone, wander_hz=0.3) for tone in tones)
    crank = Crank(float(rng.uniform(9.3, 12.0)), duration_s, swing_hz=0.03, period_s=7.0)
    sound = heard({3.0: 0.3}, crank, fs_hz=fs_hz, noise_rms=0.03, extra=np.asarray(strays))
    reading = float(10 * round(sound.mean_rpm * rng.uniform(0.96, 1.04) / 10))
    track = found(sound, Engine(6), replace(IDLE, tachometer_rpm=reading))
    assert track is not None
    assert track.mean_rpm == pytest.approx(sound.mean_rpm, rel=2e-3)


@pytest.mark.parametrize(("stands_at", "explained"), [(2.0, True), (2.06, False)])
def test_a_line_near_a_tooth_of_the_leading_guess_is_still_tried(stands_at: float, explained: bool) -> None:
    """A firing order half a hertz beside a stronger line: along that one's path it stands on no tooth."""
    orders = np.arange(0.0, 6.0, 0.01)
    height = 1 + 50 * np.exp(-((orders - stands_at) ** 2) / (2 * 0.01**2))
    seen = pattern.OrderSpectrum(orders, height, 10 * np.log10(height), np.zeros(len(orders)), 9.0)
    t_s, path_hz = np.arange(2.0), np.full(2, 820 / 60)
    leads = guesses.Hypothesis(t_s, path_hz, 820.0, 20.0, FOUR, seen, 1.0)
    assert guesses.is_explained(2.01 * 820 / 60, [leads]) == explained

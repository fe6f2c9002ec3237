"""Along which path through time a speed is read: closed forms, a crank of known angle beside weak strays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.speed.closed_form import Crank
from tests.speed.engines import IDLE, found, heard, line
from vibecore.engine import Engine


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

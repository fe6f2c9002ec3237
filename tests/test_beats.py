"""Beats against the identity sin a + sin b = 2 sin((a + b) / 2) cos((a - b) / 2)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import find_peaks, hilbert

from tests.speed.closed_form import as_recording
from vibecore.beats import strongest_beat
from vibecore.engine import Engine
from vibecore.model import Condition
from vibecore.pipeline import analyze
from vibecore.words import beat_words

T_S = np.arange(8000) / 200.0


def heard(*lines: tuple[float, float]):  # type: ignore[no-untyped-def]
    """An analysis of sines (hertz, amplitude) with a little noise."""
    shake = sum(a * np.sin(2 * np.pi * f * T_S) for f, a in lines)
    accel = np.outer(shake, [0.6, 0.0, 0.8]) + 0.01 * np.random.default_rng(2).standard_normal((len(T_S), 3))
    return analyze(as_recording(T_S, accel, 200.0), Engine(4), Condition(speed_hold="engine off")), shake


@pytest.mark.parametrize("apart_hz", [0.6, 1.0, 1.7])
def test_the_period_is_that_of_the_envelope(apart_hz: float) -> None:
    """The envelope by scipy.signal.hilbert swells as often as the two lines are apart."""
    analysis, shake = heard((23.0, 0.5), (23.0 + apart_hz, 0.4))
    swells, _ = find_peaks(np.abs(hilbert(shake)), distance=60, prominence=0.2)
    beat = strongest_beat(analysis)
    assert beat is not None
    assert beat.period_s == pytest.approx(float(np.mean(np.diff(T_S[swells]))), rel=0.05)
    words = beat_words(beat)
    assert f"{beat.period_s:.1f} s" in words


@pytest.mark.parametrize(
    "lines",
    [((23.0, 0.5),), ((23.0, 0.5), (31.0, 0.5)), ((23.0, 0.5), (24.0, 0.05))],
    ids=["one line", "far apart", "one much weaker"],
)
def test_no_beat_where_none_is_felt(lines: tuple[tuple[float, float], ...]) -> None:
    analysis, _ = heard(*lines)
    assert strongest_beat(analysis) is None
    assert beat_words(None) == ""

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
from vibecore.terminal import analysis_text
from vibecore.words import beat_words

T_S = np.arange(8000) / 200.0


def heard(*lines: tuple[float, float], t_s=T_S):  # type: ignore[no-untyped-def]
    """An analysis of sines (hertz, amplitude) with a little noise."""
    shake = sum(a * np.sin(2 * np.pi * f * t_s) for f, a in lines)
    return analysed(shake, t_s), shake


def analysed(shake, t_s):  # type: ignore[no-untyped-def]
    accel = np.outer(shake, [0.6, 0.0, 0.8]) + 0.01 * np.random.default_rng(2).standard_normal((len(t_s), 3))
    return analyze(as_recording(t_s, accel, 200.0), Engine(4), Condition(speed_hold="engine off"))


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
    assert words in " ".join(analysis_text(analysis, "on a terminal").split())


@pytest.mark.parametrize(
    "lines",
    [((23.0, 0.5),), ((23.0, 0.5), (31.0, 0.5)), ((23.0, 0.5), (24.0, 0.05))],
    ids=["one line", "far apart", "one much weaker"],
)
def test_no_beat_where_none_is_felt(lines: tuple[tuple[float, float], ...]) -> None:
    analysis, _ = heard(*lines)
    assert strongest_beat(analysis) is None
    assert beat_words(None) == ""


@pytest.mark.parametrize("apart_hz", [0.08, 0.1, 0.15, 0.3])
@pytest.mark.parametrize("place_hz", [23.0, 23.013, 41.37])
def test_a_slow_beat_is_found_in_a_minute(apart_hz: float, place_hz: float) -> None:
    """Two tones are told apart from about four over the duration on (the main lobe of a Hann window is four
    bins wide; Harris, Proc. IEEE 66(1), 1978, Table I)."""
    t_s = np.arange(12000) / 200.0
    analysis, _ = heard((place_hz, 0.5), (place_hz + apart_hz, 0.4), t_s=t_s)
    beat = strongest_beat(analysis)
    assert beat is not None
    assert beat.period_s == pytest.approx(1 / apart_hz, rel=0.05)


@pytest.mark.parametrize("drift_hz", [0.1, 0.15, 0.2, 0.3, 0.5])
def test_one_line_that_drifts_is_no_beat(drift_hz: float) -> None:
    t_s = np.arange(12000) / 200.0
    straight = 2 * np.pi * (23.0 * t_s + drift_hz / 2 * t_s**2 / t_s[-1])
    swaying = 2 * np.pi * 23.0 * t_s + drift_hz / 0.05 * np.sin(2 * np.pi * 0.05 * t_s)
    for phase in (straight, swaying):
        assert strongest_beat(analysed(0.5 * np.sin(phase), t_s)) is None


@pytest.mark.parametrize("index", [0.6, 1.0, 1.5])
def test_one_line_that_sways_fast_is_no_beat(index: float) -> None:
    """Frequency modulation: sidebands J1(index) beside a carrier J0(index) (Abramowitz and Stegun 9.1.42)."""
    t_s = np.arange(12000) / 200.0
    phase = 2 * np.pi * 23.0 * t_s + index * np.sin(2 * np.pi * 0.1 * t_s)
    assert strongest_beat(analysed(0.5 * np.sin(phase), t_s)) is None


@pytest.mark.parametrize("seed", range(8))
def test_one_line_that_wanders_is_no_beat(seed: int) -> None:
    """Frequency as a random walk of its own, smoothed: what a motor's load or an idle does."""
    t_s = np.arange(12000) / 200.0
    steps = np.random.default_rng(seed).standard_normal(len(t_s))
    walk = np.cumsum(steps - steps.mean())
    hertz = 23.0 + 0.15 * walk / np.abs(walk).max()
    assert strongest_beat(analysed(0.5 * np.sin(2 * np.pi * np.cumsum(hertz) / 200.0), t_s)) is None


def test_of_several_beats_the_one_that_swells_most_is_told() -> None:
    """Two sines swell by twice the weaker of them (the identity above): 0.28 against 0.2."""
    analysis, _ = heard((23.0, 0.5), (24.0, 0.2), (40.0, 0.3), (41.0, 0.28))
    beat = strongest_beat(analysis)
    assert beat is not None
    assert (beat.low_hz, beat.high_hz) == pytest.approx((40.0, 41.0), abs=0.05)


def test_a_line_that_stands_on_an_order_is_named_after_it() -> None:
    """A fan at 25.2 Hz beside the firing order of a four at 720 rpm, which is 2 x 12 = 24 Hz."""
    t_s = np.arange(12000) / 200.0
    turns = 12.0 * t_s
    engine = 0.4 * np.cos(4 * np.pi * turns) + 0.1 * np.cos(8 * np.pi * turns) + 0.05 * np.cos(np.pi * turns)
    shake = engine + 0.3 * np.sin(2 * np.pi * 25.2 * t_s)
    accel = np.outer(shake, [0.6, 0.0, 0.8]) + 0.01 * np.random.default_rng(3).standard_normal((len(t_s), 3))
    idle = Condition("steering wheel", "neutral", "idle", tachometer_rpm=720.0)
    analysis = analyze(as_recording(t_s, accel, 200.0), Engine(4), idle)
    assert analysis.speed is not None
    beat = strongest_beat(analysis)
    assert beat is not None
    assert (beat.low_order, beat.high_order) == (2.0, None)
    assert beat.period_s == pytest.approx(1 / 1.2, rel=0.05)
    assert "24.0 Hz (engine order 2) and 25.2 Hz" in beat_words(beat)

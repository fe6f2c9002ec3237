"""What a car's recordings tell of a natural frequency: a sweep past one mode in closed form, in words."""

from __future__ import annotations

import re
from dataclasses import replace

from tests.repair_made import AFTER, FOUR, SOUND, made
from tests.test_resonance import sweep
from vibecore.met import natural_frequency


def test_a_sweep_through_a_mode_tells_where_it_is_and_how_far_the_idle_sits_from_it() -> None:
    """One mode, closed form (Thomson, Theory of Vibration): natural frequency 26 Hz, damping 8 %."""
    signal, track = sweep(2.0, 26.0, 0.08)
    swept = replace(made(SOUND, name="sweep"), signal=signal, speed=track)
    idle = made(SOUND, rpm=700)
    told = natural_frequency(idle, [idle, swept], FOUR)
    hz, low, high = map(float, re.findall(r"at ([\d.]+) Hz \(([\d.]+) to ([\d.]+)\)", told)[0])
    assert low < 26.0 < high
    assert abs(hz / 26.0 - 1) < 0.02
    assert f"{100 * (1 - 700 / 60 * 2 / hz):.0f} % below it" in told
    damping, least, most = map(float, re.findall(r"Damping (\d+) % of critical \((\d+) to (\d+)\)", told)[0])
    assert least <= 8 <= most
    assert abs(damping - 8) <= 1.5


def test_one_speed_tells_nothing_and_a_slope_is_no_peak() -> None:
    idle = made(SOUND, rpm=700)
    assert natural_frequency(idle, [idle, made(SOUND, rpm=710)], FOUR) == ""
    signal, track = sweep(2.0, 60.0, 0.08)
    swept = replace(made(SOUND, name="sweep"), signal=signal, speed=track)
    told = natural_frequency(swept, [swept], FOUR)
    assert "cannot be measured from these speeds. No peak" in told
    assert told.endswith("Whether the idle sits near one is weighed on Causes.")  # which may be sure of it
    assert "more than a slope" in told


def test_what_was_recorded_elsewhere_or_after_a_repair_is_another_path() -> None:
    signal, track = sweep(2.0, 26.0, 0.08)
    idle = made(SOUND, rpm=700)
    after = replace(made(SOUND, AFTER), signal=signal, speed=track)
    assert natural_frequency(idle, [idle, after], FOUR) == ""

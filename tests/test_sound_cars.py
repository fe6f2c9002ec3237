"""What sound cars show is told from one table: no sentence may call a level 'over' that another calls usual.

Outside check: idle levels at the wheel, 0.1 m/s2 in good cars and 0.5 in poor ones (order of magnitude, from
memory).
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.evidence.made import made
from vibecore.engine import Engine, Vehicle
from vibecore.evidence import gather
from vibecore.sound_cars import SOUND_DB, WHOLE, SoundLevel, sound_level

WHEEL = "steering wheel"


@pytest.mark.parametrize("cylinders", [3, 4, 6])
@pytest.mark.parametrize(("gear", "hold"), [("neutral", "idle"), ("drive", "idle"), ("neutral", "raised")])
@pytest.mark.parametrize("place", ["steering wheel", "seat"])
def test_what_the_proof_calls_usual_the_evidence_does_too(cylinders, gear, hold, place):
    engine = Engine(cylinders)
    named = {engine.firing_order: f"the firing order ({engine.firing_order:g})", 1.0: "engine order 1"}
    usual = {order: 10 ** (sound_level(order, engine, place).median_db / 20) for order in named}
    analysis = made("one", usual, gear=gear, hold=hold, place=place, engine=engine)
    told = {item.evidence.text for item in gather([analysis], Vehicle(engine))}
    for name in named.values():
        assert any(text.startswith(f"{name} is about as strong as") for text in told), told


def test_sound_levels_are_those_of_a_quiet_car():
    total = sum(10 ** (level / 10) for level in SOUND_DB.values())
    assert 0.05 < total**0.5 < 0.3
    low, high = WHOLE.band_m_s2
    assert low < 0.1 < high < WHOLE.most_m_s2 < 0.5


def test_levels_follow_engine_and_place():
    four = Engine(4)
    wheel = sound_level(2.0, four, WHEEL).median_db
    assert wheel > sound_level(0.5, four, WHEEL).median_db
    assert sound_level(2.0, four, "engine").median_db > wheel
    # A three rocks at order 1 when sound, a six in line does not (the balance table).
    assert sound_level(1.0, Engine(3), WHEEL).median_db > sound_level(1.0, Engine(6), WHEEL).median_db


def test_bands_are_those_of_a_normal_distribution_in_decibels():
    cars = 10 ** (np.random.default_rng(3).normal(-30.0, 8.0, 200_000) / 20)
    low, high = SoundLevel(-30.0, 8.0).band_m_s2
    assert np.mean((cars > low) & (cars < high)) == pytest.approx(0.683, abs=0.005)
    assert np.mean(cars > SoundLevel(-30.0, 8.0).most_m_s2) == pytest.approx(0.05, abs=0.002)

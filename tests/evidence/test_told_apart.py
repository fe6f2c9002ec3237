"""Lines in the band of an engine order that are none of it.

Along the crank's angle an order is a line exactly where it is, by definition; two lines are told apart where
they stand further apart than the window's main lobe is wide to one side, 2 / T for Hann's over T (Harris,
Proc. IEEE 66(1), 1978).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.evidence import made as maker
from tests.evidence.made import combined_db, first
from vibecore import spectra
from vibecore.evidence import gather
from vibecore.evidence.levels import read_levels
from vibecore.evidence.lone_lines import strongest_alone
from vibecore.evidence.scene import scene_of
from vibecore.evidence.told_apart import beside_orders
from vibecore.model import Analysis, Gear, Line, SpeedHold

PER_REV, REVOLUTIONS, BLOCK_REV = 32.0, 350.0, 100.0
LEVEL = 0.35
FOUND = "line alone", "accessory-drive"


def _turning(
    order: float | None,
    rpm: float = 700.0,
    gear: Gear = "neutral",
    hold: SpeedHold = "idle",
    smear: float = 0.0,
) -> Analysis:
    """A sound car with 0.35 m/s2 at an order, or smeared about it, all within the band of order 1."""
    rng, turns = np.random.default_rng(3), np.arange(0.0, REVOLUTIONS, 1 / PER_REV)
    x = 0.003 * rng.standard_normal(len(turns))
    if order is not None:
        phase = 2 * np.pi * order * turns
        waves = [rng.standard_normal(len(turns)) for _ in range(2)] if smear else [np.ones(len(turns))] * 2
        if smear:
            lobe = np.exp(-0.5 * (np.fft.rfftfreq(len(turns), 1 / PER_REV) / smear) ** 2)
            waves = [np.fft.irfft(np.fft.rfft(w) * lobe, len(turns)) for w in waves]
        swing = waves[0] * np.cos(phase) + waves[1] * np.sin(phase)
        x += LEVEL * swing / swing.std()
    made = maker.made(
        f"{gear}-{hold}", {1.0: 0.018 if order is None else LEVEL}, rpm=rpm, gear=gear, hold=hold,
        whole=0.1 if order is None else 0.4,
    )  # fmt: skip
    assert made.orders is not None
    spectrum = spectra.density(x, PER_REV, resolution_hz=1 / BLOCK_REV)
    return replace(made, orders=replace(made.orders, spectrum=replace(spectrum, unit="order")))


def _job(neutral: float | None, drive: float | None, raised: float | None) -> list[Analysis]:
    return [
        _turning(neutral), _turning(drive, 640.0, "drive"), _turning(raised, 1100.0, hold="raised")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("order", "smear", "apart"),
    [(1.0, 0.0, False), (0.995, 0.0, False), (0.962, 0.0, True), (1.03, 0.0, True), (0.97, 0.02, False)],
)
def test_order_one_is_what_stands_at_order_one(order: float, smear: float, apart: bool) -> None:
    """Unsteady cycles smear about an order: that is wide, and the order's own."""
    analysis = _turning(order, smear=smear)
    read = [r for r in read_levels(scene_of([analysis]), maker.FOUR.engine) if r.family == "one"]
    assert bool(read) != apart
    near = [line.order for line in beside_orders(analysis) if line.rms_m_s2 > 0.1]
    assert near == ([pytest.approx(order, abs=0.002)] if apart else [])


def test_a_pulley_nearly_as_large_as_the_cranks_turns_in_every_gear() -> None:
    """A belt that does not slip turns a 166 mm pulley 160 / 166 = 0.964 times a turn of a 160 mm one."""
    assert first(_job(0.964, 0.964, 0.964), maker.FOUR) == "accessory-drive"


def test_what_stands_while_the_car_is_held_in_gear_is_a_turbine() -> None:
    """In gear, the car held, a converter's turbine stands; in neutral it is dragged along under the crank's
    speed (the working principle of a fluid coupling). Crank and belt turn in any gear."""
    total = combined_db(gather(_job(0.964, None, 0.964), maker.FOUR))
    assert total["driveline"] > 5
    assert total["driveline"] > max(total["accessory-drive"], total["rotating-imbalance"]) + 5
    told = [e for e in gather(_job(0.964, None, 0.964), maker.FOUR) if e.finding == "gone in gear"]
    assert any("order 0.96" in e.evidence.text for e in told)


@pytest.mark.parametrize(("smear", "told"), [(0.0, True), (0.03, False)])
def test_a_line_among_the_cars_own_modes_turns_where_it_is_narrower_than_any(
    smear: float, told: bool
) -> None:
    """A belt that goes round 0.22 times a turn and shakes three times a round: order 0.66, 7.7 Hz at 700 rpm.
    A mode there is 2 x damping x 7.7 Hz wide at half its power, 0.04 of an order at 0.03."""
    idle = _turning(0.66, smear=smear)
    seen = [Line(0.66 * 700 / 60, 0.66, LEVEL, 20.0)]
    assert idle.orders is not None
    idle = replace(idle, lines=tuple(seen), orders=replace(idle.orders, other_lines=tuple(seen)))
    assert (strongest_alone(scene_of([idle])) is not None) == told
    belt = [e.log_ratio_db for e in gather([idle], maker.FOUR) if (e.finding, e.cause) == FOUND]
    assert (sum(belt) > 5) == told

"""The number of cylinders doubted where another one's firing order stands alone.

Firing order: half the cylinders of a four-stroke (handbooks of engine balance; Taylor, The Internal
Combustion Engine in Theory and Practice, vol. 2, from memory)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.repair_made import WHEEL, made
from vibecore.constants import CYLINDERS_DOUBTFUL
from vibecore.engine import Engine
from vibecore.firing import doubts, other_cylinders
from vibecore.model import OrderTable

FOUR = Engine(4)


def _table(levels: dict[float, float]) -> OrderTable:
    orders = made(levels).orders
    assert orders is not None
    return orders


@pytest.mark.parametrize(
    ("entered", "real"), [(4, 3), (4, 5), (4, 6), (6, 4), (3, 4), (8, 6), (6, 8), (5, 4)]
)
def test_another_numbers_firing_order_is_asked_about(entered: int, real: int) -> None:
    levels = dict.fromkeys(Engine(entered).orders, 0.01) | {real / 2: 0.2}
    assert other_cylinders(_table(levels), Engine(entered)) == real


@pytest.mark.parametrize(
    "levels",
    [
        {0.5: 0.01, 1.0: 0.02, 1.5: 0.01, 2.0: 0.2, 4.0: 0.05},  # sound
        {0.5: 0.3, 1.0: 0.25, 1.5: 0.1, 2.0: 0.1, 4.0: 0.02},  # one cylinder does not pull
        {0.5: 0.1, 1.0: 0.1, 1.5: 0.15, 2.0: 0.05, 4.0: 0.02},  # the same, on a natural frequency
        {0.5: 0.01, 1.0: 0.3, 1.5: 0.01, 2.0: 0.1, 4.0: 0.02},  # out of balance
        {0.5: 0.01, 1.0: 0.02, 1.5: 0.01, 2.0: 0.05, 4.0: 0.3},  # metal that touches
    ],
)
def test_a_faulty_four_is_not_taken_for_another_engine(levels: dict[float, float]) -> None:
    assert other_cylinders(_table(levels), FOUR) is None


def test_two_strokes_and_the_road_are_not_asked_about() -> None:
    three = {0.5: 0.01, 1.0: 0.02, 1.5: 0.2, 2.0: 0.01, 3.0: 0.05}
    assert other_cylinders(_table({1.0: 0.01, 2.0: 0.01, 1.5: 0.2}), Engine(2, strokes=2)) is None
    assert [w.code for w in doubts(_table(three), FOUR, WHEEL)] == [CYLINDERS_DOUBTFUL]
    assert "of 3 cylinders" in doubts(_table(three), FOUR, WHEEL)[0].message
    drive = replace(WHEEL, gear="drive", speed_hold="raised")
    assert doubts(_table(three), FOUR, drive) == ()
    assert doubts(None, FOUR, WHEEL) == ()

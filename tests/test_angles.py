"""Angles between directions against Python's own geometry, from memory of school."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vibecore.angles import between_deg, degrees


@pytest.mark.parametrize("angle_deg", [0.0, 1.0, 30.0, 90.0, 135.0, 180.0])
def test_an_angle_drawn_is_the_angle_read(angle_deg: float) -> None:
    angle = math.radians(angle_deg)
    one, other = np.array([3.0, 0.0, 0.0]), 0.2 * np.array([math.cos(angle), math.sin(angle), 0.0])
    assert float(between_deg(one, other)) == pytest.approx(angle_deg, abs=1e-5)


def test_each_with_its_own_or_all_with_one() -> None:
    axes = np.eye(3)
    assert between_deg(axes, axes[[1, 1, 1]]).tolist() == pytest.approx([90.0, 0.0, 90.0])
    assert between_deg(axes, axes[1]).tolist() == pytest.approx([90.0, 0.0, 90.0])


def test_rounding_and_nothing_give_numbers() -> None:
    assert degrees(np.array([1.0 + 1e-9, -1.0 - 1e-9])).tolist() == [0.0, 180.0]
    assert np.isfinite(between_deg(np.zeros(3), np.ones(3)))

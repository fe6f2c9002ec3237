"""What is said of a recording in one line."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from tests.app import made
from vibecore.engine import Engine

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "app"))
import widgets


def test_a_firing_order_that_is_not_in_the_table_as_seen_is_told():
    """An eight near 715 rpm fires at 47.7 Hz: under half of 100 samples a second, and yet not to be seen."""
    unseen = made.level(4.0, None, "at 47.7 Hz it is too near or above half of the 100 samples a second")
    whole = made.analysis()
    orders = replace(whole.orders, levels=(*whole.orders.levels[:-1], unseen))
    icon, line = widgets.quality(replace(whole, orders=orders), Engine(8))
    assert "error" in icon
    assert line.startswith("Record again at 200 samples a second or more")

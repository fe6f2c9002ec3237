"""Lines on no order in recordings at other speeds: where they fold to, and where nobody can follow them.

Sampling folds a line at f down to |f - rate| (Shannon, Proc. IRE 37, 1949). A pulley turns at a fixed ratio
to the crank, and a motor does not (any textbook on machines); whose line is the stronger one in an order's
band is arithmetic.
"""

from __future__ import annotations

import pytest

from tests.evidence import made as maker
from tests.evidence.made import line
from vibecore.evidence import lines
from vibecore.evidence.levels import read_levels
from vibecore.evidence.line_findings import line_on_no_order, line_that_turns_with_engine
from vibecore.evidence.scene import Scene, scene_of
from vibecore.model import Line
from vibecore.repair.job import fault_lines

SLOW_HZ = 100.0
ORDER = 3.3  # at 1100 rpm it lies at 60.5 Hz


def idle_and_raised(*raised: Line, fs_hz: float = SLOW_HZ, rms: float = 0.3) -> Scene:
    return scene_of(
        [
            maker.made("a", lines=[line(ORDER, 700, rms)], fs_hz=fs_hz, whole=0.4),
            maker.made("b", rpm=1100.0, hold="raised", lines=raised, fs_hz=fs_hz, whole=0.4),
        ]
    )


@pytest.mark.parametrize(("seen_hz", "same"), [(39.5, True), (37.0, False)])
def test_a_line_is_followed_to_where_a_slow_phone_folds_it(seen_hz: float, same: bool) -> None:
    scene = idle_and_raised(Line(seen_hz, seen_hz * 60 / 1100, 0.3, 20.0, "unknown"))
    kept = lines.strongest_kept(scene, "order")
    assert (kept is not None and kept.order == pytest.approx(ORDER)) == same


def test_a_line_that_no_other_recording_can_show_is_told_of_as_one_alone() -> None:
    """And it is no sign of a calm belt that it was not found again."""
    scene = idle_and_raised()
    assert line_that_turns_with_engine(scene, maker.FOUR) is None
    found = line_on_no_order(scene, maker.FOUR)
    assert found is not None
    assert found.log_likelihood["accessory-drive"] > found.log_likelihood["normal"]


def test_a_line_that_another_recording_would_show_and_does_not_is_no_belts() -> None:
    scene = idle_and_raised(fs_hz=200.0, rms=0.1)
    found = line_that_turns_with_engine(scene, maker.FOUR)
    assert found is not None
    assert found.log_likelihood["accessory-drive"] < found.log_likelihood["normal"]


@pytest.mark.parametrize(("fan", "read"), [(0.01, True), (0.2, False)])
def test_a_fan_inside_an_orders_band_takes_the_order_if_it_is_most_of_it(fan: float, read: bool) -> None:
    """At 1100 rpm order 1 stands at 18.33 Hz, a fan at 18.9: by 0.57 Hz beside it, and within 0.05 order."""
    scene = scene_of(
        [
            maker.made("a", lines=[Line(18.9, None, 0.2, 20.0, "clock")]),
            maker.made("off", rpm=None, hold="engine off", lines=[Line(18.9, None, fan, 20.0, "clock")]),
            maker.made("b", {1.0: 0.2}, rpm=1100.0, hold="raised"),
        ]
    )
    assert lines.with_engine_off(scene) is not None
    raised = [r for r in read_levels(scene, maker.FOUR.engine) if r.family == "one" and r.held == "raised"]
    assert bool(raised) == read


def test_the_proof_of_a_fan_goes_by_the_strongest_line_that_is_not_the_engines() -> None:
    """What a line keeps to is often not known: a faint one that is known to be a motor's is no better."""
    faint, strong = Line(31.0, 2.66, 0.009, 20.0, "clock"), Line(24.1, 2.07, 0.475, 20.0, "unknown")
    before = maker.made("a", lines=[faint, strong])
    assert fault_lines("cooling-fan", before, maker.FOUR.engine).hz[0] == pytest.approx(24.1)

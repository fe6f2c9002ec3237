"""Orders of the engine that a slow phone folds down: sampled at fs, f is seen at |fs - f| (Shannon, Proc. IRE
37, 1949; from memory).
"""

from __future__ import annotations

import pytest

from tests.evidence import made as maker
from vibecore.evidence import gather
from vibecore.model import Analysis, Line


def _about(hz: float, *analyses: Analysis) -> set[str]:
    """The findings that speak of a line."""
    return {e.finding for e in gather(analyses, maker.FOUR) if f"at {hz:.1f} Hz" in e.evidence.text}


@pytest.mark.parametrize(("hz", "folded"), [(22.88, True), (23.1, True), (21.5, False)])
def test_the_firing_order_folded_down_is_no_belts(hz: float, folded: bool) -> None:
    """Firing at 27 Hz, 49.88 samples a second: 49.88 - 27 = 22.88 Hz."""
    rpm = 27.0 / 2 * 60
    line = Line(hz, hz * 60 / rpm, 0.08, 20.0)
    idle = maker.made("neutral-idle", rpm=rpm, fs_hz=49.88, lines=[line])
    assert _about(hz, idle) == (set() if folded else {"line alone"})
    with_unit = maker.made("on", rpm=rpm, fs_hz=49.88, lines=[line], accessories=("air conditioning",))
    came = _about(hz, maker.made("neutral-idle", rpm=rpm, fs_hz=49.88), with_unit)
    assert ("unit only" in came) == (not folded)


def test_an_order_folded_onto_what_stands_at_another_speed_is_no_fan() -> None:
    """Order 2 at 1783 rpm is 59.44 Hz; at 100.44 samples a second it is seen at 41.0, where the idle has a
    line too. A fast phone sees order 2 where it is, and then what stands at 41.0 twice has a motor."""
    for fs_hz, fan in ((100.44, False), (200.0, True)):
        idle = maker.made(
            "neutral-idle", rpm=815.0, fs_hz=fs_hz, lines=[Line(41.1, 41.1 * 60 / 815, 0.05, 20.0)]
        )
        raised = maker.made(
            "raised", rpm=1783.0, hold="raised", fs_hz=fs_hz, lines=[Line(41.0, 41.0 * 60 / 1783, 0.05, 20.0)]
        )
        found = {(e.finding, e.cause): e.log_ratio_db for e in gather([idle, raised], maker.FOUR)}
        assert (found["line keeps hertz", "cooling-fan"] > 0) == fan


def test_an_idle_that_wanders_smears_what_is_folded_too() -> None:
    """1 % of 27 Hz is 0.27 Hz; 3 % is 0.81."""
    rpm = 27.0 / 2 * 60
    line = Line(22.3, 22.3 * 60 / rpm, 0.08, 20.0)
    for wander, folded in ((0.01, False), (0.03, True)):
        idle = maker.made("neutral-idle", rpm=rpm, fs_hz=49.88, lines=[line], wander=wander)
        assert _about(22.3, idle) == (set() if folded else {"line alone"})

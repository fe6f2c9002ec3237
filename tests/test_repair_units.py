"""A change in level needs both levels in one unit: where one may be in another, nothing is proven.

Outside source: standard gravity, 9.80665 m/s2 exactly (SI Brochure, 9th edition): numbers in g look 19.8 dB
weaker than the same shake in m/s2.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.repair_made import AFTER, FOUR, SOUND, made, on, scaled
from vibecore.model import Analysis, Condition, Recording
from vibecore.reading import read_recording
from vibecore.repair.compare import compare
from vibecore.repair.pair import side_by_side

G = 9.80665
IN_M_S2, NO_UNIT = "time (s),x (m/s2),y (m/s2),z (m/s2)", "time,x,y,z"


def _file(
    header: str, *, scale: float = 1.0, gravity: float = 0.0, step: float = 0.0, seed: int = 1
) -> Recording:
    """A shake of 0.5 m/s2 as a phone's program writes it."""
    rng = np.random.default_rng(seed)
    accel = rng.normal((0.0, 0.0, gravity), 0.5, (4000, 3))
    accel = np.rint(accel / step) * step if step else accel
    rows = [
        f"{i / 100:.3f}," + ",".join(f"{v * scale:.9f}" for v in row) for i, row in enumerate(accel.tolist())
    ]
    return read_recording("\n".join([header, *rows]).encode(), name=f"{'g' if scale < 1 else 'm'}.csv")


def _as_read(recording: Recording, levels: dict[float, float], condition: Condition) -> Analysis:
    return replace(made(levels, condition), recording=recording)


def _before(recording: Recording) -> Analysis:
    return _as_read(recording, scaled(0, ()), replace(AFTER, stage="before"))


def _after(recording: Recording) -> Analysis:
    return _as_read(recording, scaled(-19.8, tuple(SOUND)), AFTER)


def test_an_unmended_car_is_not_cured_by_a_unit_that_nobody_named() -> None:
    named, unnamed = _file(IN_M_S2), _file(NO_UNIT, scale=1 / G)
    got = compare(_before(named), _after(unnamed), on(2.0), engine=FOUR)
    assert got.verdict == "cannot-tell"
    assert got.change_db is None
    assert f"The unit of {unnamed.name} is not known: if it were g, all in it would be 9.8 times" in got.why
    assert "with the same app, with gravity in" in got.why
    pair = side_by_side(_before(named), _after(unnamed), FOUR)
    assert pair.repair is not None
    assert pair.repair.verdict == "cannot-tell"


def test_nor_is_it_worse_where_the_first_was_in_the_other_unit() -> None:
    weaker = replace(_after(_file(NO_UNIT, scale=1 / G)), condition=_before(_file(IN_M_S2)).condition)
    got = compare(weaker, replace(_before(_file(IN_M_S2)), condition=AFTER), on(2.0), engine=FOUR)
    assert got.verdict == "cannot-tell"


@pytest.mark.parametrize(("change_db", "verdict"), [(0.0, "unchanged"), (-8.0, "cured")])
def test_a_change_that_another_unit_would_make_larger_still_stands(change_db: float, verdict: str) -> None:
    """Both ways: in g the second would shake 12 to 20 dB more than the first."""
    after = _as_read(_file(NO_UNIT, seed=2), scaled(change_db, tuple(SOUND)), AFTER)
    assert compare(_before(_file(IN_M_S2)), after, on(2.0), engine=FOUR).verdict == verdict
    mended = _as_read(_file(IN_M_S2, seed=2), scaled(-20.0, (2.0,)), AFTER)
    assert compare(_before(_file(NO_UNIT)), mended, on(2.0), engine=FOUR).verdict == "cured"


def test_two_recordings_that_are_no_repair_say_it_too() -> None:
    first, second = _before(_file(IN_M_S2)), _after(_file(NO_UNIT, scale=1 / G))
    second = replace(second, condition=first.condition)
    assert any("is not known" in note for note in side_by_side(first, second, FOUR).notes)


def test_a_unit_assumed_alike_for_both_leaves_their_ratio() -> None:
    one = _file(NO_UNIT)
    assert one.other_unit == "g"
    other = replace(_file(NO_UNIT, scale=0.9999), digest="another")
    assert compare(_before(one), _after(other), on(2.0), engine=FOUR).verdict == "cured"


def test_the_same_assumption_for_files_of_two_programs_does_not() -> None:
    one, other = _file(NO_UNIT), _file("t,accX,accY,accZ", scale=1 / G)
    assert compare(_before(one), _after(other), on(2.0), engine=FOUR).verdict == "cannot-tell"


@pytest.mark.parametrize(
    ("why", "recording"),
    [
        ("named", _file(IN_M_S2)),
        ("gravity in m/s2", _file(NO_UNIT, gravity=G)),
        ("gravity in g", _file(NO_UNIT, gravity=G, scale=1 / G)),
        ("a sensor's step of g/2048 in m/s2", _file(NO_UNIT, step=G / 2048)),
        ("a sensor's step of g/2048 in g", _file(NO_UNIT, step=G / 2048, scale=1 / G)),
    ],
)
def test_a_size_that_is_sure_keeps_no_verdict_back(why: str, recording: Recording) -> None:
    """Sensors have a power of two steps to 1 g: data sheets of phone-class parts, +-2 g to +-16 g."""
    assert recording.other_unit == "", why
    assert (
        compare(_before(_file(IN_M_S2, seed=2)), _after(recording), on(2.0), engine=FOUR).verdict == "cured"
    ), why


def test_a_header_that_the_numbers_belie_is_not_sure() -> None:
    """Numbers in g under a header of m/s2 are quieter than any phone's noise."""
    rows = np.random.default_rng(2).normal(0, 0.0005, (4000, 3)).tolist()
    lines = [f"{i / 100:.3f}," + ",".join(f"{v:.9f}" for v in row) for i, row in enumerate(rows)]
    doubted = read_recording("\n".join([IN_M_S2, *lines]).encode(), name="doubted.csv")
    assert doubted.other_unit == "g"

"""Evidence from lines on no engine order: belt, fan.

A line that keeps its order as the speed changes turns with the engine, one that keeps its hertz has its own
motor: by definition of the order.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import numpy as np
import pytest

from tests.evidence import made as maker
from tests.evidence.made import combined_db, first, line, notes_of
from vibecore.causes.ranking import rank
from vibecore.engine import Engine, Vehicle
from vibecore.evidence import gather
from vibecore.model import Analysis, Line


def test_a_line_that_keeps_its_order_turns_with_the_engine() -> None:
    vehicle = Vehicle(Engine(4), pulleys_mm={"crank": 160.0, "alternator": 58.0})
    order = 160 / 58  # the belt's speed is common: turns are inverse to diameters
    analyses = [
        maker.made("neutral-idle", lines=[line(order, 700, 0.2)], whole=0.23),
        maker.made(
            "raised-idle", rpm=1100.0, hold="raised", lines=[line(order * 1.002, 1100, 0.25)], whole=0.28
        ),
    ]
    evidence = gather(analyses, vehicle)
    assert rank(evidence)[0].id == "accessory-drive"
    assert any("the alternator turns at 2.76" in e.evidence.text for e in evidence)
    assert combined_db(evidence)["cooling-fan"] < 0  # its hertz moved by half


def test_a_manual_gearbox_too_turns_with_the_engine_while_the_clutch_is_up() -> None:
    """Gears of 20 and 28 teeth turn the second shaft 20 / 28 = 0.71 times a turn of the crank, in neutral
    too; behind a converter there is no such shaft, and none turns 2.7 times."""

    def driveline_db(order: float, transmission: Literal["manual", "automatic"]) -> float:
        kept = [maker.made("n", lines=[line(order, 700, 0.2)], whole=0.25)]
        kept += [maker.made("r", rpm=1100.0, hold="raised", lines=[line(order, 1100, 0.25)], whole=0.25)]
        said = gather(kept, replace(maker.FOUR, transmission=transmission))
        found = {e.cause: e.log_ratio_db for e in said if e.finding == "line keeps order"}
        assert found["accessory-drive"] > 10
        return found["driveline"]

    assert driveline_db(20 / 28, "manual") > 3
    assert driveline_db(20 / 28, "automatic") == driveline_db(2.7, "manual") == 0


def test_a_line_that_keeps_its_hertz_has_its_own_motor() -> None:
    fan = [Line(31.0, 31.0 * 60 / 700, 0.2, 20.0), Line(31.1, 31.1 * 60 / 1100, 0.2, 20.0)]
    analyses = [
        maker.made("neutral-idle", lines=fan[:1], whole=0.25),
        maker.made("raised-idle", rpm=1100.0, hold="raised", lines=fan[1:], whole=0.25),
        maker.made("engine-off", rpm=None, hold="engine off", lines=[Line(31.0, None, 0.2, 25.0)]),
    ]
    assert first(analyses, maker.FOUR) == "cooling-fan"
    assert combined_db(gather(analyses, maker.FOUR))["accessory-drive"] < 0  # its order moved by half


def test_a_pulleys_line_that_meets_the_firing_order_at_another_speed_is_no_fan() -> None:
    """0.885 x 1314 / 60 = 19.38 Hz, and order 2 at 590 rpm is 19.67 Hz: near, but the line itself has moved
    to 8.7 Hz, as what turns with the engine does."""
    idle = maker.made("neutral-idle", rpm=590.0, lines=[line(0.885, 590, 0.16)], whole=0.2)
    firing = Line(19.67, 2.0, 0.1, 20.0)
    analyses = [
        replace(idle, lines=(*idle.lines, firing)),
        maker.made("raised-idle", rpm=1314.0, hold="raised", lines=[line(0.885, 1314, 0.2)], whole=0.22),
    ]
    said = gather(analyses, maker.FOUR)
    assert rank(said)[0].id == "accessory-drive"
    assert combined_db(said)["cooling-fan"] < 0


@pytest.mark.parametrize(
    ("order", "rms", "speaks"), [(0.83, 0.16, True), (2.83, 0.16, False), (0.83, 0.012, False)]
)
def test_most_of_the_shake_in_gear_only_comes_from_behind_the_converter(
    order: float, rms: float, speaks: bool
) -> None:
    """Loaded, what turns behind a converter turns at the crank's speed or less; a weak line comes and goes on
    sound cars. Common practice, no source."""
    analyses = [
        maker.made("neutral-idle", whole=0.12),
        maker.made("drive-idle", rpm=640.0, gear="drive", lines=[line(order, 640, rms)], whole=0.2),
    ]
    said = {e.cause: e.log_ratio_db for e in gather(analyses, maker.FOUR) if e.finding == "gear only"}
    assert (said["driveline"] > 8) == speaks
    assert speaks or said["driveline"] <= 0


def test_the_same_line_at_the_same_speed_tells_nothing() -> None:
    analyses = [maker.made("a", lines=[line(2.7, 700, 0.2)]), maker.made("b", lines=[line(2.7, 701, 0.2)])]
    said = {e.finding for e in gather(analyses, maker.FOUR)}
    assert "line keeps order" not in said
    assert "line keeps hertz" not in said


def _fan_db(rms: float, hertz: float, fs_hz: float = 200.0) -> float:
    """What idle and raised idle say for the fan when a line stays put and the engine's speed is not known."""
    line = Line(hertz, None, rms, 30.0)
    analyses = [
        maker.made("neutral-idle", rpm=None, lines=[line], fs_hz=fs_hz),
        maker.made("raised-idle", rpm=None, hold="raised", lines=[line], fs_hz=fs_hz),
        maker.made("drive-idle", rpm=640.0, gear="drive", fs_hz=fs_hz),
    ]
    evidence = gather(analyses, maker.FOUR)
    found = [e for e in evidence if e.cause == "cooling-fan" and e.finding == "line keeps hertz"]
    return sum(e.log_ratio_db for e in found)


def test_a_fan_is_known_by_its_hertz_whatever_the_engine_did() -> None:
    """Nothing on the crank keeps its hertz from idle to a raised idle. Sampling at fs shows f at |fs - f|
    (the sampling theorem): at 60 samples a second a fan at 48 Hz stands at 12 Hz."""
    assert _fan_db(0.08, 31.0) > 10
    assert _fan_db(0.08, 12.0, fs_hz=60.0) > 10
    assert _fan_db(0.08, 12.0) <= 0  # too slow for a fan where nothing folds


@pytest.mark.parametrize(
    ("gear", "confidence", "speaks"), [("neutral", 1.0, True), ("neutral", 0.7, False), ("drive", 0.7, True)]
)
def test_idles_in_one_gear_that_seem_apart_tell_no_fan(gear: str, confidence: float, speaks: bool) -> None:
    """A line of order 1.74 at 545 rpm, 15.8 Hz, is order 2 at 475: taken for the firing order there it moves
    the speed, and the true firing order at 18.2 Hz seems to stand still. In gear an idle does run slower."""
    idle = maker.made("neutral-idle", rpm=545.0, lines=[Line(18.2, 2.0, 0.1, 30.0)], whole=0.15)
    cooled = maker.made(
        "air-conditioning-on", rpm=475.0, gear=gear, confidence=confidence,
        lines=[Line(18.2, 2.3, 0.1, 30.0)], whole=0.15,
    )  # fmt: skip
    evidence = gather([idle, cooled], maker.FOUR)
    fan = sum(e.log_ratio_db for e in evidence if (e.cause, e.finding) == ("cooling-fan", "line keeps hertz"))
    assert (fan > 5) == speaks


def test_a_line_counts_by_its_share_of_the_shake() -> None:
    """The whole is 0.25 m/s2: a tenth of it is not what anybody feels."""
    known = [
        maker.made("neutral-idle", lines=[Line(31.0, 2.66, rms, 30.0)], whole=0.25) for rms in (0.22, 0.025)
    ]
    raised = [
        maker.made("raised-idle", rpm=1100.0, hold="raised", lines=[Line(31.0, 1.69, rms, 30.0)], whole=0.25)
        for rms in (0.22, 0.025)
    ]
    most, little = (
        combined_db(gather(pair, maker.FOUR))["cooling-fan"] for pair in zip(known, raised, strict=True)
    )
    assert most > 10 > 0 > little


@pytest.mark.parametrize(("fan", "whole", "fault"), [(0.02, 0.03, False), (0.2, 0.25, True)])
def test_a_fan_is_no_fault_for_being_there(fan: float, whole: float, fault: bool) -> None:
    """With the engine off a sound fan is all of the recording, and in a calm car most of the idle. A whole
    shake of 0.1 m/s2 is a good car's (order of magnitude, from memory): nobody feels a fifth of it."""
    lines = [Line(31.0, 31.0 * 60 / 700, fan, 30.0), Line(31.1, 31.1 * 60 / 1100, fan, 30.0)]
    analyses = [
        maker.made("neutral-idle", lines=lines[:1], whole=whole),
        maker.made("raised-idle", rpm=1100.0, hold="raised", lines=lines[1:], whole=whole),
        maker.made(
            "engine-off", rpm=None, hold="engine off", lines=[Line(31.0, None, fan, 30.0)], whole=1.05 * fan
        ),
    ]
    assert first(analyses, maker.FOUR) == ("cooling-fan" if fault else "normal")


def test_a_fan_heard_with_the_engine_off_too_is_weighed_once() -> None:
    """One motor, heard twice, is as strong as it is; on the battery it turns up to 12 / 14 slower, as the
    voltage (a direct-current motor's speed goes with it)."""

    def off_db(hertz: float) -> float:
        kept = [Line(31.0, 31.0 * 60 / rpm, 0.2, 30.0) for rpm in (700, 1100)]
        analyses = [
            maker.made("neutral-idle", lines=kept[:1], whole=0.25),
            maker.made("raised-idle", rpm=1100.0, hold="raised", lines=kept[1:], whole=0.25),
            maker.made("off", rpm=None, hold="engine off", lines=[Line(hertz, None, 0.2, 30.0)], whole=0.2),
        ]
        said = gather(analyses, maker.FOUR)
        return next(e.log_ratio_db for e in said if (e.finding, e.cause) == ("engine off", "cooling-fan"))

    assert off_db(31.0) == pytest.approx(off_db(28.0))
    assert 0 < off_db(28.0) < 3 < 10 < off_db(22.0)


@pytest.mark.parametrize(
    "crank", ["crank", "Crank", "CRANKSHAFT", "crank pulley", "crank_pulley", "Crank-shaft pulley"]
)
def test_a_line_is_put_against_the_pulleys_whatever_the_crank_is_called(crank: str) -> None:
    """A belt that does not slip turns a 60 mm pulley 162 / 60 = 2.7 times a turn of a 162 mm one."""
    pulleys = {crank: 162.0, "alternator": 60.0, "pump": 120.0}
    evidence = gather(belt_lines(), replace(maker.FOUR, pulleys_mm=pulleys))
    texts = [e.evidence.text for e in evidence if e.finding == "line keeps order"]
    assert texts
    assert all("the alternator turns at 2.70" in text for text in texts)
    assert not [text for text in notes_of(evidence) if "pulley" in text]


def test_pulleys_without_a_crank_are_told() -> None:
    evidence = gather(belt_lines(), replace(maker.FOUR, pulleys_mm={"alternator": 60.0, "motor": 162.0}))
    (note,) = [text for text in notes_of(evidence) if "pulley" in text]
    assert "alternator, motor" in note
    assert "'crank'" in note
    assert not [text for text in notes_of(gather(belt_lines(), maker.FOUR)) if "pulley" in text]


def belt_lines() -> list[Analysis]:
    raised = maker.made("raised", rpm=1100.0, hold="raised", lines=[line(2.7, 1100, 0.3)])
    return [maker.made("neutral", lines=[line(2.7, 700, 0.2)]), raised]


@pytest.mark.parametrize(
    ("pulleys", "belt_mm", "likeliest", "names"),
    [
        ({"water_pump": 60.0, "alternator": 90.0}, None, ["water-pump"], "water_pump turns at 2.70"),
        ({"A/C": 60.0, "pump": 90.0}, None, ["air-conditioning-compressor"], "A/C turns at 2.70"),
        (
            {"Power steering pump": 60.0, "generator": 60.3},
            None,
            ["alternator", "steering-pump"],
            "Power steering pump turns at 2.70 and the generator turns at 2.69",
        ),
        ({"vacuum pump": 60.0}, None, [], "vacuum pump turns at 2.70"),  # no part that anybody listed
        ({"alternator": 90.0}, 162 * math.pi / 2.7, ["belt"], "belt itself goes round at 2.70"),
        ({"alternator": 90.0}, None, [], ""),
    ],
)
def test_the_unit_that_turns_as_the_line_does_is_the_likeliest_part(
    pulleys: dict[str, float], belt_mm: float | None, likeliest: list[str], names: str
) -> None:
    """A belt that does not slip turns a 60 mm pulley 162 / 60 = 2.7 times a turn of a 162 mm one."""
    given = replace(maker.FOUR, pulleys_mm={"crank": 162.0, **pulleys}, belt_length_mm=belt_mm)
    plain, matched = (
        next(c for c in rank(gather(belt_lines(), vehicle)) if c.id == "accessory-drive")
        for vehicle in (maker.FOUR, given)
    )
    assert matched.probability == pytest.approx(plain.probability)  # parts move within their cause
    was = {s.id: s.probability for s in plain.suspects}
    assert sorted(s.id for s in matched.suspects if s.probability > was[s.id] + 0.01) == likeliest
    assert sorted(s.id for s in matched.suspects[: len(likeliest)]) == likeliest
    reasons = [e.text for e in matched.evidence if e.says == "note"]
    assert len(reasons) == len(likeliest)
    for part in matched.suspects[: len(likeliest)]:
        assert [r for r in reasons if r.endswith(f", which points at '{part.name}' among the parts")]
    assert names in " ".join(e.text for e in matched.evidence)


def test_an_idle_under_the_makers_figure_points_at_the_idle() -> None:
    """Of what lets an idle meet a natural frequency, the catalogue's parts, one is its own speed."""
    analyses = maker.job({2.0: 0.6}, {2.0: 0.45}, {2.0: 0.05})  # 700 rpm
    low, right = (
        rank(gather(analyses, replace(maker.FOUR, idle_spec_rpm=spec))) for spec in ((760, 800), (690, 740))
    )
    shares = [{s.id: s.probability for c in ranked for s in c.suspects} for ranked in (low, right)]
    assert shares[0]["idle-too-low"] > 0.9
    assert shares[1]["idle-too-low"] == pytest.approx(0.45)


@pytest.mark.parametrize(
    ("unit", "fans"), [("cooling fan", True), ("Fan", True), ("air conditioning", False), ("fanfare", False)]
)
def test_what_comes_with_a_fan_that_is_switched_on_is_the_fans(unit: str, fans: bool) -> None:
    """By definition: switched on, it alone is new. Another unit may bring the fan, or shake by its belt."""
    came = maker.made("on", accessories=(unit,), lines=[Line(21.2, 21.2 * 60 / 700, 0.2, 24.0)], whole=0.25)
    evidence = gather([maker.made("neutral-idle", whole=0.15), came], maker.FOUR)
    about = [e for e in evidence if "21.2 Hz" in e.evidence.text]
    total = combined_db(about)
    assert total["cooling-fan"] > 5
    assert (total["accessory-drive"] == 0) == fans
    assert (first([maker.made("neutral-idle", whole=0.15), came], maker.FOUR) == "cooling-fan") == fans


def test_a_fan_that_is_switched_on_and_brings_no_line_is_sound() -> None:
    analyses = [maker.made("neutral-idle"), maker.made("on", accessories=("cooling fan",))]
    said = {(e.finding, e.cause): e.log_ratio_db for e in gather(analyses, maker.FOUR)}
    assert said["fan only", "cooling-fan"] < -3
    assert said["fan only", "accessory-drive"] == 0


def test_with_a_fan_on_a_line_that_was_there_before_may_be_the_belts() -> None:
    """Without the engine's speed in neutral nothing is known of what was there."""
    there = [Line(21.2, 21.2 * 60 / 700, 0.2, 24.0)]
    on = maker.made("on", accessories=("cooling fan",), lines=there, whole=0.25)
    for before in (maker.made("n", lines=there, whole=0.25), maker.made("n", rpm=None)):
        said = {(e.finding, e.cause): e.log_ratio_db for e in gather([before, on], maker.FOUR)}
        assert said["line alone", "accessory-drive"] > 5


@pytest.mark.parametrize(
    ("keeps", "cause", "other"),
    [("order", "accessory-drive", "cooling-fan"), ("hertz", "cooling-fan", "accessory-drive")],
)
def test_the_idles_own_wander_tells_belt_from_fan(keeps: str, cause: str, other: str) -> None:
    """One idle that drifts from 11.5 to 12.5 turns a second: a belt's line goes with it, a fan's stays."""
    idle = maker.made("neutral-idle", rpm=720.0, lines=[Line(32.4, 2.7, 0.2, 25.0)], whole=0.25)
    assert idle.speed is not None
    t = np.arange(len(idle.signal.good)) / maker.FS_HZ
    angle = 11.5 * t + t**2 / (2 * t[-1])
    shake = 0.2 * 2**0.5 * np.sin(2 * np.pi * (2.7 * angle if keeps == "order" else 32.4 * t))
    idle = replace(
        idle,
        signal=replace(idle.signal, accel_m_s2=np.outer(shake, [0.0, 0.0, 1.0])),
        speed=replace(idle.speed, angle_rev=angle),
    )
    said = {e.cause: e for e in gather([idle], maker.FOUR) if e.finding == "line alone"}
    assert said[cause].log_ratio_db > said[other].log_ratio_db + 6
    assert f"keeps its {keeps} as the idle wanders" in said[cause].evidence.text

"""Evidence on recordings made by hand: each cause's signature as the physics has it must speak for it.

The signatures are textbook facts: a four-stroke's working cycle is two revolutions, so one weak cylinder
shows at order 0.5 and its multiples; imbalance turns with the crank at order 1; a four fires at order 2
(Taylor, The Internal Combustion Engine in Theory and Practice; Den Hartog, Mechanical Vibrations; from
memory).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from types import ModuleType

import numpy as np
import pytest

from vibecore.causes.ranking import rank
from vibecore.engine import Engine, Vehicle
from vibecore.evidence import CauseEvidence, gather
from vibecore.evidence.scene import scene_of
from vibecore.model import Analysis, Line


def combined_db(evidence):
    """Sum of the log ratios of each cause, dB."""
    total: Counter[str] = Counter()
    for item in evidence:
        total[item.cause] += item.log_ratio_db
    return total


def first(analyses: list[Analysis], vehicle: Vehicle) -> str:
    return rank(gather(analyses, vehicle))[0].id


MISFIRE = {0.5: 0.4, 1.0: 0.3, 1.5: 0.08}


def test_one_dead_cylinder(maker: ModuleType) -> None:
    analyses = [
        maker.made("neutral-idle", MISFIRE, coherence=0.95),
        maker.made("drive-idle", MISFIRE, rpm=640.0, gear="drive", coherence=0.95),
        maker.made("raised-idle", MISFIRE, rpm=1100.0, hold="raised", coherence=0.95),
    ]
    ranked = rank(gather(analyses, maker.FOUR))
    assert ranked[0].id == "cylinder-misfire"
    text = " ".join(e.text for e in ranked[0].evidence)
    assert "engine order 0.5 is" in text
    assert "times as strong as in a sound four (+" in text
    assert "one cylinder is not pulling" in text
    assert "in neutral at idle" in text


def test_uneven_burning(maker: ModuleType) -> None:
    loose = {0.5: 0.12, 1.0: 0.05, 1.5: 0.04}
    analyses = [
        maker.made("neutral-idle", loose, coherence=0.05, wander=0.05, ground=0.12),
        maker.made("drive-idle", loose, rpm=640.0, gear="drive", coherence=0.05, wander=0.05, ground=0.12),
    ]
    assert first(analyses, maker.FOUR) == "uneven-combustion"


def test_bad_mount(maker: ModuleType) -> None:
    analyses = maker.job({2.0: 0.45, 4.0: 0.08}, {2.0: 1.1, 4.0: 0.15}, {2.0: 0.25, 4.0: 0.06})
    assert first(analyses, maker.FOUR) == "engine-mount"


def test_idle_on_a_natural_frequency(maker: ModuleType) -> None:
    analyses = maker.job({2.0: 0.6}, {2.0: 0.45}, {2.0: 0.05})
    assert first(analyses, maker.FOUR) == "idle-resonance"


def test_imbalance(maker: ModuleType) -> None:
    analyses = maker.job({1.0: 0.35}, {1.0: 0.4}, {1.0: 0.3})
    assert first(analyses, maker.FOUR) == "rotating-imbalance"


def test_a_sound_car(maker: ModuleType) -> None:
    assert first(maker.job({}, {2.0: 0.14}, {2.0: 0.07}), maker.FOUR) == "normal"


def line(order: float, rpm: float, rms: float, drifts: str = "unknown") -> Line:
    return Line(order * rpm / 60, order, rms, 20.0, drifts)  # type: ignore[arg-type]


def test_a_line_that_keeps_its_order_turns_with_the_engine(maker: ModuleType) -> None:
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


def test_a_line_that_keeps_its_hertz_has_its_own_motor(maker: ModuleType) -> None:
    fan = [Line(31.0, 31.0 * 60 / 700, 0.2, 20.0), Line(31.1, 31.1 * 60 / 1100, 0.2, 20.0)]
    analyses = [
        maker.made("neutral-idle", lines=fan[:1]),
        maker.made("raised-idle", rpm=1100.0, hold="raised", lines=fan[1:]),
        maker.made("engine-off", rpm=None, hold="engine off", lines=[Line(31.0, None, 0.2, 25.0)]),
    ]
    assert first(analyses, maker.FOUR) == "cooling-fan"
    assert combined_db(gather(analyses, maker.FOUR))["accessory-drive"] < 0  # its order moved by half


def test_the_same_line_at_the_same_speed_tells_nothing(maker: ModuleType) -> None:
    analyses = [maker.made("a", lines=[line(2.7, 700, 0.2)]), maker.made("b", lines=[line(2.7, 701, 0.2)])]
    said = {e.finding for e in gather(analyses, maker.FOUR)}
    assert "line keeps order" not in said
    assert "line keeps hertz" not in said


def test_order_one_in_gear_only_points_at_the_driveline(maker: ModuleType) -> None:
    total = combined_db(gather(maker.job({}, {1.0: 0.4}, {}), maker.FOUR))
    assert total["driveline"] > 5
    assert total["driveline"] > total["rotating-imbalance"]


def test_judder_of_several_recordings_is_told_as_their_mean_and_of_them_all(maker: ModuleType) -> None:
    """0.01, 0.1 and 0.1 m/s2 between the orders: the mean of -40 and -20 dB is -30, and -20 is 10 above."""
    neutral = [maker.made("a", ground=0.01), maker.made("b", ground=0.1)]
    drive = maker.made("c", gear="drive", ground=0.1)
    said = [e.evidence for e in gather([*neutral, drive], maker.FOUR) if e.finding == "judder"]
    assert said
    assert all("is on average" in e.text and "(+10 dB)" in e.text for e in said)
    assert all(set(e.seen_in) == {"a", "b", "c"} for e in said)
    alone = [e.evidence for e in gather([neutral[1], drive], maker.FOUR) if e.finding == "judder"]
    assert not any("average" in e.text for e in alone)


def test_transmissibility_of_a_mount(maker: ModuleType) -> None:
    """A mount that passes half of it (6 dB) no longer isolates; a sound one holds back 20 dB (rule of
    thumb).
    """

    def ratio(body: float) -> float:
        engine_side = maker.made("on-engine", {2.0: 1.0}, place="engine")
        body_side = maker.made("on-body", {2.0: body}, place="body")
        found = [e for e in gather([engine_side, body_side], maker.FOUR) if e.finding == "isolation"]
        return {e.cause: e.log_ratio_db for e in found}["engine-mount"]

    assert ratio(0.5) > 3
    assert ratio(0.05) < -1


def test_isolation_is_told_by_the_body_side_in_whatever_order_the_recordings_stand(
    maker: ModuleType,
) -> None:
    """The wheel has modes of its own; a mount is judged beside its body side (`ISOLATION_DB`)."""
    sides = [
        maker.made(place, {2.0: level}, place=place)
        for place, level in (("engine", 1.0), ("steering wheel", 2.0), ("body", 0.05))
    ]
    for made in (sides, sides[::-1]):
        found = [e.evidence for e in gather(made, maker.FOUR) if e.finding == "isolation"]
        assert found
        assert all(set(e.seen_in) == {"engine", "body"} for e in found)


@pytest.mark.parametrize("unsure", ["on-engine", "on-body"])
def test_isolation_counts_as_far_as_both_speeds_are_sure(maker: ModuleType, unsure: str) -> None:
    """With the rest of the chance it tells nothing: a ratio r becomes c r + 1 - c (the law of
    total probability)."""

    def ratio(confidence: float) -> float:
        sides = (("on-engine", 1.0, "engine"), ("on-body", 0.5, "body"))
        pair = [maker.made(name, {2.0: level}, place=place) for name, level, place in sides]
        sure = [confidence if name == unsure else 1.0 for name, *_ in sides]
        pair = [replace(a, speed=replace(a.speed, confidence=c)) for a, c in zip(pair, sure, strict=True)]
        found = {e.cause: e.log_ratio_db for e in gather(pair, maker.FOUR) if e.finding == "isolation"}
        return 10 ** (found["engine-mount"] / 10)

    assert ratio(0.4) == pytest.approx(0.4 * ratio(1.0) + 0.6)


def test_after_recordings_do_not_rank_the_cause(maker: ModuleType) -> None:
    before = [maker.made("neutral-idle", MISFIRE, coherence=0.95)]
    after = maker.made("after-neutral-idle", stage="after")
    assert rank(gather([*before, after], maker.FOUR)) == rank(gather(before, maker.FOUR))
    assert gather([after], maker.FOUR)


@pytest.mark.parametrize("rpm", [None, 700.0])
def test_what_cannot_be_read_is_noted_and_says_nothing(maker: ModuleType, rpm: float | None) -> None:
    """No speed: no evidence but the whole shake. Fifty samples a second: a four's firing order at 700 rpm
    (23.3 Hz) cannot be seen.
    """
    evidence = gather([maker.made("neutral-idle", rpm=rpm, fs_hz=50.0)], maker.FOUR)
    notes = [e.evidence.text for e in evidence if e.evidence.says == "note"]
    if rpm is None:
        assert any("speed is not known in neutral at idle" in n for n in notes)
        assert all(e.log_ratio_db == 0 for e in evidence if e.finding != "whole shake")
    else:
        assert any("firing order cannot be seen in neutral at idle" in n for n in notes)
        assert "firing" not in {e.finding for e in evidence}


def _fan_db(maker: ModuleType, rms: float, hertz: float, fs_hz: float = 200.0) -> float:
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


def test_a_fan_is_known_by_its_hertz_whatever_the_engine_did(maker: ModuleType) -> None:
    """Nothing on the crank keeps its hertz from idle to a raised idle. Sampling at fs shows f at |fs - f|
    (the sampling theorem): at 60 samples a second a fan at 48 Hz stands at 12 Hz."""
    assert _fan_db(maker, 0.08, 31.0) > 10
    assert _fan_db(maker, 0.08, 12.0, fs_hz=60.0) > 10
    assert _fan_db(maker, 0.08, 12.0) <= 0  # too slow for a fan where nothing folds


@pytest.mark.parametrize(
    ("gear", "confidence", "speaks"), [("neutral", 1.0, True), ("neutral", 0.7, False), ("drive", 0.7, True)]
)
def test_idles_in_one_gear_that_seem_apart_tell_no_fan(
    maker: ModuleType, gear: str, confidence: float, speaks: bool
) -> None:
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


def test_a_line_counts_by_its_share_of_the_shake(maker: ModuleType) -> None:
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


def test_what_rests_on_an_unsure_speed_counts_for_less_and_is_said(maker: ModuleType) -> None:
    """Bayes: with chance p that the speed is right, a likelihood ratio L becomes p L + 1 - p at most."""
    sums = {}
    for confidence in (1.0, 0.6):
        analysis = maker.made("neutral-idle", MISFIRE, coherence=0.97, confidence=confidence)
        evidence = gather([analysis], maker.FOUR)
        steadiness = [e for e in evidence if e.finding == "steadiness" and e.cause == "cylinder-misfire"]
        sums[confidence] = steadiness[0].log_ratio_db
        notes = [e.evidence.text for e in evidence if e.evidence.says == "note"]
        assert any("60 % sure" in n for n in notes) == (confidence < 0.8)
    assert sums[0.6] == pytest.approx(10 * np.log10(0.6 * 10 ** (sums[1.0] / 10) + 0.4), abs=0.01)


def test_nothing_recorded_gives_no_evidence(maker: ModuleType) -> None:
    assert all(e.log_ratio_db == 0 for e in gather([], maker.FOUR))


@pytest.mark.parametrize("cylinders", range(1, 17))
@pytest.mark.parametrize("strokes", [2, 4])
def test_every_engine_can_be_judged(maker: ModuleType, cylinders: int, strokes: int) -> None:
    vehicle = Vehicle(Engine(cylinders, strokes))
    analyses = [
        maker.made("n", engine=vehicle.engine),
        maker.made("r", rpm=1100.0, hold="raised", engine=vehicle.engine),
    ]
    ranked = rank(gather(analyses, vehicle), vehicle=vehicle)
    assert sum(r.probability for r in ranked) == pytest.approx(1)


def test_no_single_finding_is_past_a_hundred_to_one(maker: ModuleType) -> None:
    analyses = maker.job({0.5: 50.0, 1.0: 50.0, 2.0: 50.0}, {1.0: 90.0}, {2.0: 0.001})
    assert all(abs(e.log_ratio_db) <= 20.0 for e in gather(analyses, maker.FOUR))


def test_recordings_are_sorted_by_what_was_said_and_by_speed(maker: ModuleType) -> None:
    told = maker.made("a")
    raised = maker.made("b", rpm=1100.0, hold=None)
    road = maker.made("c", rpm=2000.0, gear="drive", hold="raised")
    scene = scene_of([told, raised, road, maker.made("d", place="engine")])
    assert [a.name for a in scene.role("neutral")] == ["a"]
    assert [a.name for a in scene.role("raised")] == ["b"]
    assert [a.name for a in scene.role("road")] == ["c"]
    assert scene.place == "steering wheel"


def test_road_recordings_with_a_line_at_wheel_rate(maker: ModuleType) -> None:
    """A 0.63 m wheel at 90 km/h turns 25 / (pi x 0.63) = 12.6 times a second."""
    wheel = [Line(12.6, None, 0.4, 25.0)]
    analyses = [maker.made("road", rpm=2500.0, gear="drive", hold="raised", lines=wheel)]
    assert first(analyses, maker.FOUR) == "wheel-imbalance"


def test_a_car_that_hardly_shakes_is_nobodys_complaint(maker: ModuleType) -> None:
    """Wheel at idle: 0.1 m/s2 in good cars, 0.5 in poor ones (order of magnitude, from memory)."""
    good, poor = (
        {
            e.cause: e.log_ratio_db
            for e in gather([maker.made("n", whole=w)], maker.FOUR)
            if e.finding == "whole shake" and e.log_ratio_db
        }
        for w in (0.1, 0.5)
    )
    assert set(good) == set(poor)
    assert all(db < 0 for db in good.values())
    assert all(db > 0 for db in poor.values())
    assert "normal" not in good
    on_engine = gather([maker.made("n", whole=0.5, place="engine")], maker.FOUR)
    assert not any(e.finding == "whole shake" for e in on_engine)


@pytest.mark.parametrize(
    "crank", ["crank", "Crank", "CRANKSHAFT", "crank pulley", "crank_pulley", "Crank-shaft pulley"]
)
def test_a_line_is_put_against_the_pulleys_whatever_the_crank_is_called(
    maker: ModuleType, crank: str
) -> None:
    """A belt that does not slip turns a 60 mm pulley 162 / 60 = 2.7 times a turn of a 162 mm one."""
    pulleys = {crank: 162.0, "alternator": 60.0, "pump": 120.0}
    evidence = gather(belt_lines(maker), replace(maker.FOUR, pulleys_mm=pulleys))
    texts = [e.evidence.text for e in evidence if e.finding == "line keeps order"]
    assert texts
    assert all("the alternator turns at 2.70" in text for text in texts)
    assert not [text for text in notes_of(evidence) if "pulley" in text]


def test_pulleys_without_a_crank_are_told(maker: ModuleType) -> None:
    evidence = gather(belt_lines(maker), replace(maker.FOUR, pulleys_mm={"alternator": 60.0, "motor": 162.0}))
    (note,) = [text for text in notes_of(evidence) if "pulley" in text]
    assert "alternator, motor" in note
    assert "'crank'" in note
    assert not [text for text in notes_of(gather(belt_lines(maker), maker.FOUR)) if "pulley" in text]


def belt_lines(maker: ModuleType) -> list[Analysis]:
    raised = maker.made("raised", rpm=1100.0, hold="raised", lines=[line(2.7, 1100, 0.3)])
    return [maker.made("neutral", lines=[line(2.7, 700, 0.2)]), raised]


def notes_of(evidence: Sequence[CauseEvidence]) -> list[str]:
    return [e.evidence.text for e in evidence if e.evidence.says == "note"]


@pytest.mark.parametrize("which", [0, 1])
def test_two_recordings_of_one_name_keep_their_own_confidence(maker: ModuleType, which: int) -> None:
    """a/idle.csv and b/idle.csv: what they say is as for two names, and the words tell them apart."""

    def judged(names: tuple[str, str]) -> tuple[CauseEvidence, ...]:
        sides = (("engine", 1.0), ("body", 0.5))
        pair = [
            maker.made(name, {2.0: level}, place=place, confidence=0.4 if i == which else 1.0)
            for i, (name, (place, level)) in enumerate(zip(names, sides, strict=True))
        ]
        return gather(pair, maker.FOUR)

    alike, apart = judged(("idle.csv", "idle.csv")), judged(("one.csv", "two.csv"))
    assert [e.log_ratio_db for e in alike] == [e.log_ratio_db for e in apart]
    assert {name for e in alike for name in e.evidence.seen_in} == {"idle.csv"}
    (note,) = [text for text in notes_of(alike) if "40 % sure" in text]
    assert f"on the {('engine', 'body')[which]}" in note

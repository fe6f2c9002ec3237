"""Evidence on recordings made by hand: each cause's signature as the physics has it must speak for it.

The signatures are textbook facts: a four-stroke's working cycle is two revolutions, so one weak cylinder
shows at order 0.5 and its multiples; imbalance turns with the crank at order 1; a four fires at order 2
(Taylor, The Internal Combustion Engine in Theory and Practice; Den Hartog, Mechanical Vibrations; from
memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.evidence import made as maker
from tests.evidence.made import combined_db, first, notes_of
from vibecore.causes.ranking import rank
from vibecore.engine import Engine, Vehicle
from vibecore.evidence import CauseEvidence, gather
from vibecore.evidence.scene import scene_of
from vibecore.model import Analysis

MISFIRE = {0.5: 0.4, 1.0: 0.3, 1.5: 0.08}


def test_one_dead_cylinder() -> None:
    analyses = [
        maker.made("neutral-idle", MISFIRE, coherence=0.95),
        maker.made("drive-idle", MISFIRE, rpm=640.0, gear="drive", coherence=0.95),
        maker.made("raised-idle", MISFIRE, rpm=1100.0, hold="raised", coherence=0.95),
    ]
    ranked = rank(gather(analyses, maker.FOUR))
    assert ranked[0].id == "cylinder-misfire"
    text = " ".join(e.text for e in ranked[0].evidence)
    # All half orders below the firing order are weighed together, and held against a sound car's sum.
    assert "the shake on the half orders (mostly 0.5) is" in text
    assert "times as strong as in a sound four (+" in text
    assert "one cylinder is not pulling" in text
    assert "in neutral at idle" in text


def test_a_line_that_sinks_in_its_floor_is_given_no_strength_but_the_most_it_can_be() -> None:
    """Where the 95 % interval reaches down to nothing only its upper end is known: here 0.011 m/s2 on either
    half order, 0.0156 together."""
    sunk = maker.made("neutral-idle", {0.5: 0.01, 1.5: 0.01})
    assert sunk.orders is not None
    levels = tuple(replace(lv, low_m_s2=0.0) if lv.order in (0.5, 1.5) else lv for lv in sunk.orders.levels)
    sunk = replace(sunk, orders=replace(sunk.orders, levels=levels))
    (text,) = {e.evidence.text.rpartition(":")[0] for e in gather([sunk], maker.FOUR) if e.finding == "half"}
    assert text == "the shake on the half orders does not stand out in neutral at idle, 0.0156 m/s2 at most"


def test_a_change_from_or_to_a_line_that_sinks_in_its_floor_is_not_told_in_times() -> None:
    neutral, drive, raised = maker.job({}, {}, {})
    assert raised.orders is not None
    levels = tuple(replace(lv, low_m_s2=0.0) if lv.order == 2.0 else lv for lv in raised.orders.levels)
    raised = replace(raised, orders=replace(raised.orders, levels=levels))
    (text,) = {
        e.evidence.text.rpartition(":")[0]
        for e in gather([neutral, drive, raised], maker.FOUR)
        if e.finding == "raised"
    }
    assert text == "the firing order (2) does not stand out in neutral at raised idle, 0.110 m/s2 at most"


def test_uneven_burning() -> None:
    loose = {0.5: 0.12, 1.0: 0.05, 1.5: 0.04}
    analyses = [
        maker.made("neutral-idle", loose, coherence=0.05, wander=0.05, ground=0.12),
        maker.made("drive-idle", loose, rpm=640.0, gear="drive", coherence=0.05, wander=0.05, ground=0.12),
    ]
    assert first(analyses, maker.FOUR) == "uneven-combustion"


def test_bad_mount() -> None:
    analyses = maker.job({2.0: 0.45, 4.0: 0.08}, {2.0: 1.1, 4.0: 0.15}, {2.0: 0.25, 4.0: 0.06})
    assert first(analyses, maker.FOUR) == "engine-mount"


def test_idle_on_a_natural_frequency() -> None:
    analyses = maker.job({2.0: 0.6}, {2.0: 0.45}, {2.0: 0.05})
    assert first(analyses, maker.FOUR) == "idle-resonance"


def test_imbalance() -> None:
    analyses = maker.job({1.0: 0.35}, {1.0: 0.4}, {1.0: 0.3})
    assert first(analyses, maker.FOUR) == "rotating-imbalance"


def test_a_sound_car() -> None:
    assert first(maker.job({}, {2.0: 0.14}, {2.0: 0.07}), maker.FOUR) == "normal"


def test_order_one_in_gear_only_points_at_the_driveline() -> None:
    total = combined_db(gather(maker.job({}, {1.0: 0.4}, {}), maker.FOUR))
    assert total["driveline"] > 5
    assert total["driveline"] > total["rotating-imbalance"]


def test_judder_of_several_recordings_is_told_as_their_mean_and_of_them_all() -> None:
    """0.01, 0.1 and 0.1 m/s2 between the orders: the mean of -40 and -20 dB is -30, and -20 is 10 above."""
    neutral = [maker.made("a", ground=0.01), maker.made("b", ground=0.1)]
    drive = maker.made("c", gear="drive", ground=0.1)
    said = [e.evidence for e in gather([*neutral, drive], maker.FOUR) if e.finding == "judder"]
    assert said
    assert all("is on average" in e.text and "(+10 dB)" in e.text for e in said)
    assert all(set(e.seen_in) == {"a", "b", "c"} for e in said)
    alone = [e.evidence for e in gather([neutral[1], drive], maker.FOUR) if e.finding == "judder"]
    assert not any("average" in e.text for e in alone)


def test_after_recordings_do_not_rank_the_cause() -> None:
    before = [maker.made("neutral-idle", MISFIRE, coherence=0.95)]
    after = maker.made("after-neutral-idle", stage="after")
    assert rank(gather([*before, after], maker.FOUR)) == rank(gather(before, maker.FOUR))
    assert gather([after], maker.FOUR)


@pytest.mark.parametrize("rpm", [None, 700.0])
def test_what_cannot_be_read_is_noted_and_says_nothing(rpm: float | None) -> None:
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


def test_what_rests_on_an_unsure_speed_counts_for_less_and_is_said() -> None:
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


def test_nothing_recorded_gives_no_evidence() -> None:
    assert gather([], maker.FOUR) == ()


@pytest.mark.parametrize("cylinders", range(1, 17))
@pytest.mark.parametrize("strokes", [2, 4])
def test_every_engine_can_be_judged(cylinders: int, strokes: int) -> None:
    vehicle = Vehicle(Engine(cylinders, strokes))
    analyses = [
        maker.made("n", engine=vehicle.engine),
        maker.made("r", rpm=1100.0, hold="raised", engine=vehicle.engine),
    ]
    ranked = rank(gather(analyses, vehicle), vehicle=vehicle)
    assert sum(r.probability for r in ranked) == pytest.approx(1)


def test_no_single_finding_is_past_a_hundred_to_one() -> None:
    analyses = maker.job({0.5: 50.0, 1.0: 50.0, 2.0: 50.0}, {1.0: 90.0}, {2.0: 0.001})
    assert all(abs(e.log_ratio_db) <= 20.0 for e in gather(analyses, maker.FOUR))


def test_recordings_are_sorted_by_what_was_said_and_by_speed() -> None:
    told = maker.made("a")
    raised = maker.made("b", rpm=1100.0, hold=None)
    road = maker.made("c", rpm=2000.0, gear="drive", hold="raised")
    scene = scene_of([told, raised, road, maker.made("d", place="engine")])
    assert [a.name for a in scene.role("neutral")] == ["a"]
    assert [a.name for a in scene.role("raised")] == ["b"]
    assert [a.name for a in scene.role("road")] == ["c"]
    assert scene.place == "steering wheel"


def test_a_car_that_hardly_shakes_is_nobodys_complaint() -> None:
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


def test_how_much_a_raised_idle_shakes_is_nobodys_complaint() -> None:
    """The complaint is a shake at idle; what a seat or wheel answers at other speeds is a mode's affair."""

    def whole(*analyses: Analysis) -> list[tuple[str, float]]:
        said = gather(analyses, maker.FOUR)
        return [(e.evidence.text, e.log_ratio_db) for e in said if e.finding == "whole shake"]

    idle = maker.made("n", whole=0.1)
    raised = maker.made("r", rpm=1100.0, hold="raised", whole=0.7)
    assert whole(idle, raised) == whole(idle)
    assert not whole(raised)


@pytest.mark.parametrize("which", [0, 1])
def test_two_recordings_of_one_name_keep_their_own_confidence(which: int) -> None:
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


def test_the_rise_in_gear_is_told_against_neutral_and_a_mean_is_said_to_be_one() -> None:
    """From 0.1 to 0.4 m/s2 is 12 dB, four times, by definition of the decibel (ISO 80000-3)."""
    neutral = [maker.made(name, {1.0: 0.3, 2.0: 0.1}) for name in ("a", "b")]
    drive = maker.made("c", {2.0: 0.4}, rpm=640.0, gear="drive")
    said = {e.finding: e.evidence.text for e in gather([*neutral, drive], maker.FOUR)}
    assert (
        "in drive at idle is 4.0 times as strong as in neutral at idle (a) and neutral at idle (b) (+12 dB;"
        in (said["gear"])
    )
    assert "0.300 m/s2 on average in neutral at idle (a) and neutral at idle (b)" in said["one"]
    assert "0.100 m/s2 on average" in said["firing"]
    (alone,) = {
        e.evidence.text for e in gather(neutral[:1], maker.FOUR) if e.finding == "one" and e.cause == "normal"
    }
    assert "average" not in alone


@pytest.mark.parametrize(
    ("finding", "cause", "levels", "words"),
    [
        # By construction: 20 log10 of the ratio to the first, against 3.5 dB in gear and -4 dB when raised.
        ("gear", "engine-mount", (0.05, 0.1, 0.05), "less than a bad mount shows"),
        ("gear", "engine-mount", (0.1, 0.1, 0.1), "load does not press on a bad mount"),
        ("gear", "engine-mount", (0.05, 0.25, 0.05), "load presses on a bad mount"),
        ("raised", "engine-mount", (0.05, 0.4, 0.15), "more than a bad mount shows"),
        ("raised", "engine-mount", (0.8, 1.6, 0.4), "fits a bad mount"),
        ("raised", "idle-resonance", (0.1, 0.1, 0.05), "less than an idle that sits on"),
        ("raised", "idle-resonance", (0.1, 0.1, 0.1), "a natural frequency would have been left"),
    ],
)  # fmt: skip
def test_no_words_on_a_change_speak_against_the_figures_beside_them(
    finding: str, cause: str, levels: tuple[float, float, float], words: str
) -> None:
    said = gather(maker.job(*({2.0: level} for level in levels)), maker.FOUR)
    text = next(e.evidence.text for e in said if (e.finding, e.cause) == (finding, cause))
    assert f": {words}" in text, text


def test_no_words_deny_what_stands_out_in_one_recording_alone() -> None:
    """Half orders 9 dB over a sound four's when raised, as uneven burning has them, and calm at idle: it does
    not fit, but the figure beside the words is no cylinders that pull alike. By construction."""
    calm, raised = {0.5: 0.008, 1.5: 0.008}, {0.5: 0.03, 1.5: 0.003}
    said = gather(maker.job(calm, calm, raised), maker.FOUR)
    (half,) = [e for e in said if e.finding == "half" and e.cause == "uneven-combustion"]
    assert half.log_ratio_db < 0
    assert "times as strong as in a sound four" in half.evidence.text
    assert half.evidence.text.endswith("does not fit uneven burning")


def test_no_change_is_written_without_a_sign() -> None:
    said = gather(maker.job({2.0: 0.1}, {2.0: 0.0999}, {2.0: 0.0999}), maker.FOUR)
    texts = [e.evidence.text for e in said if e.finding in ("gear", "raised")]
    assert texts
    assert all("(0 dB; usual:" in text for text in texts), texts

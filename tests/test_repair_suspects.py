"""Whose lines speak of the repair: those of the suspect that moved, as far as anybody felt them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.repair_made import AFTER, FOUR, SOUND, WHEEL, made
from vibecore import repair
from vibecore.model import Analysis, Line, RankedCause
from vibecore.words import repair_sentences, verdict_words


def _ranked(**chances: float) -> list[RankedCause]:
    return [RankedCause(k.replace("_", "-"), k.replace("_", " "), p) for k, p in chances.items()]


def _job(before: dict[float, float], after: dict[float, float]) -> list[Analysis]:
    return [made(before, WHEEL, name="before"), made(after, AFTER, name="after")]


def test_the_suspect_whose_lines_moved_speaks() -> None:
    # Firing order and order 1 are both high; only order 1 fell: the second suspect was mended.
    both = SOUND | {1.0: 0.5, 2.0: 0.5}
    job = _job(both, both | {1.0: 0.03})
    got = repair.repair_by_suspects(job, FOUR, _ranked(engine_mount=0.6, rotating_imbalance=0.35))
    assert got is not None
    assert got.verdict == "cured"
    assert got.lines is not None
    assert got.lines.orders == (1.0,)
    assert any("another suspect" in n and "rotating imbalance" in n for n in got.notes)


def test_that_the_whole_shake_fell_speaks_for_nothing_beside_the_line_that_is_gone() -> None:
    """A fan's line of 0.3 m/s2 is gone and with it more than half of the shake. Where nothing was wrong the
    shake has no reason to fall: its fall is no reason to judge by it. By construction."""
    fan = Line(31.0, 31.0 * 60 / 700, 0.3, 30.0, "clock")
    gone = replace(fan, rms_m_s2=0.005)
    job = [
        made(SOUND, WHEEL, name="before", other=(fan,), in_hertz=True),
        made(SOUND, AFTER, name="after", other=(gone,), in_hertz=True),
    ]
    got = repair.repair_by_suspects(job, FOUR, _ranked(cooling_fan=0.7, normal=0.24))
    assert got is not None
    assert got.verdict == "cured"
    assert got.lines is not None
    assert got.lines.hz == pytest.approx((31.0,), abs=0.1)


def test_no_cure_by_a_lesser_suspect_while_the_likely_fault_is_as_it_was() -> None:
    """Nothing was mended: the belt's line is as strong as before, and the phone, taped on anew, passes the
    firing orders less. Called cured, that car would come back."""
    belt = Line(13.1, 1.12, 0.27, 25.0, "engine")
    job = [
        made(SOUND | {2.0: 0.11, 4.0: 0.08}, other=(belt,), name="before"),
        made(SOUND | {2.0: 0.035, 4.0: 0.025}, AFTER, other=(belt,), name="after"),
    ]
    likely = repair.repair_by_suspects(job, FOUR, _ranked(accessory_drive=0.8, exhaust_contact=0.15))
    assert likely is not None
    assert likely.verdict == "cannot-tell"
    assert "accessory drive" in likely.why
    unlikely = repair.repair_by_suspects(job, FOUR, _ranked(accessory_drive=0.4, exhaust_contact=0.35))
    assert unlikely is not None
    assert unlikely.verdict in ("cured", "improved")


def test_a_fan_that_was_not_running_does_not_speak_against_a_mount_that_got_worse() -> None:
    fan = Line(31.0, 31.0 * 60 / 700, 0.3, 30.0, "clock")
    worse = SOUND | {2.0: 0.8, 4.0: 0.4}
    job = [
        made(SOUND | {2.0: 0.4, 4.0: 0.2}, WHEEL, name="before", other=(fan,)),
        made(worse, AFTER, name="after"),
    ]
    got = repair.repair_by_suspects(job, FOUR, _ranked(cooling_fan=0.6, engine_mount=0.35))
    assert got is not None
    assert got.lines is not None
    assert got.lines.orders == (2.0, 4.0)
    assert got.verdict == "worse"


def test_where_nothing_moved_the_first_suspect_speaks() -> None:
    both = SOUND | {1.0: 0.5, 2.0: 0.5}
    got = repair.repair_by_suspects(
        _job(both, both), FOUR, _ranked(engine_mount=0.6, rotating_imbalance=0.35)
    )
    assert got is not None
    assert got.verdict == "unchanged"
    assert got.lines is not None
    assert got.lines.orders == (2.0, 4.0)


def test_lines_that_nobody_feels_do_not_speak() -> None:
    # Order 1 fell by 20 dB, but it was a fiftieth of the shake.
    loud = SOUND | {1.0: 0.01, 2.0: 0.5}
    got = repair.repair_by_suspects(
        _job(loud, loud | {1.0: 0.001}), FOUR, _ranked(engine_mount=0.6, rotating_imbalance=0.35)
    )
    assert got is not None
    assert got.verdict == "unchanged"


def test_no_after_recording_no_verdict() -> None:
    assert repair.repair_by_suspects([made(SOUND)], FOUR, _ranked(normal=0.9)) is None


def test_a_likely_speed_serves_if_the_other_recording_bears_it_out() -> None:
    loud = SOUND | {0.5: 0.3, 1.0: 0.2}
    sure = _job(loud, SOUND)
    unsure = [replace(a, speed=None, orders=None) for a in sure]
    ranked = _ranked(cylinder_misfire=0.9)
    got = repair.repair_by_suspects(unsure, FOUR, ranked, likely=sure)
    assert got is not None
    assert got.verdict == "cured"
    assert any("not sure" in n for n in got.notes)
    assert verdict_words(got) == "Cured, if the engine speed is right"
    ran = "Provided the engine ran at 700 rpm (99 % likely) in drive"
    assert repair_sentences(got)[0].startswith(ran)
    assert got.provided.endswith(" and at 700 rpm (99 % likely) in drive at idle after the repair")
    known = repair.repair_by_suspects(sure, FOUR, ranked)
    assert known is not None
    assert verdict_words(known) == "Cured"
    apart = [sure[0], made(SOUND, AFTER, name="after", rpm=1400.0)]
    got = repair.repair_by_suspects(unsure, FOUR, ranked, likely=apart)
    assert got is not None
    assert not any("taken at the likeliest" in n for n in got.notes)


def test_a_drive_is_compared_by_the_wheels_band_if_the_speed_was_read_alike() -> None:
    road = replace(WHEEL, speed_hold="raised", tachometer_rpm=2000.0)
    after = replace(road, stage="after")
    wheel, calm = (Line(13.0, 0.4, level, 20.0, "engine") for level in (0.5, 0.05))
    shaking, cured = (
        replace(made(SOUND, c, other=(ln,), name=c.stage), speed=None, orders=None)
        for c, ln in ((road, wheel), (after, calm))
    )
    got = repair.repair_by_suspects([shaking, cured], FOUR, _ranked(wheel_imbalance=0.8))
    assert got is not None
    assert got.change_db == pytest.approx(-20.0, abs=1.0)
    faster = replace(cured, condition=replace(after, tachometer_rpm=2800.0))
    got = repair.repair_by_suspects([shaking, faster], FOUR, _ranked(wheel_imbalance=0.8))
    assert got is not None
    assert got.verdict == "cannot-tell"


def test_a_drive_whose_speed_nobody_read_is_compared_if_the_wheels_turned_alike() -> None:
    """20 log10(0.25 / 0.5) = -6.0 dB; at half the wheels' frequency it was another drive."""
    road = replace(WHEEL, speed_hold="raised")
    after = replace(road, stage="after")

    def drive(condition, hz, level):
        line = (Line(hz, None, level, 20.0),)
        return replace(made(SOUND, condition, other=line, name=f"{hz}"), speed=None, orders=None)

    job = [drive(road, 6.9, 0.3), drive(road, 13.0, 0.5), drive(after, 13.3, 0.25)]
    got = repair.repair_by_suspects(job, FOUR, _ranked(wheel_imbalance=0.8))
    assert got is not None
    assert got.before == "13.0"
    assert got.change_db == pytest.approx(-6.0, abs=1.0)
    got = repair.repair_by_suspects([job[0], job[2]], FOUR, _ranked(wheel_imbalance=0.8))
    assert got is not None
    assert got.verdict == "cannot-tell"


def test_a_drive_is_known_again_by_its_other_lines_once_the_strongest_is_mended() -> None:
    """Wheels, shafts and engine in one gear all turn by one ratio faster: 1.02 here. Without two of the
    others nothing tells how fast the car went, and a wheel's line that is somewhere else looks cured."""
    road = replace(WHEEL, speed_hold="raised")
    turns = {13.0: 0.5, 26.0: 0.05, 43.7: 0.04, 58.1: 0.03}

    def drive(condition, levels, ratio=1.0):
        found = tuple(Line(hz * ratio, None, level, 20.0) for hz, level in levels.items())
        return replace(made(SOUND, condition, other=found), speed=None, orders=None)

    def told(levels, ratio):
        after = drive(replace(road, stage="after"), levels, ratio)
        got = repair.repair_by_suspects([drive(road, turns), after], FOUR, _ranked(wheel_imbalance=0.8))
        assert got is not None
        return got

    mended = turns | {13.0: 0.005}
    got = told(mended, 1.02)
    assert got.change_db == pytest.approx(-40.0, abs=1.0)  # 20 log10(0.005 / 0.5)
    assert told(mended, 1.3).verdict == "cannot-tell"
    assert told({26.0: 0.05, 43.7: 0.04}, 1.02).verdict == "cannot-tell"


@pytest.mark.parametrize(("road_psd", "verdict"), [(4e-3, "cured"), (1e-6, "improved")])
def test_a_wheel_is_cured_once_it_shakes_no_more_than_the_road_beside_it(
    road_psd: float, verdict: str
) -> None:
    """What a sound car shows at idle tells nothing of a drive: a rough road shakes more than that."""
    road = replace(WHEEL, speed_hold="raised", tachometer_rpm=2000.0)
    shaking, left = (
        replace(
            made(SOUND, c, other=(Line(13.0, None, level, 20.0),), floor=road_psd), speed=None, orders=None
        )
        for c, level in ((road, 1.5), (replace(road, stage="after"), 0.1))
    )
    got = repair.repair_by_suspects([shaking, left], FOUR, _ranked(wheel_imbalance=0.8))
    assert got is not None
    assert got.verdict == verdict


def test_a_fan_that_is_gone_is_a_cure_only_if_it_was_likely_the_fault() -> None:
    """A fan switched off and a fan mended leave the same nothing: then only what else speaks for it counts.
    One that still hums a little did run."""
    fan = Line(31.0, 31.0 * 60 / 700, 0.3, 30.0, "clock")
    before, off = made(SOUND, name="before", other=(fan,)), made(SOUND, AFTER, name="after")
    hums = made(SOUND, AFTER, name="after", other=(replace(fan, rms_m_s2=0.01),))
    likely, unlikely = ({"cooling_fan": share, "engine_mount": 0.2} for share in (0.7, 0.3))

    def verdict(after, chances):
        got = repair.repair_by_suspects([before, after], FOUR, _ranked(**chances))
        assert got is not None
        assert got.change_db is not None
        return got.verdict

    assert verdict(off, likely) == "cured"
    assert verdict(off, unlikely) == "cannot-tell"
    assert verdict(hums, unlikely) == "cured"

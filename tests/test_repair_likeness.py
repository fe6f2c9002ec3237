"""Like with like: what differs besides the repair is told, corrected or refused."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.repair_made import AFTER, FOUR, SOUND, WHEEL, made, on, scaled, within
from tests.speed.closed_form import db
from vibecore import repair
from vibecore.constants import DEFAULT_PLACING_DB
from vibecore.engine import Engine
from vibecore.model import Analysis, Condition, Line, SpeedHold
from vibecore.repair import lines
from vibecore.repair.likeness import likeness
from vibecore.words import repair_sentences


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"place": "seat"}, "seat"),
        ({"gear": "neutral"}, "neutral"),
        ({"speed_hold": "raised"}, "raised"),
        ({"speed_hold": "engine off"}, "Record both with it running"),
    ],
)
def test_another_condition_cannot_be_compared(change: dict[str, str], word: str) -> None:
    got = repair.compare(made(SOUND), made(scaled(-20, (2.0,)), replace(AFTER, **change)), engine=FOUR)  # type: ignore[arg-type]
    assert got.verdict == "cannot-tell"
    assert (got.change_db, got.low_db, got.high_db) == (None, None, None)
    assert word in got.why


def test_neutral_and_park_are_alike_and_unsaid_conditions_do_not_block() -> None:
    assert (
        likeness(
            made(SOUND, replace(WHEEL, gear="park")), made(SOUND, replace(AFTER, gear="neutral"))
        ).blocking
        is None
    )
    assert likeness(made(SOUND, Condition()), made(SOUND, Condition(stage="after"))).blocking is None


def _no_speed(analysis: Analysis) -> Analysis:
    return replace(analysis, speed=None, orders=None)


@pytest.mark.parametrize(
    ("factor", "verdict"), [(1.0, "unchanged"), (2.5, "worse"), (0.12, "cured"), (0.4, "improved")]
)
def test_without_a_speed_the_whole_shake_is_compared_and_it_is_said(factor: float, verdict: str) -> None:
    """An amplitude times f is 20 log10 f dB. A whole shake of 1 m/s2 is far over what a sound car shows."""
    before = _no_speed(made({}, other=(Line(23.0, None, 1.0, 30.0),)))
    after = _no_speed(made({}, AFTER, other=(Line(23.0, None, factor, 30.0),)))
    got = repair.compare(before, after, engine=FOUR)
    assert got.verdict == verdict
    assert got.change_db == pytest.approx(db(factor), abs=0.3)
    assert "speed" in got.why
    assert "whole shake" in got.why
    assert repair_sentences(got)[0].startswith("The whole shake is")
    assert not got.changes


@pytest.mark.parametrize("hold", [None, "sweep", "raised"], ids=["not said", "sweep", "on the road"])
def test_without_a_speed_only_what_was_held_alike_is_compared(hold: SpeedHold | None) -> None:
    """In gear at a raised speed is the road: its shake depends on how fast the car went."""
    before, after = (_no_speed(made(SOUND, replace(c, speed_hold=hold))) for c in (WHEEL, AFTER))
    got = repair.compare(before, after, engine=FOUR)
    assert got.verdict == "cannot-tell"
    assert got.change_db is None
    assert "speed" in got.why


def test_the_whole_shake_is_the_area_under_the_density() -> None:
    """A flat density g over a band of B hertz holds the mean square g B (definition of density)."""
    level = lines.level_of_whole(made({}, floor=2e-4), 3.0, 80.0)
    assert level is not None
    assert level.ms == pytest.approx(2e-4 * 77.0, rel=0.01)
    nothing = lines.level_of_whole(made({}, floor=0.0), 3.0, 80.0)
    assert nothing == lines.Level(0.0, 0.0)
    assert lines.level_of_whole(made({}), 3.0, 99.0) is None  # too near half of 200 samples a second


@pytest.mark.parametrize(("after_hz", "top_hz"), [(101.0, 47.5), (200.0, 40.0)], ids=["one phone", "another"])
def test_the_whole_shake_reaches_as_far_as_both_phones_tell_it(after_hz: float, top_hz: float) -> None:
    """One phone shows all but the last twentieth under half its rate alike before and after (common practice,
    no source); where two phones' filters differ, 0.4 of the rate: the BMI160's data sheet has its half-power
    point at 0.405 (from memory)."""
    loud = Line(44.0, None, 1.0, 30.0)  # of no order, the most of the shake
    before, after = (
        _no_speed(made(SOUND, c, fs_hz=fs_hz, other=(replace(loud, rms_m_s2=level),)))
        for c, fs_hz, level in ((WHEEL, 100.0, 1.0), (AFTER, after_hz, 0.5))
    )
    assert lines.whole_band(before, after) == (3.0, pytest.approx(top_hz))
    got = repair.compare(before, after, within(), engine=FOUR)
    assert got.compared == "whole shake"
    assert (got.change_db == pytest.approx(-6.0, abs=0.3)) == (top_hz > 44.0)  # 20 log10(1 / 2)


def test_a_driveline_shakes_as_far_up_as_both_phones_show() -> None:
    """An eight's firing order at 700 rpm is 46.7 Hz; of the shake under it 50 samples a second show half."""
    shaking, calm = {1.0: 0.5}, {1.0: 0.05}
    before, after = (
        made(levels, c, fs_hz=50.0, in_hertz=True) for levels, c in ((shaking, WHEEL), (calm, AFTER))
    )
    got = repair.repair_of_job([before, after], Engine(8), cause_id="driveline")
    assert got is not None
    assert got.lines == repair.FaultLines(band_hz=(3.0, pytest.approx(23.75)))
    assert got.change_db == pytest.approx(-20.0, abs=1.0)  # 20 log10(1 / 10)
    narrow = repair.compare(before, after, within(band_hz=(22.0, 26.0)), engine=FOUR)
    assert narrow.compared == "whole shake"  # a line that cannot be seen has no half


def test_the_whole_shake_is_known_as_well_as_its_blocks_agree() -> None:
    """Random error of the mean square of even noise of bandwidth B over time T and three axes:
    1 / sqrt(3 B T) (Bendat and Piersol, Random Data, ch. 8); blocks that a Hann window shortens to half know
    it up to sqrt(2) times less well. A tone has none."""
    rng, fs_hz, seconds = np.random.default_rng(5), 200.0, 60.0
    n = int(fs_hz * seconds)

    def scatter(accel: np.ndarray) -> float:
        flat = made({}, floor=2e-4)
        heard = replace(flat.signal, accel_m_s2=accel, good=np.ones(len(accel), bool))
        level = lines.level_of_whole(replace(flat, signal=heard), 3.0, 80.0)
        assert level is not None
        return level.sd / level.ms

    noise = np.mean([scatter(rng.standard_normal((n, 3))) for _ in range(20)])
    assert 0.9 < noise * np.sqrt(3 * 77.0 * seconds) < 1.6
    tone = np.sin(2 * np.pi * 23.0 * np.arange(n) / fs_hz)[:, None] * np.ones(3)
    assert scatter(tone) < 1e-3


def test_an_idle_raised_off_a_natural_frequency_is_the_cure_itself() -> None:
    """Idle sunk onto a mode at 700 rpm, set right to 900: 20 log10(0.05 / 0.6) = -21.6 dB. For any other
    fault the two idles are too far apart."""
    job = [made({2.0: 0.6, 4.0: 0.01}), made({2.0: 0.05, 4.0: 0.01}, AFTER, rpm=900)]
    got = repair.repair_of_job(job, FOUR, cause_id="idle-resonance")
    assert got is not None
    assert got.verdict == "cured"
    assert got.change_db == pytest.approx(20 * np.log10(np.hypot(0.05, 0.01) / np.hypot(0.6, 0.01)), abs=0.1)
    assert any("the cure itself" in n for n in got.notes)
    mount = repair.repair_of_job(job, FOUR, cause_id="engine-mount")
    assert mount is not None
    assert mount.verdict == "cannot-tell"


def test_a_sound_car_is_compared_by_its_whole_shake() -> None:
    """A line of a tenth of the shake that goes, as a unit that switches off does, is no repair: it takes
    10 log10(1 - 0.01) = -0.04 dB off the whole."""
    unit = (Line(30.2, 2.59, 0.012, 20.0),)
    with_it, without = made(SOUND, other=unit), made(SOUND, AFTER)
    shake = (Line(23.0, 1.97, 0.12, 30.0),)
    with_it = replace(with_it, spectrum_hz=made({}, other=unit + shake).spectrum_hz)
    without = replace(without, spectrum_hz=made({}, other=shake).spectrum_hz)
    got = repair.repair_of_job([with_it, without], FOUR, cause_id="normal")
    assert got is not None
    assert (got.verdict, got.compared) == ("unchanged", "whole shake")
    assert got.change_db == pytest.approx(-0.04, abs=0.1)
    named = repair.repair_of_job([with_it, without], FOUR, cause_id="accessory-drive")
    assert named is not None
    assert named.verdict == "cured"


def test_what_a_sound_car_shows_in_a_band_holds_its_orders() -> None:
    """Mean squares add: what a gearbox's judder leaves of 0.12 m/s2 is a cure where engine order 1 belongs to
    the band, and would be none if only what lies between the orders did."""
    before = made(SOUND, floor=0.12**2 / 16)
    after = made(SOUND, AFTER, floor=0.042**2 / 16)
    with_orders = repair.compare(before, after, within(band_hz=(3.0, 19.0)), engine=FOUR)
    without = repair.compare(before, after, within(band_hz=(3.0, 19.0)))
    assert (with_orders.verdict, without.verdict) == ("cured", "improved")


def test_a_difference_in_speed_is_told_and_widens_the_interval() -> None:
    same = repair.compare(made(SOUND), made(SOUND, AFTER), on(2.0), engine=FOUR)
    off = repair.compare(made(SOUND), made(SOUND, AFTER, rpm=770), on(2.0), engine=FOUR)
    assert any("700 rpm before and 770 after" in n for n in off.notes)
    assert off.high_db - off.low_db > same.high_db - same.low_db + 1  # type: ignore[operator]
    far = repair.compare(made(SOUND), made(SOUND, AFTER, rpm=1000), on(2.0), engine=FOUR)
    assert far.verdict == "cannot-tell"


def test_a_known_course_over_speed_is_taken_out() -> None:
    # Imbalance: amplitude grows with speed squared, 12.04 dB an octave (closed form).
    def course(f_hz: float) -> float:
        return float(40 * np.log10(f_hz))

    b, a = made({1.0: 0.4}), made({1.0: 0.4 * (770 / 700) ** 2}, AFTER, rpm=770)
    plain = repair.compare(b, a, on(1.0), engine=FOUR)
    corrected = repair.compare(b, a, on(1.0), engine=FOUR, courses={1.0: course})
    assert plain.change_db == pytest.approx(40 * np.log10(1.1), abs=1e-6)
    assert corrected.change_db == pytest.approx(0.0, abs=1e-6)
    assert corrected.high_db - corrected.low_db < plain.high_db - plain.low_db  # type: ignore[operator]


def test_units_and_phones_that_differ_are_told() -> None:
    a = made(SOUND, replace(AFTER, accessories=("air conditioning",)), fs_hz=60, gravity=(9.81, 0, 0))
    notes = " ".join(repair.compare(made(SOUND), a, on(1.0), engine=FOUR).notes)
    for words in ("air conditioning on only after", "60 after", "90 degrees"):
        assert words in notes


def test_only_orders_that_both_can_see_count() -> None:
    b, a = made(SOUND), made(scaled(-20, tuple(SOUND)), AFTER, fs_hz=60)  # order 3 is at 35 Hz
    got = repair.compare(b, a, on(2.0, 3.0), engine=FOUR)
    assert {c.order for c in got.changes} == {0.5, 1.0, 1.5, 2.0}
    assert "3" not in got.why.split(")")[0]
    blind = repair.compare(b, a, on(3.0), engine=FOUR)
    assert blind.verdict == "cannot-tell"
    assert "samples a second" in blind.why


def test_a_new_line_is_named_whatever_the_verdict() -> None:
    hum = Line(29.2, 2.5 + 0.003, 0.2, 30.0)
    for after in (SOUND, scaled(-20, (2.0,))):
        got = repair.compare(made(SOUND), made(after, AFTER, other=(hum,)), on(2.0), engine=FOUR)
        assert any("29.2 Hz" in n for n in got.notes)
    old = repair.compare(made(SOUND, other=(hum,)), made(SOUND, AFTER, other=(hum,)), on(2.0), engine=FOUR)
    assert not any("New since" in n for n in old.notes)
    risen = repair.compare(made(SOUND), made(SOUND | {1.0: 0.4}, AFTER), on(2.0), engine=FOUR)
    assert any("order 1 rose" in n for n in risen.notes)


def test_half_orders_that_are_new_are_named_with_what_to_check() -> None:
    """One cylinder that misses shows on the half orders (common practice, no source): a lead left off."""
    missed = SOUND | {0.5: 0.3, 1.5: 0.2}
    mended = {2.0: SOUND[2.0] / 8}
    told = "New since the repair: half orders (0.361 m/s2, "  # the root of 0.3 squared and 0.2 squared
    for after, is_new in ((missed | mended, True), (SOUND | mended, False), (missed, True)):
        got = repair.compare(made(SOUND), made(after, AFTER), on(2.0), engine=FOUR)
        assert any(n.startswith(told) for n in got.notes) is is_new
    assert "Check for a cylinder that misses." in " ".join(got.notes)
    old = repair.compare(made(missed), made(missed | mended, AFTER), on(2.0), engine=FOUR)
    unsure = repair.compare(made(SOUND), made(missed, AFTER), on(2.0), engine=FOUR, placing_db=20.0)
    for other in (old, unsure):
        assert not any("half orders (" in n for n in other.notes)


def test_felt_values_of_the_seat_with_bands_and_of_the_wheel_without() -> None:
    seat = replace(WHEEL, place="seat")
    pair = made(SOUND, seat, weighted=0.7), made(SOUND, replace(seat, stage="after"), weighted=0.2)
    notes = " ".join(repair.compare(*pair, on(2.0), engine=FOUR).notes)
    assert "fairly uncomfortable" in notes
    assert "not uncomfortable" in notes
    assert "not a safety limit" in notes
    calm = made(SOUND, seat, weighted=0.25), made(SOUND, replace(seat, stage="after"), weighted=0.1)
    notes = " ".join(repair.compare(*calm, on(2.0), engine=FOUR).notes)
    assert "people in a vehicle call both not uncomfortable" in notes
    assert "the first" not in notes
    wheel = made(SOUND, weighted=0.7), made(SOUND, AFTER, weighted=0.2)
    assert "uncomfortable" not in " ".join(repair.compare(*wheel, on(2.0), engine=FOUR).notes)


def test_what_was_made_differently_on_purpose_is_listed_order_by_order() -> None:
    # By construction: the firing order is twice as strong in gear (+6.02 dB), order 1 as it was.
    in_gear = made({**SOUND, 2.0: 0.24}, WHEEL, name="in gear")
    got = repair.compare(made(SOUND, replace(WHEEL, gear="neutral")), in_gear, engine=FOUR)
    assert got.verdict == "cannot-tell"
    assert got.change_db is None
    by_order = {c.order: c for c in got.changes}
    assert by_order[2.0].change_db == pytest.approx(6.02, abs=0.01)
    assert by_order[1.0].low_db < 0 < by_order[1.0].high_db
    assert any("includes that difference" in note for note in got.notes)
    told = replace(in_gear, recording=replace(in_gear.recording, digest="the same"))
    assert repair.compare(told, told, engine=FOUR).changes == ()  # one recording given twice shows no change


def test_what_is_felt_has_the_tapings_share_taken_off_and_an_interval() -> None:
    """Every level 3 dB up by the taping, and the fault's own down from 0.5 to 0.05 m/s2 before that: what is
    felt went from 0.7 to 0.2 times that, so 3.5 times weaker (20 log10 3.5 is 10.9 dB, ISO 80000-3)."""
    up = 10 ** (3 / 20)
    before = made(SOUND | {0.5: 0.5}, weighted=0.7)
    after = made({o: v * up for o, v in (SOUND | {0.5: 0.05}).items()}, AFTER, weighted=0.2 * up)
    found = repair.compare(before, after, on(0.5), engine=FOUR)
    (told,) = [note for note in found.notes if note.startswith("As a person feels it")]
    taped = re.search(r"less what the taping did \((\+\d\.\d) dB\), ", told)
    assert taped is not None
    assert taped[0] in found.why
    shown_db = 20 * np.log10(up * 0.2 / 0.7) - float(taped[1])
    assert f"{10 ** (-shown_db / 20):.1f} times weaker (95 % interval " in told
    low, high = map(float, re.findall(r"interval (\d\.\d) to (\d\.\d) times weaker", told)[0])
    assert low < 3.5 < high
    placing = 0.5 * DEFAULT_PLACING_DB  # at least: what differs from line to line
    assert 20 * np.log10(high / low) > 2 * 1.96 * placing

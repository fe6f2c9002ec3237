"""Proof of repair: the verdicts that follow from known changes, and how each kind of line is compared."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.repair_made import AFTER, FOUR, SOUND, made, on, scaled, within
from vibecore import repair
from vibecore.engine import Engine
from vibecore.model import Analysis, Line
from vibecore.repair import lines
from vibecore.sound_cars import sound_level
from vibecore.spectra import density
from vibecore.words import customer_change, repair_sentences


def verdict_shares(share_left: float | None, rng: np.random.Generator, n: int = 200) -> dict[str, float]:
    """Misfire-like faults of 8 to 25 dB on half orders; share_left of the fault's amplitude stays (None: +6
    dB)."""
    counts: dict[str, float] = {}
    for _ in range(n):
        base = {o: v * 10 ** (rng.normal(0, 5) / 20) for o, v in SOUND.items()}
        shape = np.array([1.0, 0.7, 0.3])
        own = np.linalg.norm([base[o] for o in (0.5, 1.0, 1.5)])
        shape *= own * 10 ** (rng.uniform(10, 25) / 20) / np.linalg.norm(shape)
        left = 2.0 if share_left is None else share_left

        def laid(fault: np.ndarray, base: dict[float, float] = base) -> dict[float, float]:
            return base | {
                o: float(np.hypot(base[o], f)) for o, f in zip((0.5, 1.0, 1.5), fault, strict=True)
            }

        placed = 10 ** (rng.normal(0, 1.5) / 20)
        noise = np.exp(0.05 * rng.normal(size=(2, len(SOUND))))
        first, second = laid(shape), laid(left * shape)
        b = made({o: v * e for (o, v), e in zip(first.items(), noise[0], strict=True)})
        a = made({o: v * placed * e for (o, v), e in zip(second.items(), noise[1], strict=True)}, AFTER)
        got = repair.compare(b, a, on(0.5, 1.0, 1.5), engine=FOUR).verdict
        counts[got] = counts.get(got, 0) + 1 / n
    return counts


def test_verdicts_on_many_invented_pairs() -> None:
    rng = np.random.default_rng(2)
    gone, half = verdict_shares(0.0, rng), verdict_shares(0.5, rng)
    left, more = verdict_shares(1.0, rng), verdict_shares(None, rng)
    assert gone["cured"] > 0.85
    assert half["improved"] > 0.85
    assert left["unchanged"] > 0.92
    assert left.get("cured", 0.0) == 0.0
    assert half.get("cured", 0.0) < 0.1
    assert more["worse"] > 0.9


def test_only_taped_on_anew_is_unchanged_and_says_what_could_be_seen() -> None:
    alone, again = {2.0: 0.12}, {2.0: 0.12 * 10 ** (1.0 / 20)}  # no other line tells of the taping
    got = repair.compare(made(alone), made(again, AFTER), on(2.0), engine=FOUR)
    assert got.verdict == "unchanged"
    note = next(n for n in got.notes if "could not be seen" in n)
    # 95 % of a normal distribution: 1.96 standard deviations, hypot(1.5, 0.6) dB
    least_db = 1.96 * np.hypot(1.5, 0.434 * np.sqrt(2))
    assert (
        f"less than {10 ** (least_db / 20):.1f} times, up or down, could not be seen ({least_db:.1f} dB)"
        in note
    )


def test_noisy_recordings_cannot_tell_and_ask_for_longer_ones() -> None:
    b, a = made(SOUND, error=0.4), made(scaled(-3.0, (2.0,)), AFTER, error=0.4)
    got = repair.compare(b, a, on(2.0), engine=FOUR)
    assert got.verdict == "cannot-tell"
    assert any("Record " in n and " s each time to see one of " in n for n in got.notes)
    assert repair_sentences(got)[0] == "The fault's own shake seems 1.4 times weaker."  # nobody can tell


def test_more_scatter_never_makes_a_verdict_surer() -> None:
    for change_db in (-15.0, -6.0, 0.0, 6.0):
        seen = [
            repair.compare(
                made(SOUND, error=e),
                made(scaled(change_db, (2.0,)), AFTER, error=e),
                on(2.0),
                engine=FOUR,
            )
            for e in (0.02, 0.1, 0.3)
        ]
        widths = [r.high_db - r.low_db for r in seen]  # type: ignore[operator]
        assert widths == sorted(widths)


@pytest.mark.parametrize(("before", "left"), [(11.1, 1.54), (3.95, 0.77), (2.37, 0.56)])
def test_what_shakes_more_than_sound_cars_do_is_not_cured(before: float, left: float) -> None:
    """The contract: cured is back at a sound car's level. Good cars idle at 0.1 m/s2 at the wheel, poor ones
    at 0.5 (practice figures, order of magnitude, from memory): a great fall that leaves more is no cure."""
    got = repair.compare(made({2.0: before}), made({2.0: left}, AFTER), on(2.0), engine=FOUR)
    assert got.verdict == "improved"
    assert "more is left than a sound car shows" in got.why
    mended = repair.compare(made({2.0: before}), made({2.0: 0.1}, AFTER), on(2.0), engine=FOUR)
    assert mended.verdict == "cured"


def test_a_great_fall_is_a_cure_unless_more_is_surely_left_than_sound_cars_show() -> None:
    """Taping alone moves a level by 1.5 dB: 1 dB over one sound car in twenty is not surely over."""
    most = sound_level(2.0, FOUR, "steering wheel").most_m_s2
    for over_db, verdict in ((1.0, "cured"), (4.0, "improved")):
        left = most * 10 ** (over_db / 20)
        got = repair.compare(made({2.0: 10 * left}), made({2.0: left}, AFTER), on(2.0), engine=FOUR)
        assert got.verdict == verdict


@pytest.mark.parametrize("fallen", [-6.0, -14.0])
def test_no_cure_while_the_car_shakes_more_than_before(fallen: float) -> None:
    # By construction: mean squares add, so order 4 at 1.5 m/s2 makes far more than all that there was (0.4).
    before = made(scaled(10, (2.0,)), in_hertz=True)
    after = made({**scaled(10 + fallen, (2.0,)), 4.0: 1.5}, AFTER, in_hertz=True)
    got = repair.compare(before, after, on(2.0), engine=FOUR)
    assert got.verdict == "worse"
    ms = {o: [v**2 for v in (scaled(10 + f, (2.0,))[o] for f in (0.0, fallen))] for o in SOUND}
    was, now = (sum(v[i] for v in ms.values()) for i in (0, 1))
    assert got.change_db == pytest.approx(10 * np.log10((now - ms[4.0][1] + 1.5**2) / was), abs=0.1)
    assert got.compared == "whole shake"
    assert "The fault's own lines (order 2)" in got.why
    assert any("Engine order 4 rose" in note for note in got.notes)
    quieter = made(
        {**scaled(10 + fallen, (2.0,)), 4.0: 0.1}, AFTER, in_hertz=True
    )  # rose too, but the whole is less
    assert repair.compare(before, quieter, on(2.0), engine=FOUR).verdict in ("cured", "improved")


@pytest.mark.parametrize("left", [0.06, 0.09, 0.18, 0.3])
def test_no_sentence_says_more_is_left_than_sound_cars_show_where_they_show_as_much(left: float) -> None:
    """A fall like that of half a repair, down to what most sound cars show."""
    got = repair.compare(
        made({2.0: 2 * left}), made({2.0: left}, AFTER), on(2.0), engine=FOUR, placing_db=0.5
    )
    assert got.verdict in ("cured", "improved")
    band = sound_level(2.0, FOUR, "steering wheel").band_m_s2
    assert ("more is left than a sound car shows" in got.why) == (left > band[1])
    told = customer_change(got)
    assert ("More of it is left than most sound cars show" in told) == (left > band[1]), (got.why, told)


@pytest.mark.parametrize("before", [0.1, 0.2, 0.4])
def test_a_cure_of_what_sound_cars_show_as_well_does_not_say_that_it_came_back_to_it(before: float) -> None:
    got = repair.compare(made({2.0: before}), made({2.0: before / 5}, AFTER), on(2.0), engine=FOUR)
    assert got.verdict == "cured"
    within = before <= sound_level(2.0, FOUR, "steering wheel").band_m_s2[1]
    assert ("back at what a sound car shows" in got.why) == (not within)
    assert ("Before the repair, too, it was no more than most sound cars show" in got.why) == within


def test_recordings_longer_than_any_advice_are_not_told_to_be_shorter() -> None:
    """A standard error falls as 1 / sqrt(time): no shorter recording shows a smaller change."""
    long = {"error": 0.4, "seconds": 900.0}
    got = repair.compare(made(SOUND, **long), made(scaled(-3.0, (2.0,)), AFTER, **long), on(2.0), engine=FOUR)
    assert any("Longer recordings would not help" in n for n in got.notes)


def test_without_fault_orders_those_that_stand_out_are_taken() -> None:
    b = made(SOUND | {1.0: 0.6})
    assert repair.standing_out(b, FOUR) == (1.0,)
    got = repair.compare(b, made(SOUND, AFTER), engine=FOUR)
    assert got.verdict == "cured"
    assert got.change_db == pytest.approx(20 * np.log10(0.03 / 0.6), abs=0.01)
    assert repair.compare(b, made(SOUND, AFTER)).verdict == "cured"  # the engine need not be known


def test_a_fall_into_the_floor_is_a_cure_with_a_finite_change() -> None:
    gone = Line(26.0, 2.23, 0.25, 30.0)
    got = repair.compare(made(SOUND, other=(gone,)), made(SOUND, AFTER), on(2.23), engine=FOUR)
    assert got.verdict == "cured"
    assert got.change_db is not None
    assert np.isfinite([got.change_db, got.low_db, got.high_db]).all()
    assert got.change_db < -20


def test_unsteady_cycles_are_compared_between_the_half_orders() -> None:
    # Noise of density G over the orders from 0.25 to 1.75, lines left out: a quarter of it is -6.02 dB.
    b, a = made(SOUND, floor=4e-3), made(SOUND, AFTER, floor=1e-3)
    got = repair.compare(b, a, within(between=2.0), engine=FOUR)
    assert got.change_db == pytest.approx(-6.02, abs=0.01)
    level = lines.level_between_orders(b, 2.0)
    assert level is not None
    assert level.ms == pytest.approx(4e-3 * (1.5 - 3 * 0.1), rel=0.05)


def test_unsteady_cycles_are_compared_as_far_up_as_both_phones_show() -> None:
    # At 50 samples a second and 700 rpm nothing over order 2 is seen; a quarter of the noise is -6.02 dB.
    b, a = made(SOUND, floor=4e-3), made(SOUND, AFTER, floor=1e-3, fs_hz=50.0)
    got = repair.compare(b, a, within(between=4.0), engine=Engine(8))
    assert got.change_db == pytest.approx(-6.02, abs=0.01)
    assert got.lines is not None
    assert got.lines.between == pytest.approx(0.95 * 25.0 / (700 / 60), rel=0.01)
    slow = made(SOUND, AFTER, floor=1e-3, fs_hz=20.0)  # less than two gaps between half orders
    assert repair.compare(b, slow, within(between=4.0), engine=Engine(8)).compared == "whole shake"


def test_unsteady_orders_are_known_less_well() -> None:
    # Narrow noise, band 0.1 order over 350 turns: relative error of the mean square 1 / sqrt(35).
    steady = made({1.0: 0.2}, error=1e-6)
    table = steady.orders
    assert table is not None
    loose = replace(steady, orders=replace(table, levels=(replace(table.levels[0], coherence=0.0),)))
    n = round(350 * 60 / 700 * 200)
    loose = replace(loose, signal=replace(loose.signal, accel_m_s2=np.zeros((n, 3)), good=np.ones(n, bool)))
    level = lines.level_at_order(loose, 1.0)
    assert level is not None
    assert level.sd / level.ms == pytest.approx(1 / np.sqrt(35), rel=0.01)


def test_a_line_on_no_order_is_read_from_the_spectrum() -> None:
    # Closed form: a line of known mean square over a flat floor, and nothing where there is no line.
    rng, fs_hz = np.random.default_rng(3), 200.0
    t = np.arange(60 * 200) / fs_hz
    x = 0.02 * rng.normal(size=(len(t), 3))
    x[:, 0] += 0.1 * np.sqrt(2) * np.sin(2 * np.pi * 31.3 * t)
    base = made(SOUND)
    real = replace(base, spectrum_hz=density(x, fs_hz, resolution_hz=0.25))
    level, nothing = lines.level_at_hz(real, 31.3), lines.level_at_hz(real, 50.0)
    assert level is not None
    assert nothing is not None
    assert level.rms_m_s2 == pytest.approx(0.1, rel=0.02)
    assert 0.001 < level.sd / level.ms < 0.05
    assert nothing.rms_m_s2 < 0.02
    assert lines.level_at_hz(real, 99.0) is None


def test_the_interval_of_a_line_that_sank_into_the_floor_holds_what_it_became() -> None:
    """Closed form: a sine 50 dB weaker than before, far under what its width holds of the noise."""
    rng, t = np.random.default_rng(3), np.arange(60 * 200) / 200.0

    def level(rms: float) -> lines.Level:
        x = 0.02 * rng.normal(size=(len(t), 3))
        x[:, 0] += rms * np.sqrt(2) * np.sin(2 * np.pi * 31.3 * t)
        found = lines.level_at_hz(
            replace(made(SOUND), spectrum_hz=density(x, 200.0, resolution_hz=0.25)), 31.3
        )
        assert found is not None
        return found

    was, sunk = level(0.1), level(0.0003)
    low, high = lines.interval_db(was, sunk, repair.DEFAULT_PLACING_DB)
    assert low < -50.5 < high < -15.0
    back = lines.interval_db(sunk, was, repair.DEFAULT_PLACING_DB)
    assert back == pytest.approx((-high, -low))


def test_a_fan_is_compared_on_its_own_frequency() -> None:
    fan = Line(31.0, 31.0 * 60 / 700, 0.3, 30.0, "clock")
    quiet = replace(fan, rms_m_s2=0.03, order=31.0 * 60 / 760)
    got = repair.compare(
        made(SOUND, other=(fan,)),
        made(SOUND, AFTER, rpm=760, other=(quiet,)),
        within(hz=(31.0,)),
        engine=FOUR,
    )
    assert got.verdict == "cured"
    assert got.change_db == pytest.approx(-20.0, abs=0.01)
    assert any("ran in both" in note for note in got.notes)  # it may only not have been running


def test_what_an_engine_cannot_switch_off_needs_no_such_word() -> None:
    got = repair.compare(made(SOUND | {1.0: 0.5}), made(SOUND, AFTER), on(1.0), engine=FOUR)
    assert got.verdict == "cured"
    assert not any("ran in both" in note for note in got.notes)


@pytest.mark.parametrize("change_db", [-20.0, -6.0, -3.0, 1.0, 6.0])
def test_decibels_stand_behind_what_a_mechanic_says(change_db: float) -> None:
    """Every sentence of a proof says how many times; decibels come in brackets after it."""
    before, after = made(scaled(12.0, (2.0,))), made(scaled(12.0 + change_db, (2.0,)) | {3.0: 0.5}, AFTER)
    got = repair.compare(before, after, on(2.0), engine=FOUR)
    told = [got.why, *got.notes]
    assert any(" dB" in sentence for sentence in told)
    assert not [s for s in told if " dB" in re.sub(r"\([^()]*\)", "", s)]


@pytest.mark.parametrize(("grown_db", "unsure"), [(9.5, "after"), (-9.5, "before"), (0.0, "after")])
def test_no_verdict_says_surely_what_its_own_interval_leaves_open(grown_db: float, unsure: str) -> None:
    """The stronger line's mean square is known to 0.6 of itself (one standard deviation): it may be nothing,
    as the interval says, and so nothing has surely risen, fallen or stayed."""
    before, after = made({1.0: 0.1}), made({1.0: 0.1 * 10 ** (grown_db / 20)}, AFTER)

    def loose(analysis: Analysis) -> Analysis:
        table = analysis.orders
        assert table is not None
        row = table.levels[0]
        row = replace(row, low_m_s2=0.0, high_m_s2=(row.rms_m_s2 or 0.0) * float(np.sqrt(2 * 1.96 * 0.6)))
        return replace(analysis, orders=replace(table, levels=(row,)))

    before, after = (loose(before), after) if unsure == "before" else (before, loose(after))
    got = repair.compare(before, after, on(1.0), engine=FOUR)
    assert got.low_db is not None
    assert got.high_db is not None
    assert got.low_db < 0 < got.high_db
    assert got.verdict == "cannot-tell"

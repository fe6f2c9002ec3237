"""Proof of repair: known changes are told with intervals that cover, and unlike recordings are refused.

Analyses are put together here from invented levels, so that the truth is known exactly.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.speed.closed_form import db
from vibecore import repair
from vibecore.engine import Engine
from vibecore.model import (
    Analysis,
    Condition,
    Line,
    OrderLevel,
    OrderTable,
    Overall,
    Recording,
    Signal,
    Spectrum,
    SpeedHold,
    SpeedTrack,
)
from vibecore.repair import lines, significance, sound
from vibecore.repair.likeness import likeness
from vibecore.resonance import accelerance
from vibecore.spectra import density

FOUR = Engine(4)
REFERENCE = Path(__file__).parent / "reference"
SOUND = {0.5: 0.02, 1.0: 0.03, 1.5: 0.01, 2.0: 0.12, 2.5: 0.005, 3.0: 0.005, 3.5: 0.004, 4.0: 0.02}
WHEEL = Condition("steering wheel", "drive", "idle", "before")
AFTER = replace(WHEEL, stage="after")


def made(
    levels: dict[float, float],
    condition: Condition = WHEEL,
    *,
    name: str = "invented",
    rpm: float = 700.0,
    fs_hz: float = 200.0,
    error: float = 0.05,
    other: tuple[Line, ...] = (),
    floor: float = 1e-6,
    seconds: float = 30.0,
    gravity: tuple[float, float, float] = (0.0, 0.0, 9.81),
    weighted: float | None = None,
) -> Analysis:
    """An analysis with these order levels (m/s2), each known to `error` (share, one standard deviation)."""
    n = 64
    good, t = np.ones(n, bool), np.arange(n) / fs_hz
    table = tuple(
        OrderLevel(o, o * rpm / 60, v, v * max(1 - 1.96 * error, 0), v * (1 + 1.96 * error), 20.0, 1.0, True)
        if o * rpm / 60 < 0.475 * fs_hz
        else OrderLevel(o, o * rpm / 60, None, None, None, None, None, False, "above half the rate")
        for o, v in levels.items()
    )
    everything = [*levels.values(), *(ln.rms_m_s2 for ln in other)]
    ms = float(np.sum(np.square(everything)))
    x_order, x_hz = np.arange(0, 12, 0.01), np.arange(0, fs_hz / 2, 0.1)
    by_order, by_hz = np.full(len(x_order), floor), np.full(len(x_hz), floor)
    for ln in other:  # all of a line's power in the nearest step
        by_hz[np.argmin(np.abs(x_hz - ln.frequency_hz))] += ln.rms_m_s2**2 / 0.1
        if ln.order is not None:
            by_order[np.argmin(np.abs(x_order - ln.order))] += ln.rms_m_s2**2 / 0.01
    return Analysis(
        Recording(name, t, np.tile(gravity, (n, 1)), fs_hz, True, n, 0),
        Signal(fs_hz, 0.0, np.zeros((n, 3)), good, (0.0, seconds), True, 0.0),
        SpeedTrack(t, np.full(n, rpm), rpm, rpm - 1, rpm + 1, 3.0, 0.99, "vibration", t * rpm / 60),
        OrderTable(table, other, Spectrum(x_order, by_order, "order", 20.0), ms, 0.0, 0.0, ms),
        other,
        Spectrum(x_hz, by_hz, "hertz", 20.0),
        Overall(ms**0.5, weighted, None if weighted is None else "ISO 2631-1 Wk, Wd", None),
        condition,
    )


def scaled(factor_db: float, orders: tuple[float, ...]) -> dict[float, float]:
    return {o: v * 10 ** (factor_db / 20) if o in orders else v for o, v in SOUND.items()}


# ------------------------------------------------------------ statistics against the outside


def test_equivalence_against_a_published_worked_example() -> None:
    # Areas under the blood-level curve of twelve people under two forms of a medicine, equivalence of the
    # geometric means within 0.8 to 1.25: p 0.0031, t 3.38 and 5.90 on 11 degrees of freedom, as printed in a
    # general statistics manual and kept in the tests of the library statsmodels (test_tost.py).
    raw = """103.4 90.11 59.92 77.71 68.17 77.71 94.54 97.51 69.48 58.21 72.17 101.3
             74.37 79.84 84.44 96.06 96.74 89.30 94.26 97.22 48.52 61.62 95.68 85.80"""
    one, other = np.log(np.array(raw.split(), dtype=float)).reshape(-1, 2).T
    d = one - other
    error = d.std(ddof=1) / np.sqrt(len(d))
    low, high = np.log(0.8), np.log(1.25)
    assert (d.mean() - low) / error == pytest.approx(3.38, abs=0.006)
    assert (high - d.mean()) / error == pytest.approx(5.90, abs=0.006)
    assert significance.equivalence_p(d.mean(), error, low, high, 11) == pytest.approx(0.0031, abs=5e-5)


def test_unchanged_is_the_90_percent_interval_inside_the_margin() -> None:
    # Closed form: two one-sided 5 % tests pass exactly when the 90 % interval lies inside (Schuirmann 1987).
    margin = significance.WORTH_THE_NAME_DB
    for sd in (0.5, 1.5, 3.0):
        edge = margin - 1.644854 * sd
        assert significance.is_unchanged(edge - 0.01, sd)
        assert not significance.is_unchanged(edge + 0.01, sd)
    assert not significance.is_unchanged(0.0, 4.0)


def test_a_line_and_its_change() -> None:
    # Closed form: 20 log10 of the ratio; 5 % of amplitude is 10 % of mean square, 0.434 dB, twice in the
    # change.
    b, a = made({1.0: 0.4}), made({1.0: 0.1}, AFTER)
    moved = lines.change(lines.level_at_order(b, 1.0), lines.level_at_order(a, 1.0))  # type: ignore[arg-type]
    assert moved.db == pytest.approx(-12.041, abs=1e-3)
    assert moved.sd_db == pytest.approx(0.434 * np.sqrt(2), rel=0.02)


def test_lines_add_as_mean_squares() -> None:
    b = made({0.5: 0.3, 1.0: 0.4, 2.0: 9.0})
    a = made({0.5: 0.03, 1.0: 0.04, 2.0: 9.0}, AFTER)
    got = repair.compare(b, a, fault_orders=[0.5, 1.0], engine=FOUR)
    assert got.change_db == pytest.approx(-20.0, abs=1e-6)
    assert "0.5 to 0.05" in got.why


@pytest.mark.parametrize("error", [0.05, 0.25])
def test_interval_covers(error: float) -> None:
    # The truth of an interval: 95 of 100 hold it, block scatter and placing together.
    rng = np.random.default_rng(8)
    hits = []
    for _ in range(1500):
        scatter = np.exp(error * rng.normal(size=(2, 2)))
        placed = 10 ** (rng.normal(0, 1.5) / 20)
        b = made({0.5: 0.3 * scatter[0, 0], 1.0: 0.2 * scatter[0, 1]}, error=error)
        a = made({0.5: 0.1 * scatter[1, 0] * placed, 1.0: 0.05 * scatter[1, 1] * placed}, AFTER, error=error)
        got = repair.compare(b, a, fault_orders=[0.5, 1.0], engine=FOUR)
        truth = 10 * np.log10((0.1**2 + 0.05**2) / (0.3**2 + 0.2**2))
        assert got.low_db is not None
        assert got.high_db is not None
        hits.append(got.low_db <= truth <= got.high_db)
    assert np.mean(hits) == pytest.approx(0.95, abs=0.02)


# ------------------------------------------------------------ verdicts


def verdict_shares(share_left: float | None, rng: np.random.Generator, n: int = 400) -> dict[str, float]:
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
        got = repair.compare(b, a, fault_orders=[0.5, 1.0, 1.5], engine=FOUR).verdict
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
    got = repair.compare(made(SOUND), made(scaled(1.0, tuple(SOUND)), AFTER), fault_orders=[2.0], engine=FOUR)
    assert got.verdict == "unchanged"
    note = next(n for n in got.notes if "could not be seen" in n)
    # 95 % of a normal distribution: 1.96 standard deviations, hypot(1.5, 0.6) dB
    assert f"{1.96 * np.hypot(1.5, 0.434 * np.sqrt(2)):.1f} dB" in note


def test_noisy_recordings_cannot_tell_and_ask_for_longer_ones() -> None:
    b, a = made(SOUND, error=0.4), made(scaled(-3.0, (2.0,)), AFTER, error=0.4)
    got = repair.compare(b, a, fault_orders=[2.0], engine=FOUR)
    assert got.verdict == "cannot-tell"
    assert any("Record " in n and " s each time for " in n for n in got.notes)


def test_more_scatter_never_makes_a_verdict_surer() -> None:
    for change_db in (-15.0, -6.0, 0.0, 6.0):
        seen = [
            repair.compare(
                made(SOUND, error=e),
                made(scaled(change_db, (2.0,)), AFTER, error=e),
                fault_orders=[2.0],
                engine=FOUR,
            )
            for e in (0.02, 0.1, 0.3)
        ]
        widths = [r.high_db - r.low_db for r in seen]  # type: ignore[operator]
        assert widths == sorted(widths)


def test_without_fault_orders_those_that_stand_out_are_taken() -> None:
    b = made(SOUND | {1.0: 0.6})
    assert repair.standing_out(b, FOUR) == (1.0,)
    got = repair.compare(b, made(SOUND, AFTER), engine=FOUR)
    assert got.verdict == "cured"
    assert got.change_db == pytest.approx(20 * np.log10(0.03 / 0.6), abs=0.01)
    assert repair.compare(b, made(SOUND, AFTER)).verdict == "cured"  # the engine need not be known


def test_a_fall_into_the_floor_is_a_cure_with_a_finite_change() -> None:
    gone = Line(26.0, 2.23, 0.25, 30.0)
    got = repair.compare(made(SOUND, other=(gone,)), made(SOUND, AFTER), fault_orders=[2.23], engine=FOUR)
    assert got.verdict == "cured"
    assert got.change_db is not None
    assert np.isfinite([got.change_db, got.low_db, got.high_db]).all()
    assert got.change_db < -20


def test_unsteady_cycles_are_compared_between_the_half_orders() -> None:
    # Noise of density G over the orders from 0.25 to 1.75, lines left out: a quarter of it is -6.02 dB.
    b, a = made(SOUND, floor=4e-3), made(SOUND, AFTER, floor=1e-3)
    got = repair.compare(b, a, fault_between=2.0, engine=FOUR)
    assert got.change_db == pytest.approx(-6.02, abs=0.01)
    level = lines.level_between_orders(b, 2.0)
    assert level is not None
    assert level.ms == pytest.approx(4e-3 * (1.5 - 3 * 0.1), rel=0.05)


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


def test_a_fan_is_compared_on_its_own_frequency() -> None:
    fan = Line(31.0, 31.0 * 60 / 700, 0.3, 30.0, "clock")
    quiet = replace(fan, rms_m_s2=0.03, order=31.0 * 60 / 760)
    got = repair.compare(
        made(SOUND, other=(fan,)), made(SOUND, AFTER, rpm=760, other=(quiet,)), fault_hz=[31.0], engine=FOUR
    )
    assert got.verdict == "cured"
    assert got.change_db == pytest.approx(-20.0, abs=0.01)


# ------------------------------------------------------------ sound cars


def test_chance_of_cure_bounds() -> None:
    typical = sound.SoundLevel(-20.0, 6.0)
    # Closed form: 20 log10 of the least share that half a repair leaves; no half repair reaches further.
    furthest = 20 * np.log10(sound.HALF_MENDED - 2 * sound.HALF_MENDED_SD)
    assert sound.chance_of_cure(10.0, furthest - 0.1, 1e-9, typical) == pytest.approx(1.0)
    assert sound.chance_of_cure(10.0, -7.5, 1e-9, typical) < 0.1
    # A mild fault: what is left is what sound cars show.
    assert sound.chance_of_cure(-13.0, -7.0, 1e-9, typical) > 0.5
    # The same fall far above sound cars is no cure.
    assert sound.chance_of_cure(13.0, -7.0, 1e-9, typical) < 0.1


def test_chance_of_cure_against_plain_counting() -> None:
    # The same question answered by drawing cars, faults and repairs and counting those alike.
    rng, n = np.random.default_rng(0), 4_000_000
    typical = sound.SoundLevel(-20.0, 6.0)
    s = 10 ** (rng.normal(typical.median_db, typical.spread_db, n) / 10)
    f = 10 ** (rng.uniform(-40, 10, n) / 10)
    half = rng.random(n) < 0.5
    z = rng.uniform(-2, 2, n)
    half &= rng.random(n) < np.exp(-(z**2) / 2)  # a normal distribution cut off at two standard deviations
    whole = ~half & (rng.random(n) < half.mean() / (1 - half.mean()))
    r = np.where(half, sound.HALF_MENDED + sound.HALF_MENDED_SD * z, 0.0)
    before, after = 10 * np.log10(s + f), 10 * np.log10(s + r**2 * f)
    for was, fell in ((-12.0, -6.0), (-15.0, -5.0), (-14.0, -8.0)):
        alike = (half | whole) & (abs(before - was) < 0.5) & (abs(after - before - fell) < 0.5)
        counted = 1 - half[alike].mean()
        assert sound.chance_of_cure(was, fell, 0.3, typical) == pytest.approx(counted, abs=0.05)


def test_sound_level_follows_engine_and_place() -> None:
    wheel = repair.sound_level(2.0, FOUR, "steering wheel").median_db
    assert wheel > repair.sound_level(0.5, FOUR, "steering wheel").median_db
    assert repair.sound_level(2.0, FOUR, "engine").median_db > wheel
    assert (
        repair.sound_level(1.0, Engine(3), None).median_db
        > repair.sound_level(1.0, Engine(6), None).median_db
    )


# ------------------------------------------------------------ like with like


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"place": "seat"}, "seat"),
        ({"gear": "neutral"}, "neutral"),
        ({"speed_hold": "raised"}, "raised"),
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
    assert lines.level_of_whole(made({}), 3.0, 99.0) is None  # too near half of 200 samples a second


def test_a_difference_in_speed_is_told_and_widens_the_interval() -> None:
    same = repair.compare(made(SOUND), made(SOUND, AFTER), fault_orders=[2.0], engine=FOUR)
    off = repair.compare(made(SOUND), made(SOUND, AFTER, rpm=770), fault_orders=[2.0], engine=FOUR)
    assert any("700 rpm before and 770 after" in n for n in off.notes)
    assert off.high_db - off.low_db > same.high_db - same.low_db + 1  # type: ignore[operator]
    far = repair.compare(made(SOUND), made(SOUND, AFTER, rpm=1000), fault_orders=[2.0], engine=FOUR)
    assert far.verdict == "cannot-tell"


def test_a_known_course_over_speed_is_taken_out() -> None:
    # Imbalance: amplitude grows with speed squared, 12.04 dB an octave (closed form).
    def course(f_hz: float) -> float:
        return float(40 * np.log10(f_hz))

    b, a = made({1.0: 0.4}), made({1.0: 0.4 * (770 / 700) ** 2}, AFTER, rpm=770)
    plain = repair.compare(b, a, fault_orders=[1.0], engine=FOUR)
    corrected = repair.compare(b, a, fault_orders=[1.0], engine=FOUR, courses={1.0: course})
    assert plain.change_db == pytest.approx(40 * np.log10(1.1), abs=1e-6)
    assert corrected.change_db == pytest.approx(0.0, abs=1e-6)
    assert corrected.high_db - corrected.low_db < plain.high_db - plain.low_db  # type: ignore[operator]


def test_units_and_phones_that_differ_are_told() -> None:
    a = made(SOUND, replace(AFTER, accessories=("air conditioning",)), fs_hz=60, gravity=(9.81, 0, 0))
    notes = " ".join(repair.compare(made(SOUND), a, fault_orders=[1.0], engine=FOUR).notes)
    for words in ("air conditioning on only after", "60 after", "90 degrees"):
        assert words in notes


def test_only_orders_that_both_can_see_count() -> None:
    b, a = made(SOUND), made(scaled(-20, tuple(SOUND)), AFTER, fs_hz=60)  # order 3 is at 35 Hz
    got = repair.compare(b, a, fault_orders=[2.0, 3.0], engine=FOUR)
    assert {c.order for c in got.changes} == {0.5, 1.0, 1.5, 2.0}
    assert "3" not in got.why.split(")")[0]
    blind = repair.compare(b, a, fault_orders=[3.0], engine=FOUR)
    assert blind.verdict == "cannot-tell"
    assert "samples a second" in blind.why


def test_a_new_line_is_named_whatever_the_verdict() -> None:
    hum = Line(29.2, 2.5 + 0.003, 0.2, 30.0)
    for after in (SOUND, scaled(-20, (2.0,))):
        got = repair.compare(made(SOUND), made(after, AFTER, other=(hum,)), fault_orders=[2.0], engine=FOUR)
        assert any("29.2 Hz" in n for n in got.notes)
    old = repair.compare(
        made(SOUND, other=(hum,)), made(SOUND, AFTER, other=(hum,)), fault_orders=[2.0], engine=FOUR
    )
    assert not any("New since" in n for n in old.notes)
    risen = repair.compare(made(SOUND), made(SOUND | {1.0: 0.4}, AFTER), fault_orders=[2.0], engine=FOUR)
    assert any("order 1 rose" in n for n in risen.notes)


def test_felt_values_of_the_seat_with_bands_and_of_the_wheel_without() -> None:
    seat = replace(WHEEL, place="seat")
    pair = made(SOUND, seat, weighted=0.7), made(SOUND, replace(seat, stage="after"), weighted=0.2)
    notes = " ".join(repair.compare(*pair, fault_orders=[2.0], engine=FOUR).notes)
    assert "fairly uncomfortable" in notes
    assert "not uncomfortable" in notes
    assert "not a safety limit" in notes
    wheel = made(SOUND, weighted=0.7), made(SOUND, AFTER, weighted=0.2)
    assert "uncomfortable" not in " ".join(repair.compare(*wheel, fault_orders=[2.0], engine=FOUR).notes)


def test_placing_from_two_tapings() -> None:
    rng = np.random.default_rng(5)
    got = []
    for _ in range(200):
        again = {o: v * 10 ** (rng.normal(0, 0.8) / 20) for o, v in SOUND.items()}
        got.append(repair.placing_from_two_tapings(made(SOUND, error=0.01), made(again, error=0.01)))
    assert np.median(got) == pytest.approx(0.9, abs=0.15)
    assert repair.placing_from_two_tapings(made(SOUND), made(SOUND, rpm=2000)) is None


# ------------------------------------------------------------ a whole job


def test_job_pairs_like_with_like_and_takes_the_pair_that_tells_most() -> None:
    neutral = replace(WHEEL, gear="neutral")
    job = [
        made(SOUND | {2.0: 0.3}, neutral, name="neutral before"),
        made(SOUND | {2.0: 1.2}, WHEEL, name="drive before"),
        made(SOUND, replace(AFTER, gear="neutral"), name="neutral after"),
        made(SOUND, AFTER, name="drive after"),
    ]
    got = repair.repair_of_job(job, FOUR, cause_id="engine-mount")
    assert got is not None
    assert got.verdict == "cured"
    assert "drive before against drive after" in got.why
    assert any("neutral before against neutral after" in n for n in got.notes)
    assert repair.repair_of_job(job[:2], FOUR) is None
    only_after = repair.repair_of_job(job[2:], FOUR)
    assert only_after is not None
    assert only_after.verdict == "cannot-tell"


def test_a_sweep_from_before_the_repair_corrects_for_speed() -> None:
    # One order of a constant force past a mode at 26 Hz, damping 0.08: levels from the closed form.
    def level(rpm: float) -> float:
        return float(0.1 * accelerance(2 * rpm / 60 / 26.0, 0.08, "force"))

    fs_hz, neutral = 200.0, replace(WHEEL, gear="neutral")
    t = np.arange(int(60 * fs_hz)) / fs_hz
    rpm = 550 + 10 * t
    angle = np.cumsum(rpm) / 60 / fs_hz
    shake = 0.1 * np.sqrt(2) * accelerance(2 * rpm / 60 / 26.0, 0.08, "force") * np.cos(4 * np.pi * angle)
    x = np.column_stack([shake, np.zeros((len(t), 2))]) + 0.01 * np.random.default_rng(1).normal(
        size=(len(t), 3)
    )
    sweep = replace(
        made({2.0: 0.2}, replace(neutral, speed_hold="sweep"), rpm=850),
        signal=Signal(fs_hz, 0.0, x, np.ones(len(t), bool), (0.0, 60.0), True, 0.0),
        speed=SpeedTrack(t, rpm, 850.0, 849.0, 851.0, 170.0, 0.99, "vibration", angle),
    )
    pair = [
        made({2.0: level(700)}, neutral),
        made({2.0: level(750)}, replace(neutral, stage="after"), rpm=750),
    ]
    plain = repair.repair_of_job(pair, FOUR, cause_id="engine-mount")
    corrected = repair.repair_of_job([*pair, sweep], FOUR, cause_id="engine-mount")
    assert plain is not None
    assert corrected is not None
    assert plain.change_db == pytest.approx(20 * np.log10(level(750) / level(700)), abs=1e-6)
    assert abs(plain.change_db) > 2
    assert corrected.change_db == pytest.approx(0.0, abs=0.3)
    assert corrected.verdict == "unchanged"


def test_a_faint_line_is_not_taken_for_the_complaint() -> None:
    faint = Line(15.7, 1.342, 0.033, 12.0)
    assert repair.standing_out(made(SOUND | {2.0: 0.15}, other=(faint,)), FOUR) == (2.0,)


def test_fault_lines_of_causes() -> None:
    belt, fan = Line(15.0, 1.29, 0.2, 20.0, "engine"), Line(31.0, 2.66, 0.4, 20.0, "clock")
    b = made(SOUND | {1.0: 0.5}, other=(belt, fan))
    assert repair.fault_lines("cylinder-misfire", b, FOUR).orders == (0.5, 1.0, 1.5)
    assert repair.fault_lines("uneven-combustion", b, FOUR).between == 2.0
    assert repair.fault_lines("engine-mount", b, FOUR).orders == (2.0, 4.0)
    assert repair.fault_lines("rotating-imbalance", b, FOUR).orders == (1.0,)
    assert repair.fault_lines("accessory-drive", b, FOUR).orders == (1.29,)
    assert repair.fault_lines("cooling-fan", b, FOUR).hz == (31.0,)
    assert 1.0 in repair.fault_lines(None, made(SOUND | {1.0: 0.5}), FOUR).orders
    assert repair.fault_lines("cylinder-misfire", b, Engine(1)).orders  # no order lies under its firing order


def test_visits_show_the_level_against_the_sound_band() -> None:
    steps = [made(SOUND | {2.0: v}, name=f"visit {i}") for i, v in enumerate((1.0, 0.4, 0.12))]
    got = repair.visits(steps, repair.FaultLines((2.0,)), FOUR)
    assert [v.rms_m_s2 for v in got] == pytest.approx([1.0, 0.4, 0.12])
    assert all(v.low_m_s2 < v.rms_m_s2 < v.high_m_s2 for v in got)
    low, high = got[0].sound_band_m_s2
    assert low < 0.12 < high < 1.0


# ------------------------------------------------------------ mounts


def test_transmissibility_against_the_textbook_table() -> None:
    # Table of T = sqrt((1 + (2 z r)^2) / ((1 - r^2)^2 + (2 z r)^2)), computed from the textbook formula.
    table = pd.read_csv(REFERENCE / "transmissibility_table.csv").query("zeta == 0.1 and r >= 1")
    rpm, f0_hz = 700.0, 35 / 3
    orders = (table.r * f0_hz * 60 / rpm).round(6).to_numpy()
    engine_side = made(dict.fromkeys(orders, 2.0), replace(WHEEL, place="engine"), rpm=rpm, fs_hz=2000)
    body_side = made(
        dict(zip(orders, 2.0 * table["T"], strict=True)), replace(WHEEL, place="body"), fs_hz=2000
    )
    got = repair.transmissibility(engine_side, body_side)
    assert [c.change_db for c in got] == pytest.approx(list(table.T_dB), abs=2e-3)
    assert all(c.low_db < c.change_db < c.high_db for c in got)


def test_isolation_note() -> None:
    on_engine = replace(WHEEL, place="engine")
    for body, words in ((0.05, "better"), (0.2, "about"), (1.0, "short"), (4.0, "worse")):
        pair = made({2.0: 2.0}, on_engine), made({2.0: body}, replace(WHEEL, place="body"))
        assert words in (repair.isolation_note(repair.transmissibility(*pair), FOUR) or "")
    assert repair.isolation_note((), FOUR) is None
    slow = made({2.0: 2.0}, on_engine, rpm=1400)
    assert repair.transmissibility(slow, made({2.0: 0.2})) == ()

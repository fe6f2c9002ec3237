"""Proof of repair against statistics from outside: equivalence, chance of a cure, changes of lines."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.repair_made import AFTER, FOUR, SOUND, made, on
from vibecore import repair
from vibecore.repair import lines, significance, sound
from vibecore.repair.telling import Result, sensitivity_note
from vibecore.sound_cars import SoundLevel


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
    got = repair.compare(b, a, on(0.5, 1.0), engine=FOUR)
    assert got.change_db == pytest.approx(-20.0, abs=1e-6)
    assert "0.500 to 0.0500" in got.why


@pytest.mark.parametrize("error", [0.05, 0.25])
def test_interval_covers(error: float) -> None:
    # The truth of an interval: 95 of 100 hold it, block scatter and placing together.
    rng = np.random.default_rng(8)
    hits = []
    for _ in range(800):
        scatter = np.exp(error * rng.normal(size=(2, 2)))
        placed = 10 ** (rng.normal(0, 1.5) / 20)
        b = made({0.5: 0.3 * scatter[0, 0], 1.0: 0.2 * scatter[0, 1]}, error=error)
        a = made({0.5: 0.1 * scatter[1, 0] * placed, 1.0: 0.05 * scatter[1, 1] * placed}, AFTER, error=error)
        got = repair.compare(b, a, on(0.5, 1.0), engine=FOUR)
        truth = 10 * np.log10((0.1**2 + 0.05**2) / (0.3**2 + 0.2**2))
        assert got.low_db is not None
        assert got.high_db is not None
        hits.append(got.low_db <= truth <= got.high_db)
    assert np.mean(hits) == pytest.approx(0.95, abs=0.02)


def test_chance_of_cure_bounds() -> None:
    typical = SoundLevel(-20.0, 6.0)
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
    typical = SoundLevel(-20.0, 6.0)
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


def test_longer_recordings_are_advised_as_far_as_they_help() -> None:
    """By hand: a standard error of 2 dB from 30 s falls as 1 / sqrt(time), so half of the rest, 0.75 dB,
    takes 30 (2 / 0.75)^2 = 213 s; then 1.96 sqrt(1.5^2 + 0.75^2) = 3.29 dB can be seen. With 2 dB from 100 s
    it would take 711: after 300 s the error is 2 / sqrt(3) = 1.15, and 1.96 sqrt(1.5^2 + 1.15^2) = 3.71 dB.
    """
    level, usual = lines.Level(1.0, 0.1), SoundLevel(-20.0, 7.0)

    def told(used_s: float, sd_db: float) -> str:
        at_hand = replace(made(SOUND), signal=replace(made(SOUND).signal, used_span_s=(5.0, 5.0 + used_s)))
        change = lines.LevelChange(0.0, sd_db)
        result = Result(level, level, change, 1.5, usual, "order 2", "lines", lines.LevelChange(0.0, 0.0))
        return sensitivity_note(result, at_hand, at_hand)

    assert "Record 213 s each time to see one of 1.5 times (3.3 dB)" in told(30.0, 2.0)
    assert "Record 300 s each time to see one of 1.5 times (3.7 dB)" in told(100.0, 2.0)
    # It is good enough as it is; nobody records for longer; 0.9 dB falls to 0.75, and what is seen from 3.4
    # to 3.3 dB: 1.5 times either way.
    for used_s, sd_db in ((30.0, 0.7), (301.0, 2.0), (30.0, 0.9)):
        assert "Longer recordings would not help" in told(used_s, sd_db)

"""What a repair changed tells what was wrong: the arithmetic against scipy and the sums of levels of any
handbook of acoustics, the verdicts against what each mended part stops doing.

The signatures are textbook facts: order 1 is what turns with the crank, a four fires at order 2, one weak
cylinder shows on the half orders (Taylor, The Internal Combustion Engine in Theory and Practice; Den Hartog,
Mechanical Vibrations; from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_t

from tests.evidence import made as maker
from vibecore.causes.ranking import rank
from vibecore.evidence import gather, gather_mended
from vibecore.evidence.fit import chain_log_density, covariance, pattern_adds
from vibecore.evidence.levels import read_again, read_levels
from vibecore.evidence.mends import MENDS, Mend, mend_covariance, share_left
from vibecore.evidence.patterns import PATTERNS
from vibecore.evidence.scene import mended_scene, scene_of
from vibecore.model import Analysis, Line, Spectrum


def chances(analyses: list[Analysis]) -> dict[str, float]:
    evidence = (*gather(analyses, maker.FOUR), *gather_mended(analyses, maker.FOUR))
    return {c.id: c.probability for c in rank(evidence)}


def odds(chance: float) -> float:
    return chance / (1 - chance)


def visits(before: Mapping[float, float], after: Mapping[float, float]) -> list[Analysis]:
    """Neutral and in gear, before and after."""
    return [
        maker.made("neutral-idle", before),
        maker.made("drive-idle", before, rpm=640.0, gear="drive"),
        maker.made("after-neutral-idle", after, stage="after"),
        maker.made("after-drive-idle", after, rpm=645.0, gear="drive", stage="after"),
    ]


@pytest.mark.parametrize("seed", range(3))
def test_levels_read_again_are_a_t_of_their_own_about_what_the_first_let_expect(seed: int) -> None:
    """Against scipy.stats.multivariate_t, mean and scale of the second part given the first as for the normal
    distribution (Eaton, Multivariate Statistics, 1983, proposition 3.13; from memory)."""
    rng = np.random.default_rng(seed)
    a = rng.standard_normal((7, 7))
    cov, x, n = a @ a.T + 0.5 * np.eye(7), 3 * rng.standard_normal(7), 4
    steps = chain_log_density(x, cov, 5.0, again=n)
    slope = cov[n:, :n] @ np.linalg.inv(cov[:n, :n])
    expected, left = slope @ x[:n], cov[n:, n:] - slope @ cov[:n, n:]
    assert steps[:n].sum() == pytest.approx(multivariate_t.logpdf(x[:n], np.zeros(n), cov[:n, :n], df=5.0))
    assert steps[n:].sum() == pytest.approx(multivariate_t.logpdf(x[n:], expected, left, df=5.0))


@pytest.mark.parametrize(
    ("adds_db", "amplitude", "left_db"),
    [
        # Sums of levels: two alike are 3.0 dB over one, ten alike 10 dB. A fault whose mean square is as much
        # as the sound car's adds 3.01 dB; at half its amplitude a quarter of that is left: 10 lg 1.25.
        (3.0103, 0.5, 0.9691),
        (10.0, 0.5, 5.1188),  # 10 lg (1 + 9 / 4)
        (20.0, 0.5, 14.1078),  # 10 lg (1 + 99 / 4); far over the sound car half is 6 dB less
        (20.0, 2.0, 25.9879),  # 10 lg (1 + 99 x 4)
        (20.0, 0.0, 0.0),
        (20.0, 1.0, 20.0),
    ],
)
def test_what_is_left_of_a_fault_adds_as_levels_do(adds_db: float, amplitude: float, left_db: float) -> None:
    (reading, *_) = read_levels(scene_of([maker.made("neutral-idle")]), maker.FOUR.engine)
    again = replace(reading, again_db=2.0)
    before, after = share_left(Mend(amplitude, 1.0), np.array([adds_db, adds_db]), [reading, again])
    assert before == 1.0
    assert after * adds_db == pytest.approx(left_db, abs=1e-3)


def test_the_chances_of_mends_add_up() -> None:
    assert sum(m.chance for m in MENDS) == pytest.approx(1)


def test_covariances_with_levels_read_again_can_be_one() -> None:
    analyses = visits({}, {})
    scene = scene_of(analyses)
    after = mended_scene(analyses, scene)
    assert after is not None
    first = read_levels(scene, maker.FOUR.engine)
    again = read_again(first, after, maker.FOUR.engine, ())
    assert len(again) == len(first)
    readings = (*first, *again)
    for ways in PATTERNS.values():
        for way in ways:
            adds = pattern_adds(way, readings)
            for mend in MENDS:
                left = share_left(mend, adds, readings)
                cov = covariance(way, readings, adds, left) + mend_covariance(mend, adds, left, readings)
                assert np.linalg.eigvalsh(cov).min() > 0


@pytest.mark.parametrize(
    ("before", "after", "cause"),
    [
        ({1.0: 0.09}, {1.0: 0.012}, "rotating-imbalance"),
        ({0.5: 0.05, 1.0: 0.06, 1.5: 0.03}, {0.5: 0.004, 1.0: 0.01, 1.5: 0.003}, "cylinder-misfire"),
    ],
)
def test_what_fell_was_the_fault(before: dict[float, float], after: dict[float, float], cause: str) -> None:
    alone, both = chances(visits(before, before)[:2]), chances(visits(before, after))
    assert odds(both[cause]) > 2 * odds(alone[cause])
    assert both[cause] > 0.6
    assert both["normal"] < 0.1 * alone["normal"]


def test_a_firing_order_that_fell_was_no_sound_cars() -> None:
    """A mount, a natural frequency or an exhaust: which of them, the multiples and the gear are to tell."""
    loud = {2.0: 0.25}
    alone, both = chances(visits(loud, loud)[:2]), chances(visits(loud, {2.0: 0.05}))
    stiff = ("engine-mount", "idle-resonance", "exhaust-contact")
    assert sum(both[c] for c in stiff) > 0.9 > sum(alone[c] for c in stiff)
    assert both["normal"] < 0.2 * alone["normal"]


@pytest.mark.parametrize("gain", [1.0, 10 ** (1.5 / 20), 10 ** (-1.5 / 20)])
def test_a_sound_car_recorded_again_is_no_faulty_one(gain: float) -> None:
    """The phone taped on anew (1.5 dB, as the proof has it) and nothing else."""
    alone = chances(visits({}, {})[:2])
    again = chances(visits({}, {o: v * gain for o, v in maker.SOUND.items()}))
    assert again["normal"] > alone["normal"] - 0.02


def test_a_fault_that_is_as_it_was_still_stands_first() -> None:
    """That nothing changed is as likely under the fault as in a sound car, but for the chance that the repair
    mended it."""
    weak = {0.5: 0.4, 1.0: 0.3, 1.5: 0.08}
    said = maker.combined_db(gather_mended(visits(weak, weak), maker.FOUR))
    touched_nothing = next(m for m in MENDS if m.left == 1.0).chance
    assert said["cylinder-misfire"] == pytest.approx(10 * np.log10(touched_nothing), abs=0.3)


@pytest.mark.parametrize(("left", "gone"), [((), True), ((maker.line(1.37, 700.0, 0.15),), False)])
def test_a_line_that_went_with_the_repair_was_the_units(left: tuple[Line, ...], gone: bool) -> None:
    """A pulley's line at a ratio of its own: no order of the engine, gone with the bearing."""
    unit = maker.line(1.37, 700.0, 0.15)
    after = maker.made("after-neutral-idle", lines=left, whole=0.2 if left else 0.1, stage="after")
    analyses = [maker.made("neutral-idle", lines=[unit], whole=0.2), with_lines_in_the_spectrum(after)]
    alone, both = chances(analyses[:1]), chances(analyses)
    assert (both["accessory-drive"] > 1.1 * alone["accessory-drive"]) == gone
    assert (both["normal"] < 0.5 * alone["normal"]) == gone


@pytest.mark.parametrize(("left", "gone"), [((), True), ((maker.line(0.83, 640.0, 0.15),), False)])
def test_a_line_in_gear_only_that_went_came_from_behind_the_converter(
    left: tuple[Line, ...], gone: bool
) -> None:
    """Common practice, no source. A pulley's faint line that stays does not speak in its place."""
    shaft, pulley = maker.line(0.83, 640.0, 0.15), maker.line(1.9, 700.0, 0.01)
    geared = replace(pulley, frequency_hz=1.9 * 640 / 60)
    analyses = [
        maker.made("neutral-idle", lines=[pulley]),
        maker.made("drive-idle", rpm=640.0, gear="drive", lines=[shaft, geared], whole=0.2),
        maker.made("after-drive-idle", rpm=640.0, gear="drive", lines=[*left, geared], stage="after"),
    ]
    said = gather_mended([with_lines_in_the_spectrum(a) for a in analyses], maker.FOUR)
    found = {e.cause: e.log_ratio_db for e in said if e.finding == "mended line in gear only"}
    assert (found["driveline"] > 2) == gone
    assert (found["driveline"] < 0) == (not gone)
    assert found["accessory-drive"] == 0


def with_lines_in_the_spectrum(analysis: Analysis) -> Analysis:
    hertz = with_lines(analysis.spectrum_hz, {line.frequency_hz: line.rms_m_s2 for line in analysis.lines})
    if analysis.orders is None:
        return replace(analysis, spectrum_hz=hertz)
    at = {line.order: line.rms_m_s2 for line in analysis.lines if line.order is not None}
    orders = replace(analysis.orders, spectrum=with_lines(analysis.orders.spectrum, at))
    return replace(analysis, spectrum_hz=hertz, orders=orders)


def with_lines(spectrum: Spectrum, rms_at: Mapping[float, float]) -> Spectrum:
    psd = spectrum.psd.copy()
    for x, rms in rms_at.items():
        psd[np.argmin(np.abs(spectrum.x - x))] += rms**2 / (spectrum.x[1] - spectrum.x[0])
    return replace(spectrum, psd=psd)


def at_two_speeds(before: list[Line], after: list[Line]) -> list[Analysis]:
    """Neutral and raised, before and after, with these lines."""
    made = [
        maker.made("neutral-idle", lines=before[:1], whole=0.2),
        maker.made("raised", rpm=1100.0, hold="raised", lines=before[1:], whole=0.2),
        maker.made("after-neutral-idle", lines=after[:1], stage="after"),
        maker.made("after-raised", rpm=1100.0, hold="raised", lines=after[1:], stage="after"),
    ]
    return [with_lines_in_the_spectrum(a) for a in made]


@pytest.mark.parametrize(
    ("lines", "cause", "other"),
    [
        ([maker.line(1.37, 700.0, 0.15), maker.line(1.37, 1100.0, 0.2)], "accessory-drive", "cooling-fan"),
        ([Line(35.0, 3.0, 0.15, 20.0), Line(35.0, 1.909, 0.15, 20.0)], "cooling-fan", "accessory-drive"),
    ],
)
def test_of_lines_that_are_followed_each_speaks_for_its_own(
    lines: list[Line], cause: str, other: str
) -> None:
    """A pulley's at 1.37 of the crank, a fan's at 35 Hz: gone, it was the pulley's, or the fan's."""
    gone = maker.combined_db(gather_mended(at_two_speeds(lines, []), maker.FOUR))
    still = maker.combined_db(gather_mended(at_two_speeds(lines, lines), maker.FOUR))
    assert gone[cause] > 5
    assert still[cause] < 0
    assert gone[other] < 1


@pytest.mark.parametrize(("rpm", "raised"), [(705.0, False), (790.0, True), (630.0, False)])
def test_an_idle_that_was_raised_was_too_low(rpm: float, raised: bool) -> None:
    """A car returns to its idle within a few percent; what was set or cleaned moves it by more. Common
    practice, no source."""
    loud = {2.0: 0.3}
    analyses = [maker.made("neutral-idle", loud), maker.made("after", {2.0: 0.06}, rpm=rpm, stage="after")]
    said = {(e.cause, e.finding): e.log_ratio_db for e in gather_mended(analyses, maker.FOUR)}
    assert (said["idle-resonance", "mended idle"] > 3) == raised
    assert said["engine-mount", "mended idle"] == 0


def test_the_sentence_says_how_much_less_and_where() -> None:
    analyses = visits({1.0: 0.2}, {1.0: 0.02})
    ratios = {(e.cause, e.finding): (e.log_ratio_db, e.evidence) for e in gather_mended(analyses, maker.FOUR)}
    ratio_db, told = ratios["rotating-imbalance", "mended levels"]
    assert ratio_db > 15  # a whole repair takes about what the fault adds, as this did
    assert told.text.startswith(
        "engine order 1 in drive at idle after the repair is 10 times weaker than before"
    )
    assert "(-20 dB)" in told.text
    assert set(told.seen_in) == {a.name for a in analyses}


def test_what_rose_beside_it_is_told_as_no_part_of_the_mend() -> None:
    """A mend takes shake away; what is new since speaks for none. Common practice, no source."""
    analyses = visits({1.0: 0.2}, {1.0: 0.02, 2.0: 0.2})
    told = {(e.cause, e.finding): e.evidence for e in gather_mended(analyses, maker.FOUR)}
    text = told["rotating-imbalance", "mended levels"].text
    fell, rose = text.split(", although ")
    assert fell.startswith("engine order 1")
    assert "weaker" in fell
    assert rose.startswith("the firing order (2)")
    assert "as strong" in rose


def test_without_a_repair_nothing_is_said() -> None:
    before = maker.job({}, {}, {})
    assert gather_mended(before, maker.FOUR) == ()
    after = [replace(a, condition=replace(a.condition, stage="after")) for a in before]
    assert gather_mended(after, maker.FOUR) == ()  # nothing from before it to be held against
    elsewhere = maker.made("after-seat", place="seat", stage="after")
    assert gather_mended([*before, elsewhere], maker.FOUR) == ()


def test_a_line_lost_in_its_floor_both_times_tells_nothing() -> None:
    """The floor fell with the firing order's skirt: that is no word on order 1."""
    before, after = maker.made("neutral-idle", {1.0: 0.06}), maker.made("after", {1.0: 0.01}, stage="after")
    both = [with_lost(a, 1.0) for a in (before, after)]
    told = [gather_mended(analyses, maker.FOUR)[0].evidence.text for analyses in ([before, after], both)]
    assert ["engine order 1" in text for text in told] == [True, False]


def with_lost(analysis: Analysis, order: float) -> Analysis:
    assert analysis.orders is not None
    levels = [replace(lv, low_m_s2=0.0) if lv.order == order else lv for lv in analysis.orders.levels]
    return replace(analysis, orders=replace(analysis.orders, levels=tuple(levels)))


def test_reading_again_alone_moves_a_level_by_the_taping_and_the_day() -> None:
    """1.5 dB by the taping and 2 dB by the day: 2.5 dB, a right triangle. A repair moves more besides."""
    (reading, *_) = read_levels(scene_of([maker.made("neutral-idle")]), maker.FOUR.engine)
    readings = [reading, replace(reading, again_db=2.0)]
    adds = np.array([10.0, 10.0])
    for mend in MENDS:
        cov = mend_covariance(mend, adds, share_left(mend, adds, readings), readings)
        assert cov[0, 0] == 0.0
        assert (np.sqrt(cov[1, 1]) == pytest.approx(2.5)) == (mend.left == 1.0)


def test_a_fan_known_from_before_is_no_shake_of_the_engines_after() -> None:
    """At 26 Hz before, at idle and raised: one recording after cannot tell it from what lies between the
    orders, or from an order that it falls on."""
    fan = maker.line(26.0, 60.0, 0.15)
    before = [
        maker.made("neutral-idle", lines=[replace(fan, order=26.0 * 60 / 700)]),
        maker.made("raised", rpm=1100.0, hold="raised", lines=[replace(fan, order=26.0 * 60 / 1100)]),
    ]
    after = maker.made("after-neutral-idle", {2.0: 0.5}, rpm=780.0, stage="after")  # its order 2 is 26 Hz
    (levels, *_) = gather_mended([*before, after], maker.FOUR)
    assert "firing order" not in levels.evidence.text


def test_an_idle_at_a_speed_that_is_not_sure_speaks_as_far_as_it_is() -> None:
    """A toss-up between an idle and another says half at most of what it would say if it were sure: with an
    odds ratio r, (1 + r) / 2."""
    before, loud = maker.made("neutral-idle", {2.0: 0.3}), {2.0: 0.06}
    said = [
        next(
            e.log_ratio_db
            for e in gather_mended([before, after], maker.FOUR)
            if (e.cause, e.finding) == ("idle-resonance", "mended idle")
        )
        for after in (
            maker.made("after", loud, rpm=790.0, stage="after", confidence=chance) for chance in (1.0, 0.5)
        )
    ]
    assert said[1] == pytest.approx(10 * np.log10((1 + 10 ** (said[0] / 10)) / 2), abs=0.01)

"""The multivariate t chain against scipy.stats, and the patterns' own consistency."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_t
from scipy.stats import t as student

from tests.evidence import made as maker
from vibecore.causes.ranking import rank
from vibecore.engine import Engine, Vehicle
from vibecore.evidence import gather
from vibecore.evidence.fit import chain_log_density, covariance, fit_levels, pattern_adds
from vibecore.evidence.levels import FAMILIES, HELDS, read_levels
from vibecore.evidence.likelihood import log_t
from vibecore.evidence.patterns import PATTERNS
from vibecore.evidence.scene import scene_of
from vibecore.evidence.words import LEVEL_FINDINGS
from vibecore.model import Analysis, Place


@pytest.mark.parametrize("seed", range(4))
def test_chain_adds_up_to_the_joint_density(seed: int) -> None:
    """Against scipy.stats.multivariate_t, for each leading part of the vector."""
    rng = np.random.default_rng(seed)
    a = rng.standard_normal((6, 6))
    cov = a @ a.T + 0.5 * np.eye(6)
    x = 3 * rng.standard_normal(6)
    steps = chain_log_density(x, cov, 5.0)
    for n in range(1, 7):
        whole = multivariate_t.logpdf(x[:n], np.zeros(n), cov[:n, :n], df=5.0)
        assert steps[:n].sum() == pytest.approx(whole, rel=1e-9)


def test_scalar_t_against_scipy() -> None:
    for value in (-30.0, 0.0, 2.5, 80.0):
        assert log_t(value, 1.5, 3.0) == pytest.approx(float(student.logpdf(value, 4.0, 1.5, 3.0)))


def test_shares_of_the_ways_add_up() -> None:
    for cause, ways in PATTERNS.items():
        assert sum(w.share for w in ways) == pytest.approx(1), cause


def test_covariances_can_be_one() -> None:
    readings = read_levels(scene_of(maker.job({}, {}, {})), maker.FOUR.engine)
    assert {(r.family, r.held) for r in readings} == {(f, h) for f in FAMILIES for h in HELDS}
    for ways in PATTERNS.values():
        for way in ways:
            values = np.linalg.eigvalsh(covariance(way, readings, pattern_adds(way, readings)))
            assert values.min() > 0


def test_a_gain_common_to_all_levels_tells_little() -> None:
    """The phone in a livelier place: every level up by 6 dB. With all causes equally likely beforehand, what
    is thought of a sound car may not move by more than a tenth."""

    def chances(gain: float) -> np.ndarray:
        louder = {o: v * gain for o, v in maker.SOUND.items()}
        analyses = [
            maker.made("neutral-idle", louder, ground=0.03 * gain),
            maker.made("drive-idle", louder, rpm=640.0, gear="drive", ground=0.03 * gain),
        ]
        readings = read_levels(scene_of(analyses), maker.FOUR.engine)
        fits = fit_levels(readings, maker.FOUR.engine, "steering wheel")
        likelihood = np.exp([float(fits[c].sum() - fits["normal"].sum()) for c in PATTERNS])
        return np.asarray(likelihood / likelihood.sum())

    np.testing.assert_allclose(chances(2.0), chances(1.0), atol=0.1)


def test_a_speed_not_known_for_sure_weakens_every_ratio() -> None:
    sizes = []
    for confidence in (1.0, 0.7, 0.3):
        analysis = maker.made("neutral-idle", {0.5: 0.5, 1.0: 0.3}, confidence=confidence)
        fits = fit_levels(read_levels(scene_of([analysis]), maker.FOUR.engine), maker.FOUR.engine, None)
        sizes.append(float(fits["cylinder-misfire"].sum() - fits["normal"].sum()))
    assert sizes[0] > sizes[1] > sizes[2] > 0


def test_one_unsure_recording_leaves_the_word_of_the_sure_ones() -> None:
    """A raised idle whose speed is a toss-up: what neutral says stands, and lies between what both would say
    if it were sure and what neutral says alone."""
    engine, weak = maker.FOUR.engine, {0.5: 0.5, 1.0: 0.3}

    def ratio(*analyses: Analysis) -> float:
        fits = fit_levels(read_levels(scene_of(analyses), engine), engine, "steering wheel")
        return float(fits["cylinder-misfire"].sum() - fits["normal"].sum())

    neutral = maker.made("neutral-idle", weak)
    raised = [maker.made("raised", weak, rpm=1100.0, hold="raised", confidence=c) for c in (1.0, 0.5, 0.001)]
    alone, sure, unsure, wrong = ratio(neutral), *(ratio(neutral, r) for r in raised)
    assert wrong == pytest.approx(alone, abs=0.02)
    assert min(alone, sure) - 0.7 < unsure < max(alone, sure) + 0.7  # a factor of two: the chance is a half


@pytest.mark.parametrize(
    ("neutral", "drive", "cause"),
    [
        # Common practice, no source: a mount whose gap closes under load is felt in gear only.
        ({2.0: 0.05}, {2.0: 0.25, 4.0: 0.08, 6.0: 0.04}, "engine-mount"),
        # Metal that touches lightly adds multiples and leaves the firing order as it is (a contact is not
        # linear: what it makes of a line are the line's multiples).
        ({2.0: 0.06, 4.0: 0.05, 6.0: 0.02}, {2.0: 0.08, 4.0: 0.1, 6.0: 0.03}, "exhaust-contact"),
    ],
)
def test_where_a_fault_shows_in_one_way_only(
    neutral: dict[float, float], drive: dict[float, float], cause: str
) -> None:
    analyses = [
        maker.made("neutral-idle", maker.SOUND | neutral),
        maker.made("drive-idle", maker.SOUND | drive, rpm=640.0, gear="drive"),
    ]
    fits = fit_levels(read_levels(scene_of(analyses), maker.FOUR.engine), maker.FOUR.engine, "steering wheel")
    assert max(fits, key=lambda c: float(fits[c].sum())) == cause


def test_a_pipe_that_touches_in_gear_only_shows_what_a_mounts_gap_does() -> None:
    """Torque leans the engine over; what it closes, a mount's gap or the pipe's to the body, is either way a
    stiff path from engine to body, there in gear only. A look under the car is to tell which."""
    analyses = [
        maker.made("neutral-idle", {2.0: 0.025}),
        maker.made("drive-idle", {2.0: 0.5, 4.0: 0.25, 6.0: 0.05}, rpm=640.0, gear="drive", ground=0.08),
    ]
    chances = {c.id: c.probability for c in rank(gather(analyses, maker.FOUR))}
    assert chances["exhaust-contact"] > 0.1
    assert chances["engine-mount"] > 0.1
    assert chances["exhaust-contact"] + chances["engine-mount"] > 0.9


def test_what_a_mount_leaves_as_it_is_is_no_sign_of_one_for_being_calm() -> None:
    """A mount that is bridged passes more of the firing order and its multiples. Order 1 at a quarter of a
    sound car's, the half orders at a half: nothing that it does, so they may not speak for it."""
    calm = {0.5: 0.003, 1.0: 0.004, 1.5: 0.002}
    analyses = [
        maker.made("neutral-idle", {2.0: 0.03, **calm}),
        maker.made("drive-idle", {2.0: 0.5, 4.0: 0.2, **calm}, rpm=640.0, gear="drive"),
    ]
    said = [e for e in gather(analyses, maker.FOUR) if e.cause == "engine-mount"]
    ratios = {e.finding: e.log_ratio_db for e in said}
    assert ratios["one"] < 0.5
    assert ratios["half"] < 0.5
    assert ratios["gear"] + ratios["second"] > 10


def test_the_order_in_which_levels_are_told_changes_nothing_in_all() -> None:
    """The chain rule: a joint density is the same whichever of its parts is told first."""
    readings = read_levels(scene_of(maker.job({2.0: 0.3}, {2.0: 0.6, 4.0: 0.1}, {})), maker.FOUR.engine)
    one, other = (fit_levels(told, maker.FOUR.engine, None) for told in (readings, readings[::-1]))
    for cause in PATTERNS:
        assert one[cause].sum() == pytest.approx(other[cause].sum()), cause


def test_on_the_engine_itself_a_bad_mount_does_not_show() -> None:
    """A force F on a mass on springs moves it by F / m far above its natural frequency, whatever the springs
    (J. P. Den Hartog, Mechanical Vibrations, ch. 2, from memory): what they pass on shows behind them. A six
    of 1.4 m/s2 at its firing order on the block is sound; the same at the wheel is no sound car's."""

    def mount_db(place: Place) -> float:
        engine = Engine(6)
        firing = {3.0: 1.4, 6.0: 0.3, 1.0: 0.1}
        one = maker.made("n", firing, place=place, engine=engine, whole=1.5)
        said = gather([one], Vehicle(engine))
        return sum(e.log_ratio_db for e in said if e.cause == "engine-mount" and e.finding in LEVEL_FINDINGS)

    assert mount_db("engine") == 0
    assert mount_db("steering wheel") > 8

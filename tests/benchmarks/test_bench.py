"""The benchmark's own arithmetic: its statistics, bound, notebook and truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize
from scipy.signal import periodogram
from scipy.stats import binomtest

from tests.benchmarks import bench_accuracy, section_causes, section_speed
from tests.benchmarks.measures import brier, calibration_error, confusion, quantile, reliability, wilson
from tests.benchmarks.peer import comb_bound_hz, notebook_rpm, phone_noise, tone_bound_hz
from tests.benchmarks.promises import Promise, promised, share_promise
from tests.benchmarks.rows import CauseRow, Outcome, SpeedRow
from tests.benchmarks.subjects import simulated, with_reading
from tests.benchmarks.tables import table
from tests.benchmarks.trial import try_subject
from tests.benchmarks.truth import KeptTruth, WrittenTruth, filter_loss_db, true_change_db
from vibecore.engine import Engine
from vibecore.model import Condition, Recording
from vibecore.repair import FaultLines
from vibecore.simulate import Phone, Truth
from vibecore.simulate.vibration import Vibration

# ---------------------------------------------------------------- bound


def test_bound_of_one_tone() -> None:
    """fs 100 Hz, 30 s, A 0.1, s 0.02: 9.49e-5 Hz; 10 s, s 0.05: 1.2328e-3 Hz (Kay, Fundamentals of
    Statistical Signal Processing I, example 3.14; from memory, values computed apart)."""
    assert tone_bound_hz(100.0, 3000, 0.1, 0.02) == pytest.approx(9.49e-5, rel=1e-3)
    assert tone_bound_hz(100.0, 1000, 0.1, 0.05) == pytest.approx(1.2328e-3, rel=1e-4)


def test_bound_of_a_comb() -> None:
    """Orders 1 to 4 alike: 2.2508e-4 Hz, better than one tone by sqrt(1 + 4 + 9 + 16) (Christensen and
    Jakobsson, Multi-Pitch Estimation, 2009, asymptotic; from memory, values computed apart)."""
    comb = comb_bound_hz(100.0, 1000, {1.0: 0.1, 2.0: 0.1, 3.0: 0.1, 4.0: 0.1}, 0.05)
    assert comb == pytest.approx(2.2508e-4, rel=1e-4)
    assert tone_bound_hz(100.0, 1000, 0.1, 0.05) / comb == pytest.approx(30**0.5)


def test_least_squares_reaches_the_bound() -> None:
    """The best estimator of a tone in white noise is least squares, and it does no better than the bound."""
    fs, n, noise, f = 100.0, 500, 0.05, 12.3
    t = np.arange(n) / fs
    rng = np.random.default_rng(3)

    def misfit(frequency: float, x: np.ndarray) -> float:
        basis = np.column_stack([np.cos(2 * np.pi * frequency * t), np.sin(2 * np.pi * frequency * t)])
        return float(np.linalg.lstsq(basis, x, rcond=None)[1][0])

    found = [
        optimize.minimize_scalar(
            misfit,
            bounds=(f - 0.05, f + 0.05),
            args=(0.1 * np.cos(2 * np.pi * f * t + rng.uniform(0, 6)) + noise * rng.standard_normal(n),),
            method="bounded",
            options={"xatol": 1e-7},
        ).x
        for _ in range(200)
    ]
    assert np.std(found) == pytest.approx(tone_bound_hz(fs, n, 0.1, noise), rel=0.15)  # 200 runs: +-5 %


def test_no_line_has_no_bound() -> None:
    assert comb_bound_hz(100.0, 1000, {2.0: 0.0}, 0.05) == float("inf")


def test_noise_of_a_sample() -> None:
    """White noise of density d up to half the rate has variance d^2 fs / 2; rounding adds step^2 / 12."""
    rng = np.random.default_rng(1)
    white = 0.02 * rng.standard_normal(200_000)
    _, psd = periodogram(white, fs=200.0)
    assert phone_noise(float(np.sqrt(psd.mean())), 0.0, 200.0) == pytest.approx(white.std(), rel=0.01)
    exact = rng.uniform(-5, 5, 200_000)
    rounding = np.round(exact / 0.1) * 0.1 - exact
    assert phone_noise(0.0, 0.1, 200.0) == pytest.approx(rounding.std(), rel=0.01)


# ---------------------------------------------------------------- statistics


def test_interval_of_a_share_is_that_of_scipy() -> None:
    for hits, count in ((0, 10), (3, 10), (50, 50), (291, 300)):
        theirs = binomtest(hits, count).proportion_ci(0.95, method="wilson")
        assert wilson(hits, count) == pytest.approx((theirs.low, theirs.high), abs=1e-6)
    assert wilson(0, 0) == (0.0, 1.0)


def test_calibration_error_of_a_known_case() -> None:
    """Ten answers at 0.95 of which eight are right, ten at 0.55 of which five are: half of 0.15 and half of
    0.05."""
    stated = [0.95] * 10 + [0.55] * 10
    right = [True] * 8 + [False] * 2 + [True] * 5 + [False] * 5
    bins = reliability(stated, right)
    assert [(b.low, b.count, b.right) for b in bins] == [
        (pytest.approx(0.5), 10, 0.5),
        (pytest.approx(0.9), 10, 0.8),
    ]
    assert calibration_error(bins) == pytest.approx(0.5 * 0.15 + 0.5 * 0.05)
    assert calibration_error([]) is None


def test_calibrated_answers_have_a_small_error() -> None:
    rng = np.random.default_rng(2)
    stated = rng.uniform(0.3, 1.0, 20_000)
    right = rng.random(20_000) < stated
    assert (calibration_error(reliability(stated.tolist(), right.tolist())) or 0) < 0.02
    sure = np.minimum(stated + 0.2, 1.0)
    assert (calibration_error(reliability(sure.tolist(), right.tolist())) or 0) > 0.1


def test_a_chance_of_one_falls_into_the_last_bin() -> None:
    assert reliability([1.0], [True]) == [(0.9, 1.0, 1, 1.0, 1.0)]
    assert reliability([0.97], [False], (0.0, 0.95, 1.0)) == [(0.95, 1.0, 1, 0.97, 0.0)]


def test_brier_score() -> None:
    """Rain foretold at 0.7 and it rains: (0.7 - 1)^2 + 0.3^2 = 0.18 (Brier 1950, two classes)."""
    assert brier({"rain": 0.7, "dry": 0.3}, "rain") == pytest.approx(0.18)
    assert brier({"rain": 0.7, "dry": 0.3}, "snow") == pytest.approx(0.49 + 0.09 + 1.0)
    assert brier({"rain": 1.0}, "rain") == 0.0


def test_quantile_and_confusion() -> None:
    assert quantile([], 0.5) is None
    assert quantile([1.0, 2.0, 3.0], 0.5) == 2.0
    matrix = confusion([("a", "a"), ("a", "b"), ("b", "b")])
    assert matrix["a"] == {"a": 1, "b": 1}
    assert matrix["b"] == {"b": 1}


def test_promises_kept_and_broken() -> None:
    kept = share_promise("right %", [True] * 95 + [False] * 5, 90.0, "at least")
    assert (kept.value, kept.hits, kept.kept) == (95.0, 95, True)
    broken = replace(kept, limit=97.0)
    assert not broken.kept
    assert Promise("nothing seen", None, 1.0).kept
    text = promised([kept, broken])
    assert [line.endswith("missed") for line in text.splitlines()[2:4]] == [False, True]


def test_table_is_aligned() -> None:
    lines = table("T", ["", "n"], [["long name", 1], ["x", None]]).splitlines()
    assert lines[1:] == ["             n", "  long name  1", "  x          -"]


# ---------------------------------------------------------------- notebook and truth


def _recording(f_hz: float, fs: float = 100.0) -> Recording:
    t = np.arange(0, 20, 1 / fs)
    axes = np.outer(np.cos(2 * np.pi * f_hz * t), [0.1, 0.2, 0.05])
    axes[:, 2] += 9.8
    axes[:, 0] += 0.5 * np.cos(2 * np.pi * 37.0 * t)
    return Recording("r", t, axes, fs, True, len(t), 0)


def test_notebook_takes_the_strongest_peak() -> None:
    recording = _recording(24.0)
    assert notebook_rpm(recording, 2.0, None) == pytest.approx(37.0 * 30, abs=1.6)  # a bin: 1.5 rpm
    assert notebook_rpm(recording, 2.0, 700.0) == pytest.approx(24.0 * 30, abs=1.6)
    assert notebook_rpm(recording, 2.0, 5000.0) is None


def _kept(
    levels: dict[float, float], rpm: float = 720.0, seconds: float = 30.0, factor: float = 1.0
) -> KeptTruth:
    """Steady lines of these rms levels on engine orders, at a speed that rises by 5 % from end to end."""
    step = 1 / 1200
    t = np.arange(0, seconds, step)
    speed_hz = rpm / 60 * (0.975 + 0.05 * t / seconds)
    angle = np.cumsum(speed_hz) * step
    wave = sum(v * 2**0.5 * np.cos(2 * np.pi * o * angle) for o, v in levels.items())
    shake = factor * np.outer([0.6, 0.8, 0.0], wave)
    told = Truth(rpm, (0.0, seconds), np.zeros(0), np.zeros(0), {}, 0.0)
    motion = Vibration(step, shake, np.zeros_like(shake), angle, speed_hz)
    return KeptTruth(told, motion, Engine(4), factor, Phone())


def test_truth_over_a_part_of_the_recording() -> None:
    """The mean over the middle third of an even rise is that of the whole, over the first third 1.67 %
    less."""
    kept = _kept({2.0: 0.1})
    assert kept.mean_rpm((10.0, 20.0)) == pytest.approx(720.0, rel=1e-5)
    assert kept.mean_rpm((0.0, 10.0)) == pytest.approx(720.0 * (1 - 0.05 / 3), rel=1e-4)
    levels = kept.levels((5.0, 25.0), (0.5, 2.0))
    assert levels[2.0] == pytest.approx(0.1, rel=0.01)
    assert levels[0.5] < 1e-4
    assert kept.skirts((5.0, 25.0), (2.0,))[2.0] < 1e-3


def test_true_change_leaves_the_taping_out() -> None:
    before, after = _kept({1.0: 0.2, 2.0: 0.1}), _kept({1.0: 0.1, 2.0: 0.1}, factor=1.4)
    spans = ((2.0, 28.0), (2.0, 28.0))
    lines = FaultLines((1.0,))
    assert true_change_db(before, after, spans, lines) == pytest.approx(-6.02, abs=0.05)
    assert true_change_db(before, after, spans, FaultLines((2.0,))) == pytest.approx(0.0, abs=0.05)
    at_hz = FaultLines((), (24.0,))  # order 2 rises through 24 Hz: twice 12 a second
    assert abs(true_change_db(before, after, spans, at_hz) or 9.0) < 0.05


def test_filter_is_three_decibels_down_at_its_corner() -> None:
    """A Butterworth low-pass of any number of poles (from any filter handbook)."""
    for poles in (1, 2, 3):
        assert filter_loss_db(Phone(filter_hz=40.0, filter_poles=poles), 40.0) == pytest.approx(
            -3.01, abs=0.01
        )
    assert filter_loss_db(Phone(filter_hz=40.0, filter_poles=2), 80.0) == pytest.approx(-12.30, abs=0.01)
    assert filter_loss_db(Phone(), 80.0) == 0.0


def test_written_truth_reads_its_track() -> None:
    track = np.array([[0.0, 700.0], [1.0, 710.0], [2.0, 720.0]])
    truth = WrittenTruth(705.0, track, {2.0: 0.1})
    assert truth.mean_rpm((0.5, 2.0)) == 715.0
    assert truth.levels((0, 1), (0.5, 2.0)) == {2.0: 0.1}


# ---------------------------------------------------------------- the whole


def test_a_simulated_car_keeps_its_truth() -> None:
    """What the simulator tells of the whole recording is what the kept motion says over the same span."""
    subject = simulated(100_002)
    running = [h for h in subject.heard if h.condition.speed_hold != "engine off"]
    assert running
    for heard in running:
        told = heard.truth.told  # type: ignore[attr-defined]
        assert heard.truth.mean_rpm(told.steady_span_s) == pytest.approx(told.mean_rpm, rel=1e-4)
        levels = heard.truth.levels(told.steady_span_s, list(told.orders_m_s2))
        assert levels == pytest.approx(told.orders_m_s2, rel=1e-6)


def test_tuning_seeds_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(ValueError, match="not kept for testing"):
        simulated(17)
    assert bench_accuracy.main(["--seed", "17", "--jobs", "1"]) == 2
    assert "100000" in capsys.readouterr().err


def test_reading_is_within_five_percent() -> None:
    subject = simulated(100_002)
    heard = replace(subject.heard[0], condition=Condition(speed_hold="idle"))
    said = with_reading(heard, 700.0, 5)
    assert said.tachometer_rpm is not None
    assert abs(said.tachometer_rpm / 700 - 1) <= 0.05 + 5 / 700
    own = replace(heard, condition=Condition(tachometer_rpm=650.0))
    assert with_reading(own, 700.0, 5).tachometer_rpm == 650.0


def test_a_recording_that_cannot_be_read_is_counted() -> None:
    subject = simulated(100_002)
    broken = replace(subject, heard=(replace(subject.heard[0], data=b"\x00\x01nothing"), *subject.heard[1:2]))
    result = try_subject(broken, all_modes=False)
    assert len(result.errors) == 1
    assert "ReadingError" in result.errors[0]
    assert len(result.causes) == 1


def _speed(truth: float, rpm: float | None, confidence: float = 0.9) -> SpeedRow:
    return SpeedRow(
        "1", "a", "with tachometer", "normal", False, 4, 100.0, "idle", truth, rpm,
        None if rpm is None else rpm - 1, None if rpm is None else rpm + 1, confidence, "", 700.0, 1e-6, 1e-6,
    )  # fmt: skip


def test_speed_section_counts_wrong_null_and_covered() -> None:
    rows = (_speed(700.0, 700.5), _speed(700.0, 350.0), _speed(700.0, None), _speed(700.0, 702.0))
    text, promises = section_speed.section([Outcome(speeds=rows)], [], 1)
    named = {p.what: p for p in promises}
    assert named["speed with tachometer: wrong and sure %"].value == 25.0
    assert named["speed with tachometer: null %"].value == 25.0
    assert named["speed with tachometer: interval covers %"].value == pytest.approx(100 / 3)
    assert "said 350.0 rpm" in text


def _cause(truth: str, second: str | None, ranked: dict[str, float]) -> CauseRow:
    return CauseRow("1", truth, "", second, 4, 100.0, ranked, "1 right", ("a",), {})


def test_cause_section_counts_both_ways() -> None:
    rows = (
        _cause("normal", None, {"normal": 0.8, "engine-mount": 0.2}),
        _cause("normal", None, {"engine-mount": 0.6, "normal": 0.4}),
        _cause("cooling-fan", "engine-mount", {"engine-mount": 0.7, "cooling-fan": 0.3}),
        _cause("driveline", None, {"driveline": 0.9, "normal": 0.1}),
    )
    _, promises = section_causes.section([Outcome(causes=rows)], [], 0)
    named = {p.what: p.value for p in promises}
    assert named["causes: first right %"] == 50.0
    assert named["causes: first right, either fault %"] == 75.0
    assert named["causes: in the first two, either fault %"] == 100.0
    assert named["causes: sound car called faulty %"] == 50.0
    assert named["causes: expected calibration error"] == pytest.approx((0.2 + 0.6 + 0.3 + 0.1) / 4)

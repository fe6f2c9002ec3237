"""The benchmark's own arithmetic: its statistics and its report."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binomtest

from tests.benchmarks import bench_accuracy, section_causes, section_orders, section_repair, section_speed
from tests.benchmarks.measures import brier, calibration_error, confusion, quantile, reliability, wilson
from tests.benchmarks.promises import Promise, counts, promised, share_promise
from tests.benchmarks.rows import CauseRow, OrderRow, Outcome, RepairRow, SpeedRow
from tests.benchmarks.subjects import Subject, simulated, with_reading
from tests.benchmarks.tables import table
from tests.benchmarks.trial import by_contract, try_subject
from vibecore.model import Condition

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
    where = counts({"one": [True, False], "two": [False], "three": []})
    assert where == "one 1 of 2, two 0 of 1"
    text = promised([replace(kept, why=where), replace(broken, why=where)])
    assert text.count("missed: right %: one 1 of 2, two 0 of 1.") == 1


def test_table_is_aligned() -> None:
    lines = table("T", ["", "n"], [["long name", 1], ["x", None]]).splitlines()
    assert lines[1:] == ["             n", "  long name  1", "  x          -"]


# ---------------------------------------------------------------- the whole


@pytest.fixture(scope="module")
def subject() -> Subject:
    return simulated(100_002)


def test_a_simulated_car_keeps_its_truth(subject: Subject) -> None:
    """What the simulator tells of the whole recording is what the kept motion says over the same span."""
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


def test_reading_is_within_five_percent(subject: Subject) -> None:
    heard = replace(subject.heard[0], condition=Condition(speed_hold="idle"))
    said = with_reading(heard, 700.0, 5)
    assert said.tachometer_rpm is not None
    assert abs(said.tachometer_rpm / 700 - 1) <= 0.05 + 5 / 700
    own = replace(heard, condition=Condition(tachometer_rpm=650.0))
    assert with_reading(own, 700.0, 5).tachometer_rpm == 650.0


def test_a_recording_that_cannot_be_read_is_counted(subject: Subject) -> None:
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
    speeds = (700.5, 350.0, None, 702.0)
    rows = tuple(replace(_speed(700.0, rpm), seen=2) for rpm in speeds)
    text, promises = section_speed.section([Outcome(speeds=rows)], [], 1)
    named = {p.what: p for p in promises}
    assert named["speed with tachometer: wrong and sure %"].value == 25.0
    assert named["speed with tachometer: null %"].value == 25.0
    assert named["speed with tachometer: null %"].why.startswith("two 1 of 4 by how many engine orders")
    assert named["speed with tachometer: interval covers %"].value == pytest.approx(100 / 3)
    assert "said 350.0 rpm" in text


def _cause(truth: str, second: str | None, ranked: dict[str, float]) -> CauseRow:
    return CauseRow("1", truth, "", second, 4, 100.0, ranked, True, {}, "1 right", ("a",), {})


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


def test_order_section_takes_the_filter_out() -> None:
    """0.9 of the true level is -0.92 dB; a filter that takes 0.92 dB off explains all of it."""
    row = OrderRow("1", "a", "normal", 100.0, 2.0, 0.2, 0.1, 0.0, 0.09, 0.085, 0.095, -0.9151, None)
    steady = replace(row, rms=0.1, low=0.09, high=0.11, filter_db=0.0)
    text, promises = section_orders.section([Outcome(orders=(row, row, steady))], [], 1)
    named = {p.what: p.value for p in promises}
    assert named["orders: median error dB"] == pytest.approx(0.9151, abs=1e-3)
    assert named["orders: interval covers %"] == pytest.approx(100 / 3)
    cells = next(line for line in text.splitlines() if line.strip().startswith("all ")).split()
    assert cells[1:] == ["3", "0.0", "0.92", "0.92", "-0.92", "33.3", "0.00", "0.00"]


def test_repair_section_counts_false_cures_and_coverage() -> None:
    row = RepairRow(
        "1", "engine-mount", None, None, "unchanged", "cured", -8.0, -10.0, -6.0, -7.0, None, "", ""
    )
    rows = (row, replace(row, truth="cured"), replace(row, said="unchanged", true_db=-5.0))
    given = (replace(row, truth="cured", cause_given=True),)  # has a line of its own
    text, promises = section_repair.section([Outcome(repairs=rows + given)], [], 0)
    assert re.search(r"cause found by the checks +1 +100\.0", text)
    named = {p.what: p.value for p in promises}
    assert named["repair: verdict right %"] == pytest.approx(200 / 3)
    assert named["repair: false 'cured' when nothing was mended %"] == 50.0
    assert named["repair: interval covers %"] == pytest.approx(200 / 3)


def test_what_no_line_shows_is_unchanged_whatever_was_done() -> None:
    """Two tapings differ by 1.5 dB: a repair that moves neither the fault's lines nor those compared by so
    much cannot be told from none."""
    assert by_contract("improved", -0.8, -1.2) == "unchanged"
    assert by_contract("improved", -0.8, -9.0) == "improved"
    assert by_contract("cured", -6.0, None) == "cured"
    assert by_contract("worse", None, 0.1) == "worse"

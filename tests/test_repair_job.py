"""A whole job: which recordings are paired, what the lines of a cause are, and what a mount holds back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tests.repair_made import AFTER, FOUR, REFERENCE, SOUND, WHEEL, made
from vibecore import repair
from vibecore.balance import torque_sum
from vibecore.engine import Engine
from vibecore.model import Line, Signal, SpeedTrack
from vibecore.resonance import accelerance
from vibecore.sound_cars import BETWEEN_ORDERS, sound_level


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
    assert got.why.startswith("In drive at idle: the fault's own lines")
    assert any(n.startswith("In neutral at idle: cured") for n in got.notes)
    assert repair.repair_of_job(job[:2], FOUR) is None
    only_after = repair.repair_of_job(job[2:], FOUR)
    assert only_after is not None
    assert only_after.verdict == "cannot-tell"


def test_a_pair_made_alike_comes_before_one_that_was_not() -> None:
    """Two drives whose speed nobody can tell are before and after of one repair, and a recording in neutral
    is not, however near it comes: else the mechanic reads that the drive before was never made."""
    drive = replace(WHEEL, speed_hold=None)
    job = [
        made(SOUND, replace(WHEEL, gear="neutral"), name="neutral before"),
        replace(made(SOUND, drive, name="drive before"), speed=None, orders=None),
        replace(made(SOUND, replace(drive, stage="after"), name="drive after"), speed=None, orders=None),
    ]
    got = repair.repair_of_job(job, FOUR, cause_id="wheel-imbalance")
    assert got is not None
    assert got.verdict == "cannot-tell"
    assert "neutral" not in got.why
    assert "could not be told" in got.why


@pytest.mark.parametrize("unsaid", [{"gear": None}, {"gear": None, "speed_hold": None}])
def test_no_cure_where_the_gear_is_not_said_and_decides(unsaid) -> None:
    """The car idles in neutral as it always did, at the speed that it had in gear, by construction: nothing
    was mended. Against the recording in gear it would look cured."""
    neutral = replace(WHEEL, gear="neutral")
    befores = [
        made(SOUND, neutral, name="neutral before", rpm=760),
        made(SOUND | {2.0: 1.2}, WHEEL, name="drive before"),
    ]
    after = made(SOUND, replace(AFTER, gear="neutral"), name="after.csv")
    unnamed = replace(after, condition=replace(after.condition, **unsaid))
    got = repair.repair_of_job([*befores, unnamed], FOUR, cause_id="engine-mount")
    assert got is not None
    assert got.verdict == "cannot-tell"
    assert not got.proven
    assert not got.changes  # a picture of them would tell of the cure that may be none
    assert got.why == (
        "Gear or speed is not said for after.csv. Against drive at idle the verdict would be 'cured', "
        "against neutral at idle 'unchanged': say how each was made."
    )
    said = repair.repair_of_job([*befores, after], FOUR, cause_id="engine-mount")
    assert said is not None
    assert said.verdict == "unchanged"
    alone = repair.repair_of_job([befores[1], unnamed], FOUR, cause_id="engine-mount")
    assert alone is not None
    assert alone.verdict == "cured"  # nothing speaks against it; that it was not said is told beside it


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


@pytest.mark.parametrize(("cylinders", "orders"), [(2, (1.0,)), (3, (1.0, 2.0)), (4, (1.0, 2.0, 3.0))])
def test_a_weak_cylinder_of_a_two_stroke_shows_on_whole_orders(
    cylinders: int, orders: tuple[float, ...]
) -> None:
    """What repeats once a turn has no half orders (Fourier): the torque of equal firings over two turns, one
    cylinder dead, by the phasor sum of Den Hartog, Mechanical Vibrations, ch. 5."""
    engine = Engine(cylinders, strokes=2)
    fires_at = [360.0 * i / cylinders for i in range(2 * cylinders)]
    dead = 2 * [0.0, *[1.0] * (cylinders - 1)]
    by_hand = [o for o in engine.orders if torque_sum(fires_at, o, dead) > 0.5]
    assert [o for o in by_hand if o < engine.firing_order] == list(orders)
    assert repair.fault_lines("cylinder-misfire", made(SOUND), engine).orders == orders


def test_a_driveline_is_judged_by_its_line_in_gear_only_where_that_is_most_of_the_shake() -> None:
    """0.3 of 0.33 m/s2 at order 0.83 is gone, by construction: cured, whatever low modes do below the firing
    order. That a shaft's line is narrow and a mode wide: common practice, no source."""
    neutral = made(SOUND, replace(WHEEL, gear="neutral"), name="neutral")
    weak, strong = (Line(0.83 * 700 / 60, 0.83, rms, 25.0) for rms in (0.02, 0.3))
    drive = made(SOUND, name="before", other=(strong,))
    found = repair.fault_lines("driveline", drive, FOUR, [neutral, drive])
    assert found.orders == (0.83,)
    got = repair.repair_of_job([neutral, drive, made(SOUND, AFTER, name="after")], FOUR, cause_id="driveline")
    assert got is not None
    assert got.verdict == "cured"
    calm = made(SOUND, name="before", other=(weak,))
    assert drive.orders is not None
    x = drive.orders.spectrum.x
    hump = 0.09 * np.exp(-0.5 * ((x - 0.83) / 0.06) ** 2) / 0.15  # a mode that judders: as strong, but wide
    wide = replace(drive.orders, spectrum=replace(drive.orders.spectrum, psd=1e-6 + hump))
    judders = replace(drive, orders=wide)
    for before, befores in (
        (calm, [neutral, calm]),
        (judders, [neutral, judders]),
        (drive, [drive]),
        (drive, [replace(drive), neutral]),
    ):
        assert repair.fault_lines("driveline", before, FOUR, befores).band_hz is not None


def test_visits_show_the_level_against_the_sound_band() -> None:
    steps = [made(SOUND | {2.0: v}, name=f"visit {i}") for i, v in enumerate((1.0, 0.4, 0.12))]
    got = repair.visits(steps, repair.FaultLines((2.0,)), FOUR)
    assert [v.rms_m_s2 for v in got] == pytest.approx([1.0, 0.4, 0.12])
    assert all(v.low_m_s2 < v.rms_m_s2 < v.high_m_s2 for v in got)
    low, high = got[0].sound_band_m_s2
    assert low < 0.12 < high < 1.0


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


def test_what_sound_cars_show_in_a_band_is_the_same_for_visits_and_for_the_verdict() -> None:
    """Orders 0.5 to 1.5 of a four at 700 rpm lie within 3 to 19 Hz: sums of mean squares by hand."""
    (visit,) = repair.visits([made(SOUND)], repair.FaultLines(band_hz=(3.0, 19.0)), FOUR)
    low, high = visit.sound_band_m_s2
    inside = [
        BETWEEN_ORDERS,
        *(sound_level(o, FOUR, "steering wheel") for o in (0.5, 1.0, 1.5)),
    ]
    by_hand = 10 * np.log10(sum(10 ** (lv.median_db / 10) for lv in inside))
    assert 20 * np.log10(np.sqrt(low * high)) == pytest.approx(by_hand, abs=0.01)

"""What is read for the evidence: levels of families, and lines followed from recording to recording.

Levels are 20 log10 of an rms (ISO 80000-3); an unbalance's force grows with the square of the speed, 12 dB
for twice (any textbook on vibration).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.evidence import made as maker
from tests.evidence.made import line
from vibecore.evidence import lines, lone_lines
from vibecore.evidence.ground import ground_db
from vibecore.evidence.levels import read_levels
from vibecore.evidence.scene import scene_of
from vibecore.model import Analysis, Line, Signal
from vibecore.orders import lines_in_hertz


def test_several_recordings_held_alike_are_one_reading_of_their_mean() -> None:
    """0.1 and 0.4 m/s2 are -20 and -7.96 dB; two readings are known better by the root of two."""
    one, other = maker.made("a", {2.0: 0.1}), maker.made("b", {2.0: 0.4})
    (alone,) = [r for r in read_levels(scene_of([one]), maker.FOUR.engine) if r.family == "firing"]
    (both,) = [r for r in read_levels(scene_of([one, other]), maker.FOUR.engine) if r.family == "firing"]
    assert alone.level_db == pytest.approx(-20.0)
    assert both.level_db == pytest.approx((-20.0 - 7.96) / 2, abs=0.01)
    assert both.spread_db == pytest.approx(alone.spread_db / math.sqrt(2))
    assert both.seen_in == ("a", "b")


def test_a_family_is_led_by_its_strongest_order() -> None:
    (half,) = [
        r
        for r in read_levels(scene_of([maker.made("a", {0.5: 0.01, 1.5: 0.2})]), maker.FOUR.engine)
        if r.family == "half"
    ]
    assert half.lead == 1.5
    assert half.level_db == pytest.approx(20 * math.log10(math.hypot(0.01, 0.2)))


@pytest.mark.parametrize(
    ("grown_db", "same"), [(12.0, True), (28.0, True), (-14.0, True), (-20.0, False), (32.0, False)]
)
def test_a_line_that_keeps_its_order_grows_by_no_more_than_an_unbalance(grown_db: float, same: bool) -> None:
    """From 700 to 1400 rpm by 12 dB if it is out of balance, by none if it is not round (a lump in the belt
    pushes alike at any speed), give or take 18 for the modes it meets (`SAME_LEVEL_DB`)."""
    low, high = line(1.34, 700, 0.05), line(1.34, 1400, 0.05 * 10 ** (grown_db / 20))
    scene = scene_of([maker.made("a", lines=[low]), maker.made("b", rpm=1400.0, hold="raised", lines=[high])])
    assert (lines.strongest_kept(scene, "order") is not None) == same


@pytest.mark.parametrize(("idle", "raised", "over"), [(0.5, 0.2, 0.5), (0.3, 0.8, 0.3), (0.04, 0.03, 0.056)])
def test_a_followed_line_counts_by_its_share_of_what_is_felt(idle: float, raised: float, over: float) -> None:
    """The complaint is of the worst idle. Nobody feels what most sound cars shake (0.056, `WHOLE`)."""
    kept = [line(1.34, rpm, 0.1) for rpm in (700, 1100)]
    scene = scene_of(
        [
            maker.made("a", lines=kept[:1], whole=idle),
            maker.made("b", rpm=1100.0, hold="raised", lines=kept[1:], whole=raised),
        ]
    )
    found = lines.strongest_kept(scene, "order")
    assert found is not None
    assert found.share_db == pytest.approx(20 * math.log10(0.1 / over), abs=0.3)


@pytest.mark.parametrize(("damping", "motor"), [(0.0, True), (0.03, False), (0.08, False)])
def test_what_keeps_its_hertz_is_a_motor_only_where_it_is_as_narrow_as_one(
    damping: float, motor: bool
) -> None:
    """A mode of 20 Hz that an unsteady engine rings is 2 x damping x 20 Hz wide, 1.2 Hz at 0.03, whatever the
    speed (the half-power width of a single degree of freedom); a motor turns as steadily as a sine."""
    assert (lines.strongest_kept(scene_of(_humming(20.1, damping)), "hertz") is not None) == motor
    off = [
        replace(a, condition=replace(a.condition, speed_hold="engine off")) for a in _humming(20.1, damping)
    ]
    assert (lines.with_engine_off(scene_of(off)) is not None) == motor


def _humming(hertz: float, damping: float) -> list[Analysis]:
    """Idle and raised idle with 0.3 m/s2 at one place in hertz: a sine, or noise through a mode of it."""
    rng, t = np.random.default_rng(5), np.arange(0.0, 30.0, 1 / maker.FS_HZ)
    analyses = []
    for rpm, hold in ((700.0, "idle"), (1100.0, "raised")):
        x = np.sin(2 * np.pi * hertz * t)
        if damping:
            f = np.fft.rfftfreq(len(t), 1 / maker.FS_HZ) / hertz
            mode = 1 / (1 - f**2 + 2j * damping * f)
            x = np.fft.irfft(np.fft.rfft(rng.standard_normal(len(t))) * mode, len(t))
        accel = 0.003 * rng.standard_normal((len(t), 3))
        accel[:, 2] += 0.3 * x / x.std()
        made = maker.made(hold, rpm=rpm, hold=hold, whole=0.3)  # type: ignore[arg-type]
        signal = Signal(maker.FS_HZ, 0.0, accel, np.ones(len(t), bool), (0.0, 30.0), True, 0.0)
        found, spectrum = lines_in_hertz(signal)
        analyses.append(replace(made, signal=signal, lines=found, spectrum_hz=spectrum))
    return analyses


@pytest.mark.parametrize(("hertz", "told"), [(7.0, False), (9.5, True)])
def test_with_nothing_to_compare_with_only_lines_above_the_cars_own_modes_count(
    hertz: float, told: bool
) -> None:
    """A body on its mounts rings below 8 Hz: common practice, no source."""
    alone = Line(hertz, hertz * 60 / 700, 0.1, 20.0)
    assert (lone_lines.strongest_alone(scene_of([maker.made("a", lines=[alone])])) is not None) == told


def test_a_place_that_nobody_named_comes_after_the_wheel_whichever_was_recorded_first() -> None:
    named, unnamed, seat = (
        maker.made(n, place=p) for n, p in (("a", "steering wheel"), ("b", None), ("c", "seat"))
    )
    for job in ((named, unnamed), (unnamed, named)):
        assert scene_of(job).place == "steering wheel"
    for job in ((seat, unnamed), (unnamed, seat)):
        assert scene_of(job).place is None


def test_the_shake_between_the_orders_is_not_that_of_a_fan_that_the_wander_smears() -> None:
    """A line of 21 Hz lies at orders 1.64 to 1.95 while the idle wanders from 770 to 645 rpm, by definition
    of the order: in the gap from 1.62 to 1.88 all of it may be the fan's."""
    made = maker.made("a", ground=0.03)
    assert made.orders is not None
    assert made.speed is not None
    x, psd = made.orders.spectrum.x, made.orders.spectrum.psd
    fan = np.where((x > 1.62) & (x < 1.96), 1e3 * psd, psd)
    smeared = replace(made.orders, spectrum=replace(made.orders.spectrum, psd=fan))
    hunting = replace(made.speed, rpm=np.linspace(645.0, 770.0, len(made.speed.rpm)))
    ground = [
        ground_db(replace(made, orders=orders, speed=hunting), 4.0, hz)
        for orders, hz in ((made.orders, ()), (smeared, ()), (smeared, (21.0,)))
    ]
    assert all(level is not None for level in ground)
    sound, taken, left = (level or 0.0 for level in ground)
    assert taken > sound + 15
    assert left == pytest.approx(sound, abs=1.0)

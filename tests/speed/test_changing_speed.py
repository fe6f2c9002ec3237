"""Speed of cranks whose angle is a formula and whose speed drifts, hunts, is swept, blips or steps."""

from __future__ import annotations

import numpy as np
import pytest

from tests.speed.closed_form import Crank, as_signal, noise, shake
from tests.speed.engines import FOUR, IDLE, SOUND_FOUR, WRONG, found, heard, sure
from vibecore.model import Condition, Floats, Signal
from vibecore.speed import LEAST_SWEEP, find_speed


@pytest.mark.parametrize("slope_hz_s", [0.02, -0.02, 0.04])
def test_a_speed_that_drifts(slope_hz_s: float) -> None:
    sound = heard(SOUND_FOUR, Crank(12.0, 30.0, slope_hz_s=slope_hz_s))
    track = sure(sound, FOUR)
    assert track.mean_rpm == pytest.approx(sound.mean_rpm, rel=1e-3)
    turned = np.polyfit(track.t_s, track.rpm / 60, 1)[0]
    assert turned == pytest.approx(slope_hz_s, abs=0.003)


@pytest.mark.parametrize("period_s", [1.5, 3.0, 6.0])
def test_an_idle_that_hunts_by_60_rpm_is_not_read_wrong(period_s: float) -> None:
    sound = heard(SOUND_FOUR, Crank(12.0, 24.0, swing_hz=1.0, period_s=period_s))
    track = found(sound, FOUR)
    assert track is None or track.mean_rpm == pytest.approx(sound.mean_rpm, rel=WRONG)


@pytest.mark.parametrize("period_s", [1.5, 3.0, 6.0])
def test_the_interval_holds_under_hunting(period_s: float) -> None:
    sound = heard(SOUND_FOUR, Crank(12.0, 24.0, swing_hz=1.0, period_s=period_s))
    track = sure(sound, FOUR)
    assert track.low_rpm <= sound.mean_rpm <= track.high_rpm


def _of_speed(speed_hz: Floats, fs_hz: float = 200.0) -> tuple[Signal, float]:
    """A sound four turning at speed_hz (n,) at even steps, and its mean in rpm."""
    accel = shake(np.cumsum(speed_hz) / fs_hz, SOUND_FOUR) + noise(len(speed_hz), 0.04)
    return as_signal(accel, fs_hz), 60 * float(speed_hz.mean())


def _swept(top_rpm: float) -> Floats:
    """Idle, up to top_rpm and idle again within 30 s, smoothly."""
    share = np.clip((np.arange(6000) / 6000 - 0.1) / 0.8, 0, 1)
    return np.asarray(12.0 + (top_rpm / 60 - 12.0) * (0.5 - 0.5 * np.cos(2 * np.pi * share)))


def _blipped(rise_hz: float, width_s: float) -> Floats:
    t_s = np.arange(4800) / 200.0
    return np.asarray(12.0 + rise_hz * np.exp(-0.5 * ((t_s - 12) / width_s) ** 2))


@pytest.mark.parametrize("hold", ["sweep", "idle", None])
@pytest.mark.parametrize("top_rpm", [1000.0, 1400.0, 2000.0])
def test_a_sweep_is_right_or_refused(top_rpm: float, hold: str | None) -> None:
    signal, mean_rpm = _of_speed(_swept(top_rpm))
    track = find_speed(signal, FOUR, Condition(None, "neutral", hold)).track  # type: ignore[arg-type]
    assert track is None or track.mean_rpm == pytest.approx(mean_rpm, rel=WRONG)


def test_a_sweep_in_which_nothing_sweeps_is_refused() -> None:
    """At an even rate from a to b the standard deviation is (b - a) / sqrt(12): from 700 to 950 rpm 72."""
    assert LEAST_SWEEP * 825 < (950 - 700) / 12**0.5
    signal, _ = _of_speed(np.full(6000, 12.0))
    answer = find_speed(signal, FOUR, Condition(None, "neutral", "sweep"))
    assert answer.track is None
    assert [w.code for w in answer.warnings] == ["sweep-not-followed"]
    assert find_speed(signal, FOUR, Condition(None, "neutral", "idle")).track is not None


def _blip_is_right_or_refused(rise_hz: float, width_s: float) -> bool:
    signal, mean_rpm = _of_speed(_blipped(rise_hz, width_s))
    track = find_speed(signal, FOUR, IDLE).track
    return track is None or abs(track.mean_rpm / mean_rpm - 1) < WRONG


@pytest.mark.parametrize(("rise_hz", "width_s"), [(2.0, 0.7), (4.0, 0.7), (4.0, 2.0), (6.0, 1.0)])
def test_a_small_blip_of_the_throttle_is_right_or_refused(rise_hz: float, width_s: float) -> None:
    assert _blip_is_right_or_refused(rise_hz, width_s)


def test_strong_blips_of_the_throttle_are_right_or_refused() -> None:
    """Up by 8 to 12 turns a second within half a second to two: the mean of the whole rises by 3 to 20 %."""
    blips = [(rise, width) for rise in (8.0, 10.0, 12.0) for width in (0.5, 0.7, 1.0, 2.0)]
    assert [b for b in blips if not _blip_is_right_or_refused(*b)] == []


ORDER_TWO_TO_ONE = pytest.param(
    650, 1150, marks=pytest.mark.xfail(strict=True, reason="wrong and sure: order 2 goes over into order 1")
)


@pytest.mark.parametrize(("from_rpm", "to_rpm"), [(720, 900), (754, 987), (800, 640), ORDER_TWO_TO_ONE])
@pytest.mark.parametrize("hold", ["idle", None])
def test_a_speed_that_steps_half_way_is_right_or_refused(
    from_rpm: int, to_rpm: int, hold: str | None
) -> None:
    """A load switched on, a throttle let go: the mean over time lies between the two, held by neither."""
    t_s = np.arange(8000) / 200.0
    signal, mean_rpm = _of_speed((from_rpm + (to_rpm - from_rpm) / (1 + np.exp((20 - t_s) / 0.3))) / 60)
    track = find_speed(signal, FOUR, Condition(None, "neutral", hold)).track  # type: ignore[arg-type]
    assert track is None or track.mean_rpm == pytest.approx(mean_rpm, rel=WRONG)


def test_an_engine_that_stops_half_way_is_right_for_the_time_it_ran() -> None:
    """Stop-start: the mean is over turns that were made; refusing is allowed, double or half is not."""
    angle = 12.0 * np.arange(4800) / 200.0
    running = (np.arange(4800) < 2400)[:, None]
    signal = as_signal(shake(angle, SOUND_FOUR) * running + noise(4800, 0.04), 200.0)
    track = find_speed(signal, FOUR, IDLE).track
    assert track is None or track.mean_rpm == pytest.approx(720.0, rel=WRONG)

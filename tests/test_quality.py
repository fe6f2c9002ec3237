"""Each named warning, called for and not called for. Noise of rounding: step / sqrt(12), Bennett, Bell System
Technical Journal 27, 1948. Limits of 30 s, 90 samples a second and so on: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.speed.closed_form import Crank, as_recording, noise, shake
from vibecore.conditioning import condition
from vibecore.model import Floats, Recording, Warn
from vibecore.quality import filter_may_take, resolution

GRAVITY = (0.0, 0.0, 9.80665)


def _sound(
    seconds: float = 30.0, fs_hz: float = 200.0, level: float = 0.2, noise_rms: float = 0.03
) -> Recording:
    """Nothing to complain of: a steady idle, fine steps, nobody near."""
    t_s = np.arange(round(seconds * fs_hz)) / fs_hz
    angle = Crank(12.0, seconds, swing_hz=0.15).angle_rev(t_s)
    accel = shake(angle, {2.0: level, 1.0: level / 3}, axes=(0.5, 0.3, 0.8)) + noise(len(t_s), noise_rms)
    return as_recording(t_s, accel, fs_hz, gravity=GRAVITY)


def _changed(recording: Recording, accel: Floats) -> Recording:
    return replace(recording, accel_m_s2=np.array(accel))


def _told(recording: Recording) -> dict[str, str]:
    return {w.code: w.message for w in condition(recording).warnings}


def test_a_sound_recording_has_nothing_to_complain_of() -> None:
    assert _told(_sound()) == {}


@pytest.mark.parametrize(("seconds", "told"), [(5.0, True), (10.0, True), (20.0, False), (60.0, False)])
def test_short(seconds: float, told: bool) -> None:
    found = _told(_sound(seconds))
    assert ("short" in found) == told
    if told:
        assert f"{seconds:.0f} s" in found["short"]
        assert "Record 30 s" in found["short"]


def test_short_speaks_of_what_could_be_used_not_of_the_file() -> None:
    made = _sound(24.0)
    accel = np.array(made.accel_m_s2)
    hand = np.random.default_rng(1).standard_normal((2000, 3))  # ten seconds in a hand
    accel[:2000] += 6.0 * hand
    assert "short" in _told(_changed(made, accel))
    assert "short" not in _told(made)


@pytest.mark.parametrize(("fs_hz", "told"), [(25.0, True), (60.0, True), (100.0, False), (400.0, False)])
def test_slow(fs_hz: float, told: bool) -> None:
    """Nothing above half the rate is seen: Shannon's sampling theorem."""
    found = _told(_sound(fs_hz=fs_hz))
    assert ("slow" in found) == told
    if told:
        assert f"above {fs_hz / 2:.0f} Hz" in found["slow"]


@pytest.mark.parametrize(("limit", "told"), [(0.15, True), (0.2, True), (2.0, False)])
@pytest.mark.parametrize("side", [1, -1])
def test_clipped(limit: float, told: bool, side: int) -> None:
    made = _sound()
    accel = side * np.array(made.accel_m_s2)
    accel[:, 2] = side * np.minimum(side * accel[:, 2], 9.80665 + limit)
    found = _told(_changed(made, accel))
    assert ("clipped" in found) == told
    if told:
        assert "range" in found["clipped"]


def test_a_coarse_but_unclipped_file_is_not_called_clipped() -> None:
    """Rounding makes equal neighbours too, but seldom at the very top."""
    made = _sound()
    assert "clipped" not in _told(_changed(made, np.round(made.accel_m_s2 / 0.05) * 0.05))


@pytest.mark.parametrize(("step", "told"), [(0.0006, False), (0.0098, False), (0.1, True)])
def test_coarse(step: float, told: bool) -> None:
    """A browser rounds to 0.1 m/s2 (W3C, Generic Sensor); data sheets: 16 bits at 2 g is 0.0006 m/s2."""
    made = _sound(level=0.1, noise_rms=0.02)
    found = _told(_changed(made, np.round(made.accel_m_s2 / step) * step))
    assert ("coarse" in found) == told
    if told:
        assert f"{step:.3f} m/s2" in found["coarse"]


@pytest.mark.parametrize("step", [0.0024, 0.0098, 0.0383, 0.1])
def test_the_step_of_a_file_is_found(step: float) -> None:
    made = _sound(level=0.4)
    assert resolution(np.round(made.accel_m_s2 / step) * step) == pytest.approx(step, rel=1e-6)


def test_a_step_too_fine_to_see_is_none() -> None:
    assert resolution(_sound().accel_m_s2) == 0.0
    assert resolution(np.zeros((100, 3))) == 0.0


@pytest.mark.parametrize(("share", "told"), [(0.0, False), (0.005, False), (0.05, True), (0.2, True)])
def test_lost_samples(share: float, told: bool) -> None:
    made = _sound()
    lost = round(share * made.rows)
    found = _told(replace(made, lost_samples=lost))
    assert ("lost-samples" in found) == told
    if told:
        assert str(lost) in found["lost-samples"]


def test_a_gap_is_told_once() -> None:
    """The reader tells of gaps where there are some; what it told is not told again."""
    made = replace(_sound(), warnings=(Warn("lost-samples", "400 samples are missing in 1 gap."),))
    assert "lost-samples" not in _told(replace(made, lost_samples=400))


def _knocked(count: int) -> Recording:
    made = _sound(30.0)
    t_s, accel = made.t_s, np.array(made.accel_m_s2)
    for at_s in np.linspace(2.5, 27.5, count):
        since = np.clip(t_s - at_s, 0, None)
        accel[:, 0] += 8 * np.exp(-12 * since) * np.sin(2 * np.pi * 28 * since)
    return _changed(made, accel)


@pytest.mark.parametrize(("count", "told"), [(0, False), (2, False), (10, True)])
def test_knocks(count: int, told: bool) -> None:
    found = _told(_knocked(count))
    assert ("knocks" in found) == told
    if told:
        assert f"{count} knocks" in found["knocks"]


def test_gaps_are_not_called_knocks() -> None:
    made = _sound(30.0)
    keep = np.ones(made.rows, dtype=bool)
    for at in range(600, 5400, 400):
        keep[at : at + 120] = False
    gappy = replace(
        made,
        t_s=made.t_s[keep].copy(),
        accel_m_s2=made.accel_m_s2[keep].copy(),
        lost_samples=int((~keep).sum()),
    )
    found = _told(gappy)
    assert "lost-samples" in found
    assert "knocks" not in found


def test_every_warning_says_what_to_do_and_has_a_plain_code() -> None:
    made = _sound(10.0, fs_hz=50.0, level=0.06, noise_rms=0.02)
    rough = np.round(made.accel_m_s2 / 0.1) * 0.1
    found = _told(replace(_changed(made, rough), lost_samples=100))
    found |= _told(_changed(made, np.minimum(made.accel_m_s2, 9.83)))
    assert {"short", "slow", "clipped", "coarse", "lost-samples"} <= set(found)
    for code, message in found.items():
        assert code == code.lower()
        assert " " not in code
        assert message.count(".") >= 2  # what is wrong, then what to do
        assert "nan" not in message.lower()


def test_warnings_do_not_hang_on_where_the_phone_lay() -> None:
    from scipy.spatial.transform import Rotation

    made = _sound(10.0, fs_hz=60.0)
    for seed in range(3):
        turned = Rotation.random(rng=np.random.default_rng(seed)).apply(np.array(made.accel_m_s2))
        assert set(_told(_changed(made, turned))) == {"short", "slow"}


def test_what_the_phones_filter_may_take() -> None:
    # BMI160 data sheet (BST-BMI160-DS000-06): -3 dB at 40.5 Hz at 100 samples a second in the normal mode.
    # One pole falls by 1 dB at 0.509 of its half-power frequency (any textbook on filters).
    assert 20 * np.log10(filter_may_take(40.5, 100.0)) == pytest.approx(3.01, abs=0.01)
    assert 20 * np.log10(filter_may_take(0.509 * 81.0, 200.0)) == pytest.approx(1.0, abs=0.005)
    assert filter_may_take(0.0, 100.0) == 1.0

"""Level and phase of an order over the wander of an idle, against the closed form of a single mode (Thomson,
Theory of Vibration with Applications, ch. 3)."""

from __future__ import annotations

import numpy as np
import pytest

from vibecore.model import Floats, Signal, SpeedTrack
from vibecore.wander import order_slope, phase_slope

FS_HZ, SECONDS, RPM = 200.0, 60.0, 720.0
BESIDE = [0.5, 1.0, 4.0]


def answer(f_hz: Floats, natural_hz: float, damping: float) -> Floats:
    r = f_hz / natural_hz
    return 1 / (1 - r**2 + 2j * damping * r)


def slope_of(f_hz: float, natural_hz: float, damping: float) -> complex:
    """d ln H / d ln f by central difference of the closed form."""
    ends = np.log(answer(f_hz * np.array([1 - 1e-4, 1 + 1e-4]), natural_hz, damping))
    return complex(ends[1] - ends[0]) / 2e-4


def idle(
    natural_hz: float | None,
    damping: float = 0.04,
    *,
    noise: float = 0.002,
    misread: float = 0.0,
    sd: float = 0.006,
) -> tuple[Signal, SpeedTrack]:
    """Order 2 through a mode, the others as they are; `misread`: by so many radians a unit of ln speed the
    angle is off at order 2, as if it had been read off that order."""
    rng = np.random.default_rng(7)
    n = round(FS_HZ * SECONDS)
    t = np.arange(n) / FS_HZ
    swing = sum(np.sin(2 * np.pi * t / period + rng.uniform(0, 6.28)) for period in (4.3, 7.1, 11.9))
    log_speed = sd * swing / np.std(swing)
    speed_hz = RPM / 60 * np.exp(log_speed)
    angle = np.cumsum(speed_hz) / FS_HZ
    path = np.ones(n, complex) if natural_hz is None else answer(2 * speed_hz, natural_hz, damping)
    path = path / np.abs(path).mean()
    shake = 0.3 * (path * np.exp(4j * np.pi * angle)).real
    for order, level in ((0.5, 0.05), (1.0, 0.06), (4.0, 0.08)):
        shake = shake + level * np.cos(2 * np.pi * order * angle + order)
    accel = np.outer(shake, [0.5, 0.3, 0.8]) + noise * np.sqrt(FS_HZ / 2) * rng.normal(size=(n, 3))
    read = angle + misread * log_speed / (2 * np.pi * 2)
    signal = Signal(FS_HZ, 0.0, accel, np.ones(n, bool), (0.0, SECONDS), True, 0.0)
    rpm = 60 * speed_hz
    return signal, SpeedTrack(t, rpm, RPM, RPM - 1, RPM + 1, float(rpm.std()), 0.99, "vibration", read)


@pytest.mark.parametrize("natural_hz", [24.0, 23.2, 25.0, 28.0])
def test_a_mode_turns_the_phase_and_tilts_the_level_as_theory_says(natural_hz: float) -> None:
    signal, track = idle(natural_hz)
    expected = slope_of(24.0, natural_hz, 0.04)
    level, phase = order_slope(signal, track, 2.0), phase_slope(signal, track, 2.0, BESIDE)
    assert level is not None
    assert phase is not None
    # the wander crosses a third of the mode's width, over which the slope itself changes
    assert level.value == pytest.approx(expected.real, abs=0.15 * abs(expected) + 3 * level.error)
    assert phase.value == pytest.approx(expected.imag, abs=0.15 * abs(expected) + 3 * phase.error)


def test_without_a_mode_nothing_turns() -> None:
    signal, track = idle(None)
    level, phase = order_slope(signal, track, 2.0), phase_slope(signal, track, 2.0, BESIDE)
    assert level is not None
    assert phase is not None
    assert abs(level.value) < 3 * level.error
    assert abs(phase.value) < 2 * phase.error


@pytest.mark.parametrize("misread", [-20.0, 8.0])
def test_an_angle_misread_with_speed_does_not_count(misread: float) -> None:
    plain, off = (phase_slope(*idle(24.0, misread=m), 2.0, BESIDE) for m in (0.0, misread))
    assert plain is not None
    assert off is not None
    assert off.value == pytest.approx(plain.value, abs=1.0)


def test_what_cannot_be_followed_is_not_told() -> None:
    signal, track = idle(24.0)
    assert phase_slope(signal, track, 2.0, []) is None
    assert phase_slope(signal, track, 2.0, [3.5]) is None  # noise alone
    loud = idle(24.0, noise=0.5)
    assert phase_slope(*loud, 2.0, BESIDE) is None
    still = idle(24.0, sd=0.0005)
    wide = phase_slope(*still, 2.0, BESIDE)
    assert wide is None or wide.error > 3


def test_a_long_recording_is_told_from_its_middle(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("vibecore.wander.LONGEST_S", 40.0)
    short = phase_slope(*idle(24.0), 2.0, BESIDE)
    assert short is not None
    assert short.value == pytest.approx(slope_of(24.0, 24.0, 0.04).imag, rel=0.15)

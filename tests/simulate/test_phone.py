"""What the simulated phone writes down."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from vibecore.simulate.phone import Hand, Phone, Taping, draw_phone, draw_taping, sample

STEP_S = 1 / 1200.0
QUIET = {"noise_m_s2_rthz": 0.0, "step_m_s2": 1e-9, "gravity": False}
STRAIGHT = Taping(np.eye(3), 1.0)


def _sine(hz: float, seconds: float = 20.0, size: float = 0.5) -> np.ndarray:
    t = np.arange(int(seconds / STEP_S) + 1) * STEP_S
    return np.stack([size * np.sin(2 * np.pi * hz * t), 0 * t, 0 * t])


def _peak_hz(t_s: np.ndarray, a: np.ndarray) -> float:
    f, p = signal.periodogram(a[:, 0] - a[:, 0].mean(), 1 / np.mean(np.diff(t_s)))
    return float(f[np.argmax(p)])


# A line above half the rate is seen at |f - k fs| (Shannon's sampling theorem).
@pytest.mark.parametrize(
    ("hz", "fs_hz", "seen_hz"), [(46.667, 60.0, 13.333), (50.0, 59.4, 9.4), (20.0, 60.0, 20.0)]
)
def test_fast_lines_fold_down(hz: float, fs_hz: float, seen_hz: float) -> None:
    t, a = sample(
        Phone(rate_hz=fs_hz, **QUIET), Hand(), STRAIGHT, _sine(hz), STEP_S, np.random.default_rng(0)
    )
    assert _peak_hz(t, a) == pytest.approx(seen_hz, abs=0.06)
    assert a[:, 0].std() == pytest.approx(0.5 / np.sqrt(2), rel=0.01)


def test_filter_is_three_decibels_down_at_its_corner() -> None:
    for poles in (1, 2, 3):
        phone = Phone(rate_hz=200.0, filter_hz=40.0, filter_poles=poles, **QUIET)
        _, a = sample(phone, Hand(), STRAIGHT, _sine(40.0), STEP_S, np.random.default_rng(0))
        assert a[100:-100, 0].std() == pytest.approx(0.5 / 2, rel=0.02)
        _, a = sample(phone, Hand(), STRAIGHT, _sine(80.0), STEP_S, np.random.default_rng(0))
        # an octave above: 10 log10(1 + 2^(2 n)) dB down (Butterworth's form, any filter handbook)
        down_db = 20 * np.log10(0.5 / np.sqrt(2) / a[100:-100, 0].std())
        assert down_db == pytest.approx(10 * np.log10(1 + 4.0**poles), abs=0.3)


def test_gravity_is_standard() -> None:
    phone = Phone(gravity=True, noise_m_s2_rthz=0.0, step_m_s2=1e-9)
    taping = draw_taping(np.random.default_rng(4), 1.0)
    _, a = sample(phone, Hand(), taping, 0 * _sine(1.0), STEP_S, np.random.default_rng(0))
    assert np.linalg.norm(a.mean(axis=0)) == pytest.approx(9.80665, rel=1e-6)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_any_way_the_phone_lies_gives_the_same_three_axis_level(seed: int) -> None:
    taping = Taping(draw_taping(np.random.default_rng(seed), 1.0).turned, 1.0)
    assert np.allclose(taping.turned @ taping.turned.T, np.eye(3))
    assert np.linalg.det(taping.turned) == pytest.approx(1.0)
    levels = [
        np.sqrt(
            np.sum(
                sample(Phone(**QUIET), Hand(), way, _sine(20.0, 5), STEP_S, np.random.default_rng(0))[1] ** 2
            )
        )
        for way in (STRAIGHT, taping)
    ]
    assert levels[1] == pytest.approx(levels[0], rel=0.02)  # an offset, drawn anew, differs


def test_noise_has_its_density() -> None:
    """180 micro-g per root hertz (BMI160 data sheet): 1.77e-3 m/s2 per root hertz, by scipy's Welch."""
    phone = Phone(rate_hz=200.0, noise_m_s2_rthz=180e-6 * 9.80665, step_m_s2=1e-9, gravity=False)
    _, a = sample(phone, Hand(), STRAIGHT, 0 * _sine(1.0, 60), STEP_S, np.random.default_rng(0))
    _, p = signal.welch(a.T, 200.0, nperseg=512)
    assert np.sqrt(p[:, 5:-5].mean()) == pytest.approx(1.765e-3, rel=0.03)


def test_values_lie_on_the_steps() -> None:
    """A browser rounds to 0.1 m/s2 (W3C): rms of the rounding 0.1 / sqrt 12 = 0.02887."""
    exact = sample(Phone(**QUIET), Hand(), STRAIGHT, _sine(17.0, size=3.0), STEP_S, np.random.default_rng(0))[
        1
    ]
    coarse = sample(Phone(**{**QUIET, "step_m_s2": 0.1}), Hand(), STRAIGHT, _sine(17.0, size=3.0), STEP_S,
                    np.random.default_rng(0))[1]  # fmt: skip
    assert np.allclose(coarse / 0.1, np.round(coarse / 0.1), atol=1e-6)
    assert np.std((coarse - exact)[:, 0]) == pytest.approx(0.02887, rel=0.05)


def test_lost_samples_leave_holes_and_clipping_stops_at_the_range() -> None:
    phone = Phone(rate_hz=100.0, loss=0.05, gaps=1, range_g=2.0, **QUIET)
    t, a = sample(phone, Hand(), STRAIGHT, _sine(5.0, size=40.0), STEP_S, np.random.default_rng(1))
    assert 1 - len(t) / 2000 == pytest.approx(0.05 + 0.25 / 20, abs=0.03)
    assert np.max(np.diff(t)) > 0.03
    assert np.max(np.abs(a)) == pytest.approx(2 * 9.80665, rel=1e-6)


def test_handling_and_knocks_are_where_they_are_said_to_be() -> None:
    hand = Hand(start_s=2.0, end_s=1.0, knocks_s=(10.0,), strength_m_s2=3.0)
    t, a = sample(Phone(**QUIET), hand, STRAIGHT, 0 * _sine(1.0), STEP_S, np.random.default_rng(0))
    size = np.linalg.norm(a - np.median(a, axis=0), axis=1)
    assert size[t < 1.5].mean() > 0.1
    assert size[(t > 10.0) & (t < 10.1)].max() > 0.3
    quiet = size[((t > 2.2) & (t < 9.9)) | ((t > 11.0) & (t < 18.8))]
    assert quiet.max() < 0.01


def test_stamps_run_forward_whatever_the_phone() -> None:
    for seed in range(40):
        rng = np.random.default_rng(seed)
        phone = draw_phone(rng)
        t, a = sample(phone, Hand(), STRAIGHT, _sine(20.0, 8), STEP_S, rng)
        assert t[0] == 0
        assert np.all(np.diff(t) >= 0)
        assert len(t) == len(a)
        if phone.stamps != "bursts":
            assert len(t) / t[-1] == pytest.approx(phone.rate_hz, rel=0.2)

"""Taps are found where they were made, and nowhere else. Their size beside an engine's shake: a finger's tap
on a dashboard is some m/s2 for some milliseconds; common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.speed.closed_form import as_recording, noise, shake
from vibecore.trying.taps import taps_s


def recorded(taps=(), fs_hz=100.0, size=3.0, seconds=48.0, seed=0, lost=()):
    t_s = np.arange(round(seconds * fs_hz)) / fs_hz
    accel = shake(t_s * 700 / 60, {2.0: 0.2, 0.5: 0.1}) + noise(len(t_s), 0.03, seed=seed)
    for at_s in taps:
        first = round(at_s * fs_hz)
        ring = size * np.exp(-np.arange(6) / 2) * np.cos(np.pi * np.arange(6))
        accel[first : first + 6] += ring[:, None] * [0.3, 0.2, 0.9]
    keep = ~np.isin(np.arange(len(t_s)), lost)
    return as_recording(t_s[keep], accel[keep], fs_hz)


@pytest.mark.parametrize("fs_hz", [50.0, 100.0, 208.0, 400.0])
def test_two_taps_are_found(fs_hz):
    assert taps_s(recorded((15.3, 31.7), fs_hz)) == pytest.approx((15.3, 31.7), abs=0.2)


@given(st.integers(0, 10_000))
@settings(max_examples=40)
def test_an_engine_alone_does_not_tap(seed):
    assert taps_s(recorded(seed=seed)) == ()


def test_a_tap_that_bounces_is_one():
    assert len(taps_s(recorded((15.3, 15.6, 31.7)))) == 2


def test_a_gap_is_no_tap():
    assert taps_s(recorded(lost=range(1500, 1530))) == ()

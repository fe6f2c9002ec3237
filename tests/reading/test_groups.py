"""Rows handed over in groups: the rate that they were sampled at, against clocks made here.

How loggers group rows (a buffer of so many samples, a timer that asks) is common practice, no source; that
lost samples leave their buffer early or late by nothing is what a buffer is.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.reading.make import codes, shake, with_stamps
from vibecore.model import Recording

HZ = 98.93  # no round number, so that no rounding brings it back
WHOLE = 10  # samples of a buffer
TRUTH = shake(HZ, 40.0)


def handed_over(kept: np.ndarray, jitter_s: float = 0.0, apart_s: float = 0.0) -> Recording:
    """The rows that were kept (n,), each stamped when its buffer of WHOLE samples was full."""
    rng = np.random.default_rng(3)
    n = len(TRUTH.t_s)
    ends = np.minimum((np.arange(n) // WHOLE + 1) * WHOLE - 1, n - 1)
    late = np.repeat(jitter_s * rng.random(-(-n // WHOLE)), WHOLE)[:n]
    stamps = TRUTH.t_s[ends] + late + apart_s * (np.arange(n) % WHOLE)
    truth = replace(TRUTH, t_s=TRUTH.t_s[kept], accel=TRUTH.accel[kept])
    return with_stamps([f"{t:.6f}" for t in stamps[kept]], truth)


@pytest.mark.parametrize("lost", [0.002, 0.02, 0.05])
@pytest.mark.parametrize(("jitter_s", "apart_s"), [(0.0, 0.0), (0.004, 0.0), (0.002, 0.0001)])
def test_samples_lost_out_of_buffers(lost: float, jitter_s: float, apart_s: float) -> None:
    kept = np.random.default_rng(11).random(len(TRUTH.t_s)) >= lost
    recording = handed_over(kept, jitter_s, apart_s)
    assert recording.sample_rate_hz == pytest.approx(HZ, rel=3e-4)
    off = recording.t_s - TRUTH.t_s[kept]
    assert np.std(off) * HZ < 1.0  # samples: which of its buffer was lost is not known
    assert recording.lost_samples == pytest.approx(np.count_nonzero(~kept), abs=WHOLE)


def test_a_buffer_lost_whole_leaves_its_place_open() -> None:
    kept = np.ones(len(TRUTH.t_s), dtype=bool)
    kept[1000:1010] = kept[2000:2030] = False
    recording = handed_over(kept, jitter_s=0.004)
    assert recording.sample_rate_hz == pytest.approx(HZ, rel=3e-4)
    assert recording.lost_samples == 40


def test_a_buffer_handed_over_late_has_lost_nothing() -> None:
    stamps = np.repeat(TRUTH.t_s[WHOLE - 1 :: WHOLE], WHOLE)[: len(TRUTH.t_s)]
    truth = replace(TRUTH, t_s=TRUTH.t_s[: len(stamps)], accel=TRUTH.accel[: len(stamps)])
    for group in (50, 120, 300):
        stamps[group * WHOLE : (group + 1) * WHOLE] += 0.6 * WHOLE / HZ
    recording = with_stamps([f"{t:.6f}" for t in stamps], truth)
    assert recording.sample_rate_hz == pytest.approx(HZ, rel=3e-4)
    assert recording.lost_samples == 0


def test_what_a_timer_takes_is_all_there_is() -> None:
    """A sensor of 98.93 samples a second asked every tenth of a second gives 10, now and then 9: nothing is
    lost."""
    asked = np.floor(TRUTH.t_s / 0.1 + 1) * 0.1
    recording = with_stamps([f"{t:.6f}" for t in asked], TRUTH)
    assert recording.sample_rate_hz == pytest.approx(HZ, rel=3e-4)
    assert recording.lost_samples == 0


def test_buffers_handed_over_early_have_lost_nothing() -> None:
    """Now and then a buffer goes out before it is full: the next one then comes sooner."""
    rng = np.random.default_rng(5)
    sizes = np.where(rng.random(600) < 0.2, 6, WHOLE)
    last = np.cumsum(sizes) - 1
    last = last[last < len(TRUTH.t_s)]
    group = np.searchsorted(last, np.arange(last[-1] + 1))
    truth = replace(TRUTH, t_s=TRUTH.t_s[: len(group)], accel=TRUTH.accel[: len(group)])
    recording = with_stamps([f"{t:.6f}" for t in TRUTH.t_s[last[group]]], truth)
    assert recording.sample_rate_hz == pytest.approx(HZ, rel=1e-3)
    assert recording.lost_samples == 0


def test_no_loss_stays_as_it_is() -> None:
    recording = handed_over(np.ones(len(TRUTH.t_s), dtype=bool), apart_s=0.0001)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=0.002)
    assert codes(recording) == ["bursts"]


def held_up(kept: np.ndarray, apart_s: float, stalls: int = 5) -> tuple[Recording, np.ndarray]:
    """Stamps of when a row was written, where the writing stalled for up to half a second and then caught
    up; and the true times of the rows."""
    rng = np.random.default_rng(8)
    times = TRUTH.t_s[kept]
    stamps = times.copy()
    for begin in rng.uniform(2.0, 38.0, stalls):
        waiting = np.flatnonzero((times >= begin) & (times < begin + rng.uniform(0.1, 0.5)))
        stamps[waiting] = times[waiting[-1]] + apart_s * np.arange(1 - len(waiting), 1)
    truth = replace(TRUTH, t_s=times, accel=TRUTH.accel[kept])
    return with_stamps([f"{t:.6f}" for t in stamps], truth), times


@pytest.mark.parametrize("apart", [0.1, 0.25, 0.4])
@pytest.mark.parametrize("lost", [0.0, 0.01])
def test_rows_taken_one_by_one_out_of_a_full_buffer(apart: float, lost: float) -> None:
    """Not all but at once: each takes the logger a good part of a sample's time."""
    kept = np.random.default_rng(2).random(len(TRUTH.t_s)) >= lost
    recording = handed_over(kept, apart_s=apart / HZ)
    assert codes(recording)[0] == "bursts"
    assert recording.sample_rate_hz == pytest.approx(HZ, rel=3e-4)
    off = recording.t_s - TRUTH.t_s[kept]
    assert np.std(off) * HZ < (0.1 if lost == 0 else 1.0)


@pytest.mark.parametrize("apart_s", [0.0, 0.0004])
@pytest.mark.parametrize("lost", [0.0, 0.01])
def test_rows_that_waited_go_back_to_their_places(apart_s: float, lost: float) -> None:
    kept = np.random.default_rng(2).random(len(TRUTH.t_s)) >= lost
    recording, times = held_up(kept, apart_s)
    assert recording.sample_rate_hz == pytest.approx(HZ, rel=3e-4)
    off = np.abs(recording.t_s - (times - times[0])) * HZ
    assert np.max(off) < (0.5 if lost == 0 else 2.5)  # samples: what was lost while it stalled, nobody knows
    assert np.mean(off > 0.3) < 0.03


def test_a_gap_is_no_stall() -> None:
    kept = np.ones(len(TRUTH.t_s), dtype=bool)
    kept[1000:1040] = False
    truth = replace(TRUTH, t_s=TRUTH.t_s[kept], accel=TRUTH.accel[kept])
    recording = with_stamps([f"{t:.6f}" for t in truth.t_s], truth)
    np.testing.assert_allclose(recording.t_s, truth.t_s, atol=2e-6)
    assert recording.lost_samples == 40

"""Is the recording any good? Named findings, each with what to do about it."""

from __future__ import annotations

import numpy as np

from vibecore.constants import CLIPPED, KNOCKS, LOST_SAMPLES, SLOW
from vibecore.model import Floats, Recording, Warn
from vibecore.units import level_text

SHORT_S = 15.0  # 87 working cycles at 700 rpm: below it intervals grow past 1 dB for unsteady lines
SLOW_HZ = 90.0  # the firing order of a four at 1350 rpm, or of an eight at 675 rpm, is 45 Hz: half of this
# A range that is exceeded gathers samples at its very end, with no more than usual just inside it. How many
# times more at the end than beside it: the top of a sine in whole steps has up to 1 / (sqrt(2) - 1) = 2.4
# times the next step; a sine cut off at 0.95 of its height, which takes 0.12 dB off its line, has 5 times as
# many as the next hundredth of the range.
CLIP_RATIO, CLIP_BESIDE = 4.0, 0.01
CLIP_CHANCE = 2.0  # standard deviations that the few samples beside the end may be short by (Poisson)
CLIP_COMMONEST = 2.0  # times any other value: a motion in step with the samples repeats all of its values
# Of those at the end, within this share of the range beside it: else the end is no part of the motion.
CLIP_NEAR, CLIP_NEAR_SHARE = 0.02, 0.1
CLIP_SHARES = 0.001, 0.45  # of all samples: a few touches change no levels; half of them are a phone at rest
CLIP_VISITS = 5  # separate ones, with the motion in between
CLIP_DEPTH, CLIP_DEPTH_STEPS = 0.02, 3  # of the range, steps of the file: less is a phone's last digit
NEXT_VALUE = 1.5  # steps of the file: the next of its values is nearer, the one after it is not
COARSE_SHARE = 0.25  # a step this large against the rms hides the weak orders (noise step / sqrt(12))
LOST_SHARE = 0.02  # bridged samples take as much off a line's power: 0.1 dB
KNOCKED_SHARE = 0.2  # with a fifth cut out, intervals are a tenth wider
# Where phones' own filters have their half-power point, as a share of the rate: 0.405 in the BMI160 data
# sheet's normal mode, half the rate in the LSM6DSO's. Nobody says which phone it was nor how steep it falls.
FILTER_FROM_SHARE = 0.405
TOO_FINE = 0.5  # values that differ, of the samples: with more no step is seen between them
JUDGED = 6000  # samples: enough to meet every value of a coarse phone many times


def resolution(accel_m_s2: Floats) -> float:
    """Usual step between neighbouring values of the coarsest axis (m/s2), 0 when too fine to see: it sets the
    floor."""
    steps = []
    for axis in accel_m_s2.T:
        values = np.unique(axis[:JUDGED])
        if len(values) < 2 or len(values) > TOO_FINE * min(len(axis), JUDGED):
            continue
        gaps = np.diff(values)
        steps.append(float(np.median(gaps[gaps <= np.median(gaps)])))
    return max(steps, default=0.0)


def warnings(
    recording: Recording, step_m_s2: float, span_s: tuple[float, float], knocks: int, good_share: float
) -> list[Warn]:
    """Quality findings of one recording (n, 3), each with what to do. step_m_s2: see `resolution`. span_s,
    good_share: what of it was used, and how much of that is good."""
    found = (
        _short(span_s[1] - span_s[0]),
        _slow(recording.sample_rate_hz),
        _clipped(recording.accel_m_s2, step_m_s2),
        _coarse(recording.accel_m_s2, step_m_s2),
        _lost(recording),
        _knocked(knocks, good_share),
    )
    return [warning for warning in found if warning is not None]


def _short(used_s: float) -> Warn | None:
    if used_s >= SHORT_S:
        return None
    return Warn("short", f"Only {used_s:.0f} s could be used. Record 30 s or more for surer numbers.")


def _slow(rate_hz: float) -> Warn | None:
    if rate_hz >= SLOW_HZ:
        return None
    text = (
        f"{rate_hz:.0f} samples a second show nothing above {rate_hz / 2:.0f} Hz. "
        "Set the phone to its fastest rate, 200 or more if it can."
    )
    return Warn(SLOW, text)


def _clipped(accel_m_s2: Floats, step_m_s2: float) -> Warn | None:
    if not any(_is_cut_off(side * axis, step_m_s2) for axis in accel_m_s2.T for side in (1, -1)):
        return None
    text = "The phone's range was exceeded: peaks are cut off. Set a larger range or choose a calmer place."
    return Warn(CLIPPED, text)


def _coarse(accel_m_s2: Floats, step_m_s2: float) -> Warn | None:
    rms = float(np.mean([axis.var() for axis in accel_m_s2.T])) ** 0.5
    if step_m_s2 <= COARSE_SHARE * rms:
        return None
    text = (
        f"The file's values move in steps of {level_text(step_m_s2)} m/s2: weaker shake is not seen. "
        "Export with more digits, or use a logger that does not round."
    )
    return Warn("coarse", text)


def _lost(recording: Recording) -> Warn | None:
    """Where the reader did not tell of gaps."""
    lost, told = recording.lost_samples, {w.code for w in recording.warnings}
    if lost <= LOST_SHARE * recording.rows or LOST_SAMPLES in told:
        return None
    text = f"{lost} samples are missing. Close other programs on the phone and record again."
    return Warn(LOST_SAMPLES, text)


def _knocked(knocks: int, good_share: float) -> Warn | None:
    if not knocks or good_share >= 1 - KNOCKED_SHARE:
        return None
    share = 100 * (1 - good_share)
    text = f"{knocks} knocks had to be cut out, {share:.0f} % of the time. Leave car and phone alone."
    return Warn(KNOCKS, text)


def _is_cut_off(upward: Floats, step: float) -> bool:
    """Whether the top of one axis (n,) is the end of the sensor's range; step: of its values, 0 if unseen."""
    top, bottom = float(upward.max()), float(upward.min())
    at = np.flatnonzero(upward == top)
    least, most = CLIP_SHARES
    if len(at) < CLIP_VISITS or not least < len(at) / len(upward) < most:
        return False
    depth = max(CLIP_DEPTH * (top - bottom), CLIP_DEPTH_STEPS * step)
    visits = 1 + np.count_nonzero(np.minimum.reduceat(upward, at)[:-1] < top - depth)
    inside = upward[(upward < top) & (upward > bottom)]
    if visits < CLIP_VISITS or not len(inside):
        return False
    beside, near = (
        np.count_nonzero(inside >= top - max(share * (top - bottom), NEXT_VALUE * step))
        for share in (CLIP_BESIDE, CLIP_NEAR_SHARE)
    )
    if len(at) < CLIP_RATIO * (beside + CLIP_CHANCE * beside**0.5) or near < CLIP_NEAR * len(at):
        return False
    return bool(len(at) >= CLIP_COMMONEST * np.unique(inside, return_counts=True)[1].max())


def filter_may_take(frequency_hz: float, sample_rate_hz: float) -> float:
    """By what factor, 1 or more, a line may be stronger than read: the phone's own low-pass, of one pole for
    want of a word on it."""
    return float(np.hypot(1.0, frequency_hz / (FILTER_FROM_SHARE * sample_rate_hz)))

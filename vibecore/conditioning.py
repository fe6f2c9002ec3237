"""A recording made ready for reading: even steps, gravity out, upright axes, only the steady part used.

Gravity is the mean vector of the steady part. It gives the vertical whichever way the phone lay; fore-aft
against sideways stays unknown. Where the phone slips, gravity turns in its axes, and is followed.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import ndimage

from vibecore import angles, quality
from vibecore.blocks import cut
from vibecore.constants import MOVED, STOOD_STILL
from vibecore.model import Flags, Floats, Recording, Signal, Warn
from vibecore.steady import HELD_SHARE, MOVED_DEG, steady_part
from vibecore.timebase import even_steps

POSTURE_S = 1.0  # gravity's direction is read over this time
# From its mean, over seconds: a car that idles rocks less on its springs, and faster. Half as much from most
# seconds to the next is a car that drives: it speeds up and turns all the time, and that stays.
FOLLOWED_DEG = 1.0
UPSIDE_DOWN = -0.999999  # cosine to the axis that is to be up: from here on no axis to turn about is known


def condition(recording: Recording) -> Signal:
    """Recording -> Signal: uniform in time, mean (gravity) removed, axis 2 vertical where gravity is known.

    The signal covers the used span only; samples in gaps and knocks inside it are marked not good.
    """
    series = even_steps(recording)
    fs, accel = series.fs_hz, series.accel_m_s2
    resolution = quality.resolution(recording.accel_m_s2)
    upright = recording.gravity_included
    steady = steady_part(accel, series.good, fs, gravity=upright, step_m_s2=resolution)
    used = accel[steady.start : steady.stop]
    good = (series.good & ~steady.knocks)[steady.start : steady.stop]
    mean = np.einsum("ij,i->j", used, good) / good.sum() if good.any() else used.mean(axis=0)
    postures = _postures(used, good, fs) if upright else None
    centred = used - (mean if postures is None else _followed(postures, mean, len(used)))
    if upright:
        centred = np.einsum("ij,jn->in", _turn_upright(mean), centred.T).T
    centred[~good] = 0.0  # it then adds nothing to any sum over the signal
    span = (steady.start / fs, (steady.stop - 1) / fs)
    warnings = [*series.warnings]
    warnings += quality.warnings(recording, resolution, span, steady.knock_count, float(good.mean()))
    warnings += [] if postures is None else _moved(postures)
    warnings += _stood(span) if steady.stood else []
    history = (
        *series.history,
        f"used {span[0]:.1f} s to {span[1]:.1f} s, {steady.knock_count} knocks cut out",
    )
    return Signal(
        fs_hz=fs,
        start_s=span[0],
        accel_m_s2=centred,
        good=good,
        used_span_s=span,
        vertical_known=upright,
        resolution_m_s2=resolution,
        warnings=tuple(warnings),
        history=history,
    )


class _Postures(NamedTuple):
    """Gravity in the phone's axes second by second: middle (m,), in samples, and its mean there (m, 3)."""

    middle: Floats
    gravity: Floats


def _postures(used: Floats, good: Flags, fs: float) -> _Postures | None:
    """Of the seconds that are there; None if they are too few to tell a turn."""
    size = round(POSTURE_S * fs)
    parts, held = cut(used, size), cut(good, size)
    share = held.mean(axis=1)
    there = np.flatnonzero(share > HELD_SHARE)
    if len(there) < 2:
        return None
    sums = np.einsum("bsk,bs->bk", parts, held)[there]
    return _Postures(np.asarray((there + 0.5) * size, dtype=np.float64), sums / share[there, None] / size)


def _followed(postures: _Postures, mean: Floats, n: int) -> Floats:
    """Gravity at each of n samples (n, 3), or its mean (3,) if the phone lay as it was."""
    steps = ndimage.median_filter(postures.gravity, size=(3, 1), mode="nearest")
    onward = angles.between_deg(postures.gravity[1:], postures.gravity[:-1])
    if angles.between_deg(steps, mean).max() < FOLLOWED_DEG or np.median(onward) > FOLLOWED_DEG / 2:
        return mean
    at = np.arange(n)
    return np.stack([np.interp(at, postures.middle, axis) for axis in steps.T], axis=1)


def _turn_upright(gravity: Floats) -> Floats:
    """Rotation (3, 3) that brings the gravity vector onto the last axis (Rodrigues' formula)."""
    up = gravity / np.linalg.norm(gravity)
    target = np.array([0.0, 0.0, 1.0])
    axis = np.cross(up, target)
    cosine = float(up @ target)
    if cosine < UPSIDE_DOWN:
        return np.diag([1.0, -1.0, -1.0])
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.eye(3) + cross + cross @ cross / (1 + cosine)


def _moved(postures: _Postures) -> list[Warn]:
    quarter = max(1, len(postures.gravity) // 4)
    angle = float(
        angles.between_deg(postures.gravity[:quarter].mean(axis=0), postures.gravity[-quarter:].mean(axis=0))
    )
    if angle < MOVED_DEG / 2:
        return []
    message = (
        f"The phone turned by {angle:.0f} degrees during the recording. Tape it down firmly and record again."
    )
    return [Warn(MOVED, message)]


def _stood(span_s: tuple[float, float]) -> list[Warn]:
    text = (
        f"Only {span_s[0]:.0f} s to {span_s[1]:.0f} s was used: for a part of the recording the car hardly "
        "shook, as if the engine did not run. Start the recording after the engine, and stop it before."
    )
    return [Warn(STOOD_STILL, text)]

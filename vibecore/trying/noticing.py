"""Readings second by second before, while and after something is tried, and whether they changed for sure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy import fft

from vibecore import hann
from vibecore.blocks import cut
from vibecore.conditioning import condition
from vibecore.constants import SWAY_HZ, WHOLE_SHARE
from vibecore.engine import Engine
from vibecore.errors import VibecoreError
from vibecore.model import Condition, Floats, Recording, Signal, SpeedTrack
from vibecore.speed import find_speed
from vibecore.trying.change import changes_of_mean
from vibecore.trying.records import (
    LEAST_S,
    SETTLING_S,
    SHAKE,
    SPEED,
    UNEVEN,
    Heeded,
    Reading,
    TimeSeries,
    Tried,
)

LONGEST_S = 60.0  # before and after: what lies further off says more of drift than of what was tried
LEAST_SECONDS = 4  # whole ones in a part
CHANCE = 0.05  # that something changes for sure though nothing was done, over all that is read
BESIDE_FIRING_HZ = 3.0  # a second's window (Hann) reaches two hertz to each side of the firing order's line
GOOD_SHARE = 0.9  # of a second's samples
IDLING = Condition(speed_hold="idle")


def did_it_notice(
    recording: Recording,
    engine: Engine | None,
    begun_s: float,
    undone_s: float | None = None,
) -> Tried:
    """Hold what follows a moment against what came before it.

    begun_s, undone_s: seconds from the recording's start; undone_s None: it stayed as it was to the end.
    Raises VibecoreError where too little was recorded on one side of a moment.
    """
    end_s = recording.duration_s if undone_s is None else min(undone_s, recording.duration_s)
    _check(begun_s, end_s)
    spans = [(max(begun_s - LONGEST_S, -SETTLING_S), begun_s), (begun_s, end_s)]
    if undone_s is not None and recording.duration_s - undone_s >= LEAST_S + SETTLING_S:
        spans.append((undone_s, min(undone_s + LONGEST_S, recording.duration_s + SETTLING_S)))
    parts = [_read_series(recording, a + SETTLING_S, b - SETTLING_S, engine) for a, b in spans]
    shown = [what for what in (SPEED, SHAKE, UNEVEN) if all(what in part for part in parts)]
    readings = tuple(_reading([part[what] for part in parts], CHANCE / len(shown)) for what in shown)
    series = tuple(_joined([part[what] for part in parts]) for what in shown)
    return Tried(_heeded(readings), readings, series, undone=end_s < recording.duration_s)


def _check(begun_s: float, end_s: float) -> None:
    if begun_s < LEAST_S + SETTLING_S:
        raise VibecoreError(
            f"Only {max(begun_s, 0):.0f} s were recorded before it was begun, too little to tell. Let the "
            "engine idle for 15 s first."
        )
    if end_s - begun_s < LEAST_S + 2 * SETTLING_S:
        raise VibecoreError(
            f"It lasted for {max(end_s - begun_s, 0):.0f} s of the recording, too short to tell. Leave it so "
            "for 15 s, then undo it."
        )


def _reading(series: Sequence[TimeSeries], chance: float) -> Reading:
    values = [one.values for one in series]
    begun, *undone = changes_of_mean(values, chance)
    means = tuple(float(v.mean()) for v in values)
    return Reading(series[0].what, series[0].unit, means, begun, undone[0] if undone else None)


def _heeded(readings: Sequence[Reading]) -> Heeded:
    if any(reading.noticed for reading in readings):
        return "noticed"
    return "not noticed" if all(reading.still for reading in readings) else "cannot tell"


# ---------------------------------------------------------------- second by second


def _read_series(
    recording: Recording, first_s: float, last_s: float, engine: Engine | None
) -> dict[str, TimeSeries]:
    """What can be read second by second between two moments of a recording."""
    signal, start_s = _stretch(recording, first_s, last_s)
    track = find_speed(signal, engine, IDLING).track
    blocks, begin_s = _seconds(signal)
    if len(begin_s) < LEAST_SECONDS:
        raise _too_broken(first_s, last_s)
    t_s = start_s + begin_s + 0.5
    found = [
        TimeSeries(SHAKE, "dB", t_s, _level_db(blocks, signal.fs_hz, SWAY_HZ, WHOLE_SHARE * signal.fs_hz))
    ]
    if track is not None:
        found.append(TimeSeries(SPEED, "rpm", t_s, _rpm(track, signal.start_s + begin_s)))
        turns_hz = track.turns_hz
        to_hz = 0.0 if engine is None else engine.firing_order * turns_hz - BESIDE_FIRING_HZ
        if to_hz > SWAY_HZ + turns_hz / 2:  # room for a half order
            found.append(TimeSeries(UNEVEN, "dB", t_s, _level_db(blocks, signal.fs_hz, SWAY_HZ, to_hz)))
    return {one.what: one for one in found}


def _too_broken(first_s: float, last_s: float) -> VibecoreError:
    return VibecoreError(
        f"Between {first_s:.0f} s and {last_s:.0f} s too little of the recording is whole. Record again, "
        "with the phone taped down and left alone."
    )


def _stretch(recording: Recording, first_s: float, last_s: float) -> tuple[Signal, float]:
    """A stretch of a recording as a signal of its own, and when in the recording its first sample is."""
    first, last = np.searchsorted(recording.t_s, (first_s, last_s))
    if last - first < GOOD_SHARE * LEAST_SECONDS * recording.sample_rate_hz:
        raise _too_broken(first_s, last_s)
    t_s = recording.t_s[first:last]
    accel = recording.accel_m_s2[first:last].copy()
    signal = condition(replace(recording, t_s=t_s - t_s[0], accel_m_s2=accel, rows=len(t_s)))
    return signal, float(t_s[0]) + signal.start_s


def _rpm(track: SpeedTrack, begin_s: Floats) -> Floats:
    """Mean speed (m,) over the seconds that begin then."""
    within = begin_s[:, None] + np.linspace(0, 1, 5)
    return np.asarray(np.interp(within, track.t_s, track.rpm).mean(axis=1))


def _seconds(signal: Signal) -> tuple[Floats, Floats]:
    """Good seconds of a signal (m, size, 3), and when each begins (m,), from the first sample."""
    size = round(signal.fs_hz)
    good = cut(signal.good, size).mean(axis=1) >= GOOD_SHARE
    return cut(signal.accel_m_s2, size)[good], np.flatnonzero(good) * size / signal.fs_hz


def _level_db(blocks: Floats, fs_hz: float, low_hz: float, high_hz: float) -> Floats:
    """Level (m,) of the three-axis vector within a band, dB re 1 m/s2, of blocks (m, size, 3)."""
    size = blocks.shape[1]
    window = hann.periodic(size)
    power = np.sum(np.abs(fft.rfft(blocks * window[:, None], axis=1)) ** 2, axis=2)
    hz = fft.rfftfreq(size, 1 / fs_hz)
    square = 2 * power[:, (hz >= low_hz) & (hz <= high_hz)].sum(axis=1) / (size * np.sum(window**2))
    return np.asarray(10 * np.log10(np.maximum(square, 1e-12)))


def _joined(series: Sequence[TimeSeries]) -> TimeSeries:
    t_s, values = (np.concatenate([getattr(c, name) for c in series]) for name in ("t_s", "values"))
    return TimeSeries(series[0].what, series[0].unit, t_s, values)

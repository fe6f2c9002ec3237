"""From stamps as the phone wrote them to even time steps, without harming the spectrum.

A sample stamped `e` late against its place on the even grid has seen the motion at that later moment:
    y[i] = x(t_i + e_i) = x + e x' + e^2/2 x'' + ...
which is solved for x by fixed-point iteration with derivatives taken in the frequency domain, so that lines
keep their amplitude up to the pass limit (`PASS_SHARE` of the rate; a cubic spline alone reads 1.7 dB low
at 0.4 of the rate). It converges as long as |e| times the angular frequency stays below about one.

Some phones sample evenly and only stamp unevenly. Shifting such samples would add noise, so both readings of
the stamps are tried and the one with the lower noise floor is kept.

A clock whose rate drifts leaves an even grid by whole samples. How far it is off, the phase of the stamps
against that grid, is followed; on the clock's own grid the samples are put as above and then read at even
times.

References: A. Papoulis, Signal Analysis, 1977 (band-limited series); the spline's response follows from
M. Unser, Splines: a perfect fit for signal and image processing, IEEE Signal Processing Magazine, 1999.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import fft, interpolate, ndimage, optimize

from vibecore.between import read_at
from vibecore.model import Flags, Floats, Recording, Warn
from vibecore.runs import runs

PASS_SHARE = 0.45  # of the sample rate: above it an uneven series carries no trustworthy amplitude
# Of a step: at half the rate it shifts phase by 0.013 rad, -38 dB, which is below phones' noise.
REGULAR_JITTER = 0.004
PHASE_STAMPS = 5000  # tell the grid's phase to 0.4 % of a step even at the worst jitter that keeps a beat
MOST_SHIFT = 0.6  # of a step: a sample later than this belongs to no place of the grid and is left out
# Spread of the stamps about their places, from which on the clock may drift: all over a step it is 0.29.
MAY_DRIFT = 0.1
DRIFTED = 0.5  # of a step, from end to end: by less every sample keeps its place
DRIFT_SAMPLES = 32  # over so many phase is averaged: drift is slower, jitter is not
# Mean of their unit phasors: at a jitter of 0.25 of a step it is 0.29, and no clock is seen.
LEAST_PHASE = 0.3
MOST_LATE = 4  # such samples in a row: jitter throws out single ones, a stretch has a clock of its own
MOST_USABLE = 0.8  # share of samples that must lie near the grid; else a spline through all of them is better
LEAST_APART = 0.1  # of a step: through samples nearer than this a spline shoots far past both
MOST_ITERATIONS = 4
SLOW_SHRINK = 0.2  # from round to round: what shrinks slower takes all the rounds there are
LEFT_OVER = 1e-3  # of a line at the pass limit, when the iteration ends
FACTORIALS = (1.0, 2.0, 6.0)  # of the series' terms; a fourth is below 1 % at 0.4 of the rate and 0.3 steps
BRIDGE_REACH = 4  # samples to each side that a bridge is built from
BRIDGED_STEPS = 2  # this many missing samples in a row are bridged and still used
BLOCK = 1 << 14  # samples corrected at once, so that cost grows linearly with length
OVERLAP = 64  # samples thrown away at each end of a block: the reach of the correction

FLOOR_BLOCK, FLOOR_BLOCKS = 512, 32  # samples, and blocks at most, that the floor of a reading is told from
LEAST_FLOOR_BLOCK = 32  # samples, of a recording that holds less than two such blocks
FLOOR_FROM_BIN = 3  # what is left of gravity, and its window's main lobe, lie below

UNEVEN = Warn(
    "uneven-clock",
    "The samples were not taken at an even rate: what is faster than a quarter of it is shown too weak. "
    "Use a logger that records at a fixed rate.",
)


@dataclass(frozen=True, eq=False)
class EvenSeries:
    """accel_m_s2 (n, 3) at steps of 1 / fs_hz from time 0; `good` False where a gap was bridged."""

    fs_hz: float
    accel_m_s2: Floats
    good: Flags
    history: tuple[str, ...]
    warnings: tuple[Warn, ...] = ()


def even_steps(recording: Recording) -> EvenSeries:
    """Put a recording on even time steps at its own mean rate.

    Returns the series on the grid i / sample_rate_hz, i = 0 ... n - 1, where n covers the duration.
    """
    at_step = recording.t_s * recording.sample_rate_hz
    slot, shift = _slots(at_step)
    drift = _drift(at_step) if np.std(shift) > MAY_DRIFT else None
    return _on_grid(recording, slot, shift) if drift is None else _along(recording, drift)


def _on_grid(recording: Recording, slot: np.ndarray, shift: Floats) -> EvenSeries:
    """The same of a clock that keeps its rate; slot, shift (n,): see `_slots`."""
    fs = recording.sample_rate_hz
    usable = np.abs(shift) <= MOST_SHIFT
    in_a_row = int(np.diff(runs(~usable)).max(initial=0))
    if np.mean(usable) < MOST_USABLE or in_a_row > MOST_LATE:
        return _by_spline(recording)
    slot, shift = slot[usable], shift[usable]
    n = int(slot[-1]) + 1
    present = np.zeros(n, dtype=bool)
    present[slot] = True
    good = _without_long_gaps(present)
    jitter = float(np.std(shift))
    accel = recording.accel_m_s2 if usable.all() else recording.accel_m_s2[usable]
    stamped = np.zeros((n, 3), order="F")  # axis after axis in memory: every later step goes along time
    stamped[slot if len(slot) < n else slice(None)] = accel
    late = np.zeros(n)
    late[slot] = shift
    as_even = _bridge(stamped, present)
    if jitter < REGULAR_JITTER:
        return EvenSeries(fs, as_even, good, ("stamps even: used as they are",))
    shifted = _correct(as_even, late, jitter)
    if _floor(shifted) < _floor(as_even):
        return EvenSeries(fs, shifted, good, (f"uneven stamps ({jitter:.2f} of a step) corrected",))
    return EvenSeries(fs, as_even, good, ("stamps uneven but samples even: stamps smoothed",))


def _slots(at_step: Floats) -> tuple[np.ndarray, Floats]:
    """The even-grid place of each sample, and how late it is against it: of all places in rising order those
    that the stamps are nearest to, by least squares (isotonic regression), so that one late stamp moves no
    other sample.

    The grid's own phase is the mean of the stamps' phases, so that a late first sample shifts nothing else.
    """
    some = at_step[:: max(1, len(at_step) // PHASE_STAMPS)]
    phase = float(np.angle(np.mean(np.exp(2j * np.pi * some)))) / (2 * np.pi)
    count = np.arange(len(at_step))
    nearest = np.rint(at_step - phase)
    if not (np.diff(nearest) > 0).all():
        nearest = np.rint(optimize.isotonic_regression(at_step - phase - count).x) + count
    slot = np.maximum(nearest, count).astype(np.int64)
    shift = at_step - slot
    return slot, shift - float(np.median(shift))


def _drift(at_step: Floats) -> Floats | None:
    """How far the clock is off an even grid at each stamp (n,), in steps; None if it keeps it, or if the
    stamps show no clock at all."""
    phasor = np.exp(2j * np.pi * at_step)
    mean = ndimage.uniform_filter1d(phasor.real, DRIFT_SAMPLES) + 1j * ndimage.uniform_filter1d(
        phasor.imag, DRIFT_SAMPLES
    )
    drift = np.unwrap(np.angle(mean)) / (2 * np.pi)
    drift -= drift[0]
    kept = np.quantile(np.abs(mean), 1 - MOST_USABLE) < LEAST_PHASE or np.ptp(drift) < DRIFTED
    return None if kept else np.asarray(drift)


def _along(recording: Recording, drift: Floats) -> EvenSeries:
    """A recording on its own clock's grid first, then at even times. drift (n,): see `_drift`."""
    fs = recording.sample_rate_hz
    on_clock = recording.t_s * fs - drift
    rising = np.concatenate([[True], on_clock[1:] > np.maximum.accumulate(on_clock)[:-1]])
    on_clock, drift, accel = on_clock[rising], drift[rising], recording.accel_m_s2[rising]
    own = _on_grid(replace(recording, t_s=on_clock / fs, accel_m_s2=accel), *_slots(on_clock))
    place = np.arange(len(own.good), dtype=float)
    at_step = place + np.interp(place, on_clock, drift)
    place = np.interp(np.arange(int(at_step[-1]) + 1), at_step, place)
    even, good = read_at(own.accel_m_s2.T, place).T, own.good[np.rint(place).astype(int)]
    return EvenSeries(fs, even, good, (*own.history, "the clock's rate drifts: followed"), own.warnings)


def _by_spline(recording: Recording) -> EvenSeries:
    """For stamps that no even grid explains (event-driven logging): level kept to 0.25 of the rate."""
    fs = recording.sample_rate_hz
    grid = np.arange(int(recording.duration_s * fs) + 1) / fs
    apart = np.append(True, np.diff(recording.t_s) * fs > LEAST_APART)
    t_s, accel = recording.t_s[apart], recording.accel_m_s2[apart]
    spline = interpolate.CubicSpline(t_s, accel, axis=0)
    after = np.searchsorted(t_s, grid).clip(1, len(t_s) - 1)
    step = t_s[after] - t_s[after - 1]
    good = step * fs <= BRIDGED_STEPS + 1
    return EvenSeries(fs, spline(grid), good, ("stamps on no even grid: cubic spline",), (UNEVEN,))


def _bridge(values: Floats, present: Flags) -> Floats:
    """Values (n, 3) with the missing ones interpolated (Akima) from the few samples round each gap."""
    if present.all():
        return values
    beside = present & ndimage.binary_dilation(~present, iterations=BRIDGE_REACH)
    beside[[np.argmax(present), len(present) - 1 - np.argmax(present[::-1])]] = True
    at = np.flatnonzero(beside)
    missing = np.flatnonzero(~present)
    filled = values.copy()
    inside = missing.clip(at[0], at[-1])  # the grid may begin before the first sample that fits it
    filled[missing] = interpolate.Akima1DInterpolator(at, values[at], axis=0)(inside)
    return filled


def _without_long_gaps(present: Flags) -> Flags:
    good = present.copy()
    for start, stop in runs(~present):
        if stop - start <= BRIDGED_STEPS:
            good[start:stop] = True
    return good


def _correct(series: Floats, late_steps: Floats, jitter: float) -> Floats:
    """Undo the lateness of each sample, block by block, with as many rounds as the jitter asks for."""
    n = len(series)
    shrink = 2 * np.pi * PASS_SHARE * 2 * jitter  # of what is left, for a usual late sample
    rounds = MOST_ITERATIONS
    if shrink <= SLOW_SHRINK:
        rounds = min(max(2, int(np.ceil(np.log(LEFT_OVER) / np.log(shrink))) - 1), MOST_ITERATIONS)
    if n <= BLOCK:
        return _correct_block(series, late_steps, rounds)
    out = np.empty_like(series)
    for start in range(0, n, BLOCK):
        lo, hi = max(0, start - OVERLAP), min(n, start + BLOCK + OVERLAP)
        block = _correct_block(series[lo:hi], late_steps[lo:hi], rounds)
        keep = slice(start - lo, min(start + BLOCK, n) - lo)
        out[start : start + BLOCK] = block[keep]
    return out


def _correct_block(series: Floats, late_steps: Floats, rounds: int) -> Floats:
    n, pad = len(series), min(OVERLAP, len(series) - 1)
    y = np.pad(series.T, ((0, 0), (pad, pad)), mode="reflect", reflect_type="odd")
    late = np.pad(late_steps, pad, mode="reflect")
    size = fft.next_fast_len(y.shape[1] + pad, real=True)
    turn = 2j * np.pi * fft.rfftfreq(size)
    limit = np.abs(turn) <= 2 * np.pi * PASS_SHARE
    terms = 3 if rounds > 2 else 2
    powers = [late**p / factor for p, factor in enumerate(FACTORIALS[:terms], 1)]
    x = y
    for _ in range(rounds):
        spectrum = fft.rfft(x, size, axis=1) * limit
        correction = np.zeros_like(y)
        for term in powers:
            spectrum = spectrum * turn
            correction += term * fft.irfft(spectrum, size, axis=1)[:, : y.shape[1]]
        x = y - correction
    return np.asarray(x[:, pad : pad + n].T)


def _floor(series: Floats) -> float:
    """Median spectral density, in arbitrary units: what is left between and above the lines."""
    n = len(series)
    size = FLOOR_BLOCK if n >= 2 * FLOOR_BLOCK else max(min(LEAST_FLOOR_BLOCK, n), n // 2)
    count = min(FLOOR_BLOCKS, n // size)
    starts = np.linspace(0, n - size, count).astype(int)
    window = np.hanning(size)[:, None]
    power = sum(np.abs(fft.rfft(window * series[s : s + size], axis=0)) ** 2 for s in starts)
    return float(np.median(np.asarray(power).sum(axis=1)[FLOOR_FROM_BIN:]))

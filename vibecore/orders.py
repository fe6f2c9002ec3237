"""Engine orders: how much shake sits on each multiple of half the crank's speed, and how much on none.

The three axes are resampled to even steps of crank angle, along which every order is a sharp line however
the idle wanders. The level of an order is the mean square within +-0.05 order of it, less the floor: what is
read beside it, averaged over blocks, but no more than lies under the quietest stretches of the spectrum. What
rises above these beside a line is the engine's own, smeared by cycles that differ, and belongs to the line.

On each axis a line of mean square S in noise of density G (per order, over T revolutions) is measured with
    var(S') = (2 S G + G^2 W) / T,     W = 0.1 order
(cross term of a sine with noise, and noise alone with its degrees of freedom: Bendat and Piersol, Random
Data, 4th ed., 2010, ch. 8), which gives the interval; its lower end takes all that lies beside for noise. It
speaks of this recording's own shake, not of the next one's; its upper end leaves room for what the phone's
own filter may have taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vibecore import hann, spectra
from vibecore.blocks import cut
from vibecore.constants import (
    LINE_HALF_WIDTH_ORDERS,
    PEAK_FLOOR_HZ,
    PEAK_FLOOR_ORDERS,
    SAME_LINE_HZ,
    USABLE_SHARE,
    Z_95,
)
from vibecore.engine import Engine, OrderView, what_can_be_seen
from vibecore.model import Flags, Floats, KeepsTo, Line, OrderLevel, OrderTable, Signal, Spectrum, SpeedTrack
from vibecore.order_bands import BESIDE, OrderBands, axis_shakes, order_bands, quietest
from vibecore.quality import filter_may_take
from vibecore.turning import Turned, turn

LEAST_BLOCK_REV, MOST_BLOCK_REV = 40.0, 128.0  # a Hann line is 4 / block wide in all: 0.1 order at 40
BLOCKS = 3.0  # wanted at least: more give a better floor, fewer are finer, so that strays leak less
COHERENCE_REV = 20.0  # ten working cycles a block
LEAST_GOOD = 0.9  # of a block's samples
LEAST_COHERENT = 3  # blocks: fewer are in step by chance
GAIN_ERROR = 0.015  # 0.13 dB: the track's own phase error smears, stamps jitter; seen on simulated cars
LEAST_LINE = 4.0  # times the floor (6 dB: twice the amplitude), for a line that is no order to be named
SMEARED = 2.0  # times what passing orders leave there: a line must hold more to be one of its own
STANDS_DB = 15.0  # over the floor: of a lower line, how far it strays is mostly scatter
TWICE = 2.0  # the margin of what a line is said to keep to: less than twice is not told apart
LOWEST_LINE_HZ = 2.0  # under it the body rocks on its springs
OTHER_LINES = 12  # the strongest are named; more is noise to a reader
HZ_RESOLUTION = 0.25
TOO_BROKEN = "too little of the recording is unbroken"


def measure_orders(
    signal: Signal, track: SpeedTrack, engine: Engine, heard: tuple[Sequence[Line], Spectrum] | None = None
) -> OrderTable:
    """All orders of the engine, other lines, and the shake budget of one recording. heard: what
    `lines_in_hertz` found in the same signal, if it has been asked already."""
    turned = turn(signal, track.angle_rev)
    block = float(np.clip(turned.revolutions / BLOCKS, LEAST_BLOCK_REV, MOST_BLOCK_REV))
    axes = axis_shakes(turned, block)
    whole = _joined([axis.spectrum for axis in axes])
    speed_hz = track.turns_hz
    highest_seen = USABLE_SHARE * signal.fs_hz / speed_hz
    coherence = _coherences(turned, engine.orders)
    views = what_can_be_seen(engine, speed_hz, signal.fs_hz)
    highest = whole.x[-1] - LINE_HALF_WIDTH_ORDERS if len(whole.x) else 0.0
    count = max(len(views), int(2 * highest))  # those of the table come first
    multiples: Floats = 0.5 * np.arange(1.0, count + 1)
    bands = [order_bands(axis, multiples) for axis in axes]
    quiet = np.array([quietest(axis.spectrum, highest_seen) for axis in axes])
    levels = tuple(
        _level(view, [band.of(i) for band in bands], quiet, turned.revolutions, coherence[i], signal.fs_hz)
        if view.visible and view.order <= highest
        else _unseen(view, broken=not len(whole.x))
        for i, view in enumerate(views)
    )
    lines = _lines_beside(signal, track, levels, whole, heard or lines_in_hertz(signal))
    total = _total_ms(signal)
    own_multiples = (multiples % engine.cycle_order == 0) & (multiples < min(highest, highest_seen))
    in_orders = _all_orders_ms(bands, own_multiples)
    in_orders = max(in_orders, sum((lv.rms_m_s2 or 0.0) ** 2 for lv in levels))
    in_lines = sum(line.rms_m_s2**2 for line in lines)
    return OrderTable(
        levels=levels,
        other_lines=lines,
        spectrum=whole,
        orders_ms=in_orders,
        other_ms=in_lines,
        rest_ms=total - in_orders - in_lines,
        total_ms=total,
    )


def _joined(axes: list[Spectrum]) -> Spectrum:
    averages = sum(s.averages or 1.0 for s in axes)
    return Spectrum(axes[0].x, np.sum([s.psd for s in axes], axis=0), "order", averages)


def _unseen(view: OrderView, broken: bool) -> OrderLevel:
    """broken: no stretch of the recording is long enough for a block of working cycles."""
    reason = view.why_not or (TOO_BROKEN if broken else "above half the sample rate")
    return OrderLevel(
        order=view.order,
        frequency_hz=view.frequency_hz,
        rms_m_s2=None,
        low_m_s2=None,
        high_m_s2=None,
        above_floor_db=None,
        coherence=None,
        visible=False,
        why_not=reason,
    )


def _level(
    view: OrderView,
    axes: list[tuple[float, float, float]],
    quiet: Floats,
    revolutions: float,
    coherence: float | None,
    fs_hz: float,
) -> OrderLevel:
    band, floor, width = (np.array(v) for v in zip(*axes, strict=True))
    noise = float((floor * width).sum())
    sharp, lines = band - floor * width, band - np.minimum(floor, quiet) * width
    square, sharp_square = max(float(lines.sum()), 0.0), max(float(sharp.sum()), 0.0)
    cross = 2 * float(np.sum(np.maximum(lines, 0) * floor))
    alone = float(np.sum(floor**2 * width)) * (1 + width.max() / (BESIDE[1] - BESIDE[0]))
    sigma = np.sqrt((cross + alone) / max(revolutions, 1.0))
    low = np.sqrt(max(sharp_square - Z_95 * sigma, 0.0))
    high = np.sqrt(square + Z_95 * sigma) * filter_may_take(view.frequency_hz, fs_hz)
    rms = float(np.sqrt(square))
    return OrderLevel(
        order=view.order,
        frequency_hz=view.frequency_hz,
        rms_m_s2=rms,
        low_m_s2=float(max(low - Z_95 * GAIN_ERROR * rms, 0.0)),
        high_m_s2=float(high + Z_95 * GAIN_ERROR * rms),
        above_floor_db=float(10 * np.log10(max(float(band.sum()), 1e-20) / max(noise, 1e-20))),
        coherence=coherence,
        visible=True,
        why_not=None,
        sharp_m_s2=float(np.sqrt(sharp_square)),
    )


def _coherences(turned: Turned, orders: tuple[float, ...]) -> list[float | None]:
    """Steadiness of phase of each order, 0..1, over blocks of ten working cycles, noise's share taken off.

    The three axes of a block are one complex vector; |mean of vectors|^2 over the mean of |vector|^2.
    """
    size = round(COHERENCE_REV * turned.per_rev)
    whole = cut(turned.good, size).mean(axis=1) > LEAST_GOOD
    if whole.sum() < LEAST_COHERENT:
        return [None] * len(orders)
    window = hann.inner(size)
    turns = 2 * np.pi * np.outer(orders, np.arange(size) / turned.per_rev)
    waves = np.concatenate((window * np.cos(turns), window * np.sin(turns)))
    real, imaginary = np.split(waves @ cut(turned.accel_m_s2, size)[whole], 2, axis=1)
    return _steady(real - 1j * imaginary)


def _steady(phasors: np.ndarray) -> list[float | None]:
    """Of phasors (blocks, orders, 3), for each order."""
    count = len(phasors)
    mean = np.sum(np.abs(phasors.mean(axis=0)) ** 2, axis=1)
    power = np.sum(np.abs(phasors) ** 2, axis=(0, 2)) / count
    raw = mean / np.maximum(power, 1e-30)
    return list(np.maximum(0.0, (count * raw - 1) / (count - 1)).tolist())


def _total_ms(signal: Signal) -> float:
    """Mean square of the three-axis vector over the good samples."""
    squares = np.einsum("ij,ij,i->", signal.accel_m_s2, signal.accel_m_s2, signal.good)
    return float(squares) / float(signal.good.sum())


def _all_orders_ms(bands: Sequence[OrderBands], which: Flags) -> float:
    """Mean square on these orders (k,) of all axes, floor taken off."""
    over = np.sum([band.square - band.floor * band.width for band in bands], axis=0)
    return float(np.maximum(over[which], 0.0).sum())


def _smeared_ms(frequency_hz: float, levels: Sequence[OrderLevel], track: SpeedTrack) -> float:
    """Mean square that orders leave round a fixed frequency while a changing speed takes them across it: each
    order's own, for the share of the time that it is there."""
    at_hz = np.outer([lv.order for lv in levels], track.rpm / 60)
    shares = np.mean(np.abs(at_hz - frequency_hz) < 2 * SAME_LINE_HZ, axis=1)
    return float(shares @ [(lv.rms_m_s2 or 0.0) ** 2 for lv in levels])


def lines_in_hertz(signal: Signal) -> tuple[tuple[Line, ...], Spectrum]:
    """Lines of a recording whatever they belong to, and the spectrum they stand in."""
    spectrum = spectra.of_signal(signal, resolution_hz=HZ_RESOLUTION)
    found = [
        line
        for line in spectra.peaks(spectrum, floor_width=PEAK_FLOOR_HZ)
        if line.above_floor_db > 10 * np.log10(LEAST_LINE) and line.frequency_hz < USABLE_SHARE * signal.fs_hz
    ]
    strongest = sorted(found, key=lambda line: -line.rms_m_s2)[:OTHER_LINES]
    return tuple(sorted(strongest, key=lambda line: line.frequency_hz)), spectrum


def _lines_beside(
    signal: Signal,
    track: SpeedTrack,
    levels: Sequence[OrderLevel],
    in_orders: Spectrum,
    heard: tuple[Sequence[Line], Spectrum],
) -> tuple[Line, ...]:
    """The lines on no half order, each with what it keeps to. Of what stands in hertz, see `heard`, only that
    counts which is more than passing orders leave there."""
    steady, in_hertz = heard
    own = [
        line for line in steady if line.rms_m_s2**2 > SMEARED * _smeared_ms(line.frequency_hz, levels, track)
    ]
    found = _other_lines(signal, in_orders, track.turns_hz, own)
    return tuple(
        replace(line, drifts_with=_keeps_to(line, found, in_orders, in_hertz, track)) for line in found
    )


def _other_lines(
    signal: Signal, orders: Spectrum, speed_hz: float, hertz_lines: Sequence[Line]
) -> tuple[Line, ...]:
    """Lines on no half order: those sharp along the crank angle, and those sharp in hertz."""
    turning = [
        Line(line.order * speed_hz, line.order, line.rms_m_s2, line.above_floor_db)
        for line in spectra.peaks(orders, floor_width=PEAK_FLOOR_ORDERS)
        if line.order is not None and _off_orders(line.order)
    ]
    steady = [
        Line(line.frequency_hz, line.frequency_hz / speed_hz, line.rms_m_s2, line.above_floor_db)
        for line in hertz_lines
        if _off_orders(line.frequency_hz / speed_hz, SAME_LINE_HZ / speed_hz)
    ]
    found: list[Line] = []
    for line in sorted(turning + steady, key=lambda candidate: -candidate.above_floor_db):
        enough = line.above_floor_db > 10 * np.log10(LEAST_LINE)
        inside = LOWEST_LINE_HZ < line.frequency_hz < USABLE_SHARE * signal.fs_hz
        if (
            enough
            and inside
            and all(abs(line.frequency_hz - f.frequency_hz) > 2 * SAME_LINE_HZ for f in found)
        ):
            found.append(line)
    strongest = sorted(found, key=lambda line: -line.rms_m_s2)[:OTHER_LINES]
    return tuple(sorted(strongest, key=lambda line: line.frequency_hz))


def _off_orders(order: float, least: float = 0.0) -> bool:
    return abs(order - np.rint(2 * order) / 2) > max(LINE_HALF_WIDTH_ORDERS, least)


def _keeps_to(
    line: Line, lines: Sequence[Line], in_orders: Spectrum, in_hertz: Spectrum, track: SpeedTrack
) -> KeepsTo:
    """What a line keeps to while the speed wanders. What turns with the crank strays in hertz as far as the
    speed takes it, and not along the crank's angle; a motor's line the other way round. Nothing is said where
    the wander would hardly show beside the window's own width, and of what strays in both: noise of a mode,
    or a line with another beside it.

    Of 155 lines of faulty belts and fans in simulated cars of five worlds it tells 81, none wrongly; of 65 of
    others, with steadier idles, 19, none wrongly.
    """
    if line.order is None or line.above_floor_db < STANDS_DB or not len(in_orders.x) or not len(in_hertz.x):
        return "unknown"
    turns_hz = track.turns_hz
    takes_hz = line.frequency_hz * track.steadiness_rpm / track.mean_rpm
    step_hz = float(max(in_orders.x[1] * turns_hz, in_hertz.x[1]))
    if TWICE * takes_hz < spectra.SPREAD_BINS * step_hz:
        return "unknown"
    reach_hz = TWICE * takes_hz + spectra.LOBE_BINS * step_hz
    if any(o.rms_m_s2 > line.rms_m_s2 and abs(o.frequency_hz - line.frequency_hz) < reach_hz for o in lines):
        return "unknown"  # it may be the end of the other's sweep
    next_hz = abs(line.order - np.rint(2 * line.order) / 2) * turns_hz  # an engine order sweeps there too
    reach_hz = min(reach_hz, next_hz / TWICE)
    along_hz = turns_hz * spectra.straying_within(
        in_orders, line.order, reach_hz / turns_hz, floor_width=PEAK_FLOOR_ORDERS
    )
    across_hz = spectra.straying_within(in_hertz, line.frequency_hz, reach_hz, floor_width=PEAK_FLOOR_HZ)
    narrow, wide = sorted((along_hz, across_hz))
    if TWICE * narrow > wide or TWICE * wide < takes_hz:
        return "unknown"
    return "engine" if along_hz < across_hz else "clock"

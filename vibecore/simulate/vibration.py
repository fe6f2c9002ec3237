"""What the car does at the phone's place: sources made along the crank angle, passed through mounts and body.

Everything linear is exact: each source is a time history, its spectrum is multiplied by the closed-form
response, so amplitudes follow the engine's momentary speed through every resonance. What touches (exhaust,
mount metal) is a one-way push from the engine's rocking.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from vibecore.model import Condition, Floats, Place
from vibecore.simulate.car import (
    BODY,
    BOUNCE,
    LEVELS_AT_M_S,
    PITCH,
    ROLL,
    SIDEWAYS,
    SOURCES,
    Accessory,
    Car,
    Contact,
    gain,
    through,
)
from vibecore.simulate.crank import Crank, turn
from vibecore.simulate.physics import Complexes, transmissibility

GRID_HZ = 1200.0  # everything a phone can hear, with room to draw a smooth line between points
RUN_IN_S = 2.0  # thrown away at both ends: the spectrum treats the recording as a loop
NOISE_BAND_HZ = 200.0
# Radians that a phase is drawn from: a turn, of which the first 0.3 % comes twice. A turn itself would make
# every car of every seed anew.
ANY_PHASE = (0.0, 6.3)
# Periods in seconds, of a belt's or unit's level, of a fan's speed, of a turbine's slip. These and the shares
# below: common practice, no source.
SWELLS_S, FAN_DRIFTS_S, SLIP_DRIFTS_S = (0.7, 5.0), (8.0, 40.0), (2.0, 8.0)
BELT_WOBBLE = 0.2  # share by which a belt's level swells
FLOOR_LEFT = 0.05  # of the broad shake with the engine off
THROUGH_BODY = 0.6  # of its mean square: the rest is without the body's modes


@dataclass(frozen=True, eq=False)
class Vibration:
    """shake, rest: (3, n) at even steps from t = 0, m/s2. `shake` is what turns and fires and touches;
    `rest` the broad shake of a running engine, body and road. angle_rev, speed_hz: (n,); None with the
    engine off."""

    step_s: float
    shake: Floats
    rest: Floats
    angle_rev: Floats | None
    speed_hz: Floats | None


def vibrate(
    car: Car,
    condition: Condition,
    duration_s: float,
    rng: np.random.Generator,
    road_m_s: float | None = None,
) -> Vibration:
    """Shake at the condition's place over `duration_s`; at a road speed the wheels set the engine's."""
    place: Place = condition.place or "steering wheel"
    in_gear = condition.in_gear
    running = condition.speed_hold != "engine off"
    count = next_fast_len(round((duration_s + 2 * RUN_IN_S) * GRID_HZ), real=True)
    t_s = np.arange(count) / GRID_HZ
    frequency_hz = np.asarray(np.arange(count // 2 + 1) * (GRID_HZ / count), dtype=np.float64)
    sources = np.zeros((SOURCES, count))
    crank = _run(sources, car, condition, t_s, rng, road_m_s) if running else None
    _fan_source(sources, car, running, t_s, rng)
    if road_m_s and crank is not None:
        _road_sources(sources, car, road_m_s, crank, rng)
    spectra = rfft(sources)
    for contact in car.contacts if running else ():
        spectra[BODY] += _contact(car, contact, spectra[ROLL], frequency_hz, in_gear, count)
    shake = irfft(through(car, place, spectra, frequency_hz, in_gear), count)
    broad = _broad(car, place, frequency_hz, count, running, road_m_s, rng)
    if running and in_gear and car.driveline.judder_level:
        broad += _judder(car, place, frequency_hz, count, rng)
    rest = irfft(broad, count)
    keep = slice(round(RUN_IN_S * GRID_HZ), round((RUN_IN_S + duration_s) * GRID_HZ) + 1)
    angle = None if crank is None else crank.angle_rev[keep]
    speed = None if crank is None else crank.speed_hz[keep]
    return Vibration(1 / GRID_HZ, shake[:, keep], rest[:, keep], angle, speed)


def _run(
    sources: Floats,
    car: Car,
    condition: Condition,
    t_s: Floats,
    rng: np.random.Generator,
    road_m_s: float | None,
) -> Crank:
    """Let the engine run over the even times (n,): adds what it and all that it drives put into the sources
    (SOURCES, n)."""
    on = [u for u in car.accessories if not u.switched or u.name in condition.accessories]
    load = 1.0 + sum(u.load for u in on if u.switched)
    locked_rpm = None
    if road_m_s and car.wheels is not None:
        locked_rpm = 60 * road_m_s / car.wheels.metres_a_turn * car.wheels.ratio
    crank = turn(car, condition.gear, condition.speed_hold, load, t_s, rng, locked_rpm)
    _engine_sources(sources, car, crank)
    _belt_sources(sources, car, crank, on, t_s, rng)
    if condition.in_gear:
        _driveline_sources(sources, car, crank, t_s, rng)
    return crank


def _engine_sources(sources: Floats, car: Car, crank: Crank) -> None:
    turns = 2 * np.pi * crank.angle_rev
    idle_hz = car.idle.neutral_rpm / 60.0
    squared = (crank.speed_hz / idle_hz) ** 2
    sources[ROLL] += car.roll_gain * (crank.torque - crank.torque.mean())

    def add(source: int, order: float, level: float, phase: float) -> None:
        if level > 0:
            unit = level * np.sqrt(2) / gain(car, source, order * idle_hz)
            sources[source] += unit * squared * np.cos(order * turns + phase)

    add(BOUNCE, 1.0, car.force_1, 0.3)
    add(PITCH, 1.0, car.couple_1, 1.1)
    add(BOUNCE, 2.0, car.force_2, 0.7)
    add(PITCH, 2.0, car.couple_2, 2.0)
    add(SIDEWAYS, 1.0, car.unbalance, 0.0)
    add(BOUNCE, 1.0, car.unbalance * car.unbalance_shared, -np.pi / 2)


def _belt_sources(
    sources: Floats, car: Car, crank: Crank, on: list[Accessory], t_s: Floats, rng: np.random.Generator
) -> None:
    turns = 2 * np.pi * crank.angle_rev
    idle_hz = car.idle.neutral_rpm / 60.0
    lines = [(u.ratio, u.level, u.harmonics, u.wobble) for u in on]
    if car.belt is not None:
        lines.append((car.belt.order, car.belt.level, car.belt.harmonics, BELT_WOBBLE))
    for order, level, harmonics, wobble in lines:
        comes_and_goes = 1 + wobble * np.sin(
            2 * np.pi * t_s / rng.uniform(*SWELLS_S) + rng.uniform(*ANY_PHASE)
        )
        for i, strength in enumerate(harmonics, 1):
            unit = level * strength * np.sqrt(2) / gain(car, SIDEWAYS, i * order * idle_hz)
            squared = (crank.speed_hz / idle_hz) ** 2
            sources[SIDEWAYS] += (
                unit * squared * comes_and_goes * np.cos(i * order * turns + rng.uniform(*ANY_PHASE))
            )


def _fan_source(sources: Floats, car: Car, running: bool, t_s: Floats, rng: np.random.Generator) -> None:
    fan = car.fan
    if fan is None or (not running and fan.runs != "engine off too"):
        return
    if fan.runs == "sometimes" and rng.random() < 0.4:
        return
    drift = 1 + fan.drift * np.sin(2 * np.pi * t_s / rng.uniform(*FAN_DRIFTS_S) + rng.uniform(*ANY_PHASE))
    phase = 2 * np.pi * np.cumsum(fan.hz * (1 + 0.5 * fan.drift * rng.standard_normal()) * drift) / GRID_HZ
    on: Floats = np.ones(len(t_s))
    if fan.runs == "cycles":  # the thermostat switches it, at any moment of the recording
        switched = np.tanh((t_s - rng.uniform(0.2, 0.8) * t_s[-1]) / 0.5)
        on = 0.5 + 0.5 * (switched if rng.random() < 0.5 else -switched)
    unit = fan.level * np.sqrt(2) / gain(car, BODY, fan.hz)
    sources[BODY] += unit * on * np.cos(phase + rng.uniform(*ANY_PHASE))
    if fan.blade_level:
        blade = fan.blade_level * np.sqrt(2) / gain(car, BODY, fan.blades * fan.hz)
        sources[BODY] += blade * on * np.cos(fan.blades * phase)


def _driveline_sources(
    sources: Floats, car: Car, crank: Crank, t_s: Floats, rng: np.random.Generator
) -> None:
    line, idle_hz = car.driveline, car.idle.neutral_rpm / 60.0
    for order, level in ((1.0, line.order_one_level), (line.slip_order, line.slip_level)):
        if level:
            slip = 1.0 if order == 1.0 else 1 + 0.01 * np.sin(2 * np.pi * t_s / rng.uniform(*SLIP_DRIFTS_S))
            phase = 2 * np.pi * np.cumsum(order * slip * crank.speed_hz) / GRID_HZ
            unit = level * np.sqrt(2) / gain(car, SIDEWAYS, order * idle_hz)
            sources[SIDEWAYS] += unit * np.cos(phase + rng.uniform(*ANY_PHASE))


def _road_sources(sources: Floats, car: Car, road_m_s: float, crank: Crank, rng: np.random.Generator) -> None:
    wheels = car.wheels
    if wheels is None:
        return
    # the engine is locked to the wheels: both wander together
    wheel = np.cumsum(crank.speed_hz / wheels.ratio) * 2 * np.pi / GRID_HZ
    wheel_hz = road_m_s / wheels.metres_a_turn
    for phase, at_hz, level in (
        (wheel, wheel_hz, wheels.level),
        (2 * wheel, 2 * wheel_hz, wheels.level * wheels.harmonic),
        (wheels.final_ratio * wheel, wheels.final_ratio * wheel_hz, wheels.propshaft_level),
    ):
        unit = level * (road_m_s / LEVELS_AT_M_S) ** 2 * np.sqrt(2) / gain(car, BODY, at_hz)
        sources[BODY] += unit * np.cos(phase + rng.uniform(*ANY_PHASE))


def _contact(
    car: Car, contact: Contact, roll: Complexes, frequency_hz: Floats, in_gear: bool, count: int
) -> Complexes:
    """Spectrum of the push on the body by something that the engine's rocking drives against its stop."""
    swing = irfft(roll * transmissibility(frequency_hz / contact.natural_hz, contact.damping), count)
    usual = abs(transmissibility(np.array([_firing_hz(car) / contact.natural_hz]), contact.damping)[0])
    shift = contact.in_gear_shift if in_gear else 0.0
    push = np.clip(swing / (np.sqrt(2) * usual) + shift - contact.gap, 0.0, None)
    ring = transmissibility(frequency_hz / contact.ring_hz, contact.ring_damping)
    unit = contact.level * np.sqrt(2) / gain(car, BODY, _firing_hz(car))
    spectrum = rfft(push) * ring * unit
    spectrum[0] = 0.0
    return np.asarray(spectrum)


def _firing_hz(car: Car) -> float:
    return car.idle.neutral_rpm / 60.0 * car.engine.firing_order


def _broad(
    car: Car,
    place: Place,
    frequency_hz: Floats,
    count: int,
    running: bool,
    road_m_s: float | None,
    rng: np.random.Generator,
) -> Complexes:
    """Noise through the body, so that its modes stand out of the floor as in a real car, and noise as it
    is."""
    engine = car.floor_level if running else FLOOR_LEFT * car.floor_level
    road = car.wheels.road_level * (road_m_s / LEVELS_AT_M_S) if road_m_s and car.wheels else 0.0
    shape = (np.maximum(frequency_hz, 2.0) / 20.0) ** -car.floor_colour
    shape *= 1.0 / (1.0 + (frequency_hz / NOISE_BAND_HZ) ** 4)
    signals = np.zeros((SOURCES, len(frequency_hz)), dtype=complex)
    signals[BODY] = _white(len(frequency_hz), rng) * shape
    by_body = through(car, place, signals, frequency_hz, in_gear=False)
    plain = np.stack([_white(len(frequency_hz), rng) * shape for _ in range(3)])
    total = np.sqrt(THROUGH_BODY) * by_body / _rms(by_body, count)
    total += np.sqrt(1 - THROUGH_BODY) * plain / _rms(plain, count)
    if road:
        rough = (np.maximum(frequency_hz, 0.8) / 10.0) ** -1.0 / (1.0 + (frequency_hz / 60.0) ** 2)
        by_road = total * rough
        return np.asarray(total * engine + by_road * road / _rms(by_road, count))
    return np.asarray(total * engine)


def _judder(car: Car, place: Place, frequency_hz: Floats, count: int, rng: np.random.Generator) -> Complexes:
    """A dragging clutch: noise round the driveline's own frequency."""
    line = car.driveline
    off = (frequency_hz - line.judder_hz) / (line.judder_width * line.judder_hz)
    signals = np.zeros((SOURCES, len(frequency_hz)), dtype=complex)
    signals[BODY] = _white(len(frequency_hz), rng) / (1.0 + off**2)
    wheel = gain(car, BODY, line.judder_hz)
    signals[BODY] *= line.judder_level / wheel / _rms(signals, count)
    return through(car, place, signals, frequency_hz, in_gear=True)


def _rms(spectra: Complexes, count: int) -> float:
    """rms of the three-axis vector whose one-sided spectrum this is (Parseval)."""
    return float(np.sqrt(2 * np.sum(np.abs(spectra[:, 1:]) ** 2)) / count)


def _white(count: int, rng: np.random.Generator) -> Complexes:
    return np.asarray(rng.standard_normal(count) + 1j * rng.standard_normal(count))

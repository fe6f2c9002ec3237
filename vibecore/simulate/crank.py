"""The crank's speed and angle: idle that wanders and hunts, and a flywheel that each firing kicks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from vibecore.balance import torque_sum
from vibecore.model import IN_GEAR, Floats, Gear, SpeedHold
from vibecore.simulate.car import Car
from vibecore.simulate.physics import gas_torque, order_coefficient

COARSE_HZ = 20.0  # slow wander is made at this rate and drawn smooth between
COMMON_TAU_S = 1.5  # how long a lean or rich spell lasts


@dataclass(frozen=True, eq=False)
class Crank:
    """speed_hz, angle_rev: (n,) at even steps. torque: (n,) gas torque in table units, mean and all."""

    speed_hz: Floats
    angle_rev: Floats
    torque: Floats


def turn(
    car: Car,
    gear: Gear | None,
    hold: SpeedHold | None,
    load: float,
    t_s: Floats,
    rng: np.random.Generator,
    target_rpm: float | None = None,
) -> Crank:
    """Let the crank turn over the even times `t_s`; `load` multiplies burning and pulls the idle down a
    little."""
    step_s = float(t_s[1] - t_s[0])
    slow_hz = _slow_speed(car, gear, hold, load, t_s, rng, target_rpm) / 60.0
    start = rng.uniform(0, 2.0)
    angle = start + np.cumsum(slow_hz) * step_s
    strength = load * (car.drive_load if gear in IN_GEAR else 1.0)
    factors = _cycle_factors(car, int(np.ceil(angle[-1] * 2.0 / car.engine.strokes)) + 2, rng)
    # The ripple is drawn along the slow angle and time is then bent so that the crank turns with it: firing
    # stays tied to the true angle, with no drift between the two.
    ripple = _ripple(car, _torque(car, angle, strength, factors), slow_hz, step_s)
    when_s = t_s[0] + np.cumsum(step_s * slow_hz / (slow_hz + ripple))
    turned = np.interp(t_s, when_s, angle) + np.maximum(t_s - when_s[-1], 0.0) * slow_hz[-1]
    return Crank(np.gradient(turned, step_s), turned, _torque(car, turned, strength, factors))


def mean_rpm_target(car: Car, gear: Gear | None, hold: SpeedHold | None) -> float:
    """The speed that the car is held at, about which it wanders."""
    if hold == "raised":
        return car.idle.raised_rpm
    return car.idle.drive_rpm if gear in IN_GEAR else car.idle.neutral_rpm


def _slow_speed(
    car: Car,
    gear: Gear | None,
    hold: SpeedHold | None,
    load: float,
    t_s: Floats,
    rng: np.random.Generator,
    target_rpm: float | None,
) -> Floats:
    idle, span = car.idle, float(t_s[-1])
    target = target_rpm or mean_rpm_target(car, gear, hold)
    coarse = np.arange(0.0, span + 2.0 / COARSE_HZ, 1.0 / COARSE_HZ)
    wander = idle.sd_rpm * _slow_noise(len(coarse), idle.tau_s * COARSE_HZ, rng)
    beat = rng.uniform(0, 2 * np.pi) + 2 * np.pi * np.cumsum(
        (1 + 0.15 * _slow_noise(len(coarse), 2.0 * COARSE_HZ, rng)) / (idle.hunting_period_s * COARSE_HZ)
    )
    hunt = idle.hunting_rpm * np.sin(beat) * (1 + 0.3 * _slow_noise(len(coarse), 3.0 * COARSE_HZ, rng))
    target *= 1 + idle.settles * rng.standard_normal()
    level = np.full(len(coarse), target - 15.0 * (load - 1.0))
    if hold == "raised":  # a foot, not a governor: slow drift instead of hunting
        hunt = 1.2 * idle.sd_rpm * _slow_noise(len(coarse), 4.0 * COARSE_HZ, rng)
    if hold == "sweep":
        up = 0.5 - 0.5 * np.cos(2 * np.pi * np.clip((coarse / span - 0.1) / 0.8, 0, 1))
        level = idle.neutral_rpm + (idle.raised_rpm * 1.4 - idle.neutral_rpm) * up
    rpm = np.clip(level + wander + hunt, 0.55 * target, None)
    return np.interp(t_s, coarse, rpm)


def _slow_noise(count: int, tau_steps: float, rng: np.random.Generator) -> Floats:
    """Unit-variance noise, smooth over about tau steps (two first-order lags in a row)."""
    keep = np.exp(-1.0 / max(tau_steps, 0.5))
    lead = int(6 * tau_steps) + 10
    rough = lfilter([1 - keep], [1, -keep], rng.standard_normal(count + lead))
    quick = np.exp(-1.0 / max(0.3 * tau_steps, 0.5))
    smooth = lfilter([1 - quick], [1, -quick], rough)[lead:]
    unit = np.sqrt(
        (1 - keep) / (1 + keep) * ((1 - quick) * (1 + keep * quick)) / ((1 + quick) * (1 - keep * quick))
    )
    return np.asarray(smooth / unit)


def _cycle_factors(car: Car, cycles: int, rng: np.random.Generator) -> Floats:
    """How strongly each cylinder burns in each working cycle, (cylinders, cycles)."""
    n = car.engine.cylinders
    burn = np.asarray(car.burn)[:, None] * (1 + car.cycle_spread * rng.standard_normal((n, cycles)))
    cycle_s = 60.0 / car.idle.neutral_rpm * car.engine.strokes / 2
    burn = burn * (1 + car.common_spread * _slow_noise(cycles, COMMON_TAU_S / cycle_s, rng))
    burn[rng.random((n, cycles)) < car.skip_share] = 0.0
    return np.clip(burn, 0.0, 2.5)


def _torque(car: Car, angle_rev: Floats, strength: float, factors: Floats) -> Floats:
    cold, hot = gas_torque(car.combustion, car.engine.strokes)
    steps = len(cold)
    cycles = angle_rev * 2.0 / car.engine.strokes
    total = np.zeros(len(angle_rev))
    cycle_deg = 180.0 * car.engine.strokes
    last = factors.shape[1] - 1
    for c, fires_deg in enumerate(car.layout.firing_angles_deg):
        own = cycles - fires_deg / cycle_deg + 1.0
        at = (own % 1.0) * steps
        low = at.astype(int)
        part = at - low
        low %= steps
        high = (low + 1) % steps
        # one charge burns from just before top dead centre to the middle of the cycle, so it changes there
        burn = strength * factors[c, np.minimum((own + 0.5).astype(int), last)]
        total += car.squeeze[c] * (cold[low] * (1 - part) + cold[high] * part)
        total += burn * (hot[low] * (1 - part) + hot[high] * part)
    return total


def _ripple(car: Car, torque: Floats, slow_hz: Floats, step_s: float) -> Floats:
    """Speed that the torque's unevenness adds: flywheel and governor as a first-order lag, scaled so that
    a sound engine's within-cycle ripple is `inertia_share` of its speed."""
    f = np.fft.rfftfreq(len(torque), step_s)
    spectrum = np.fft.rfft(torque - torque.mean())
    lag = 1.0 / (2j * np.pi * f + 1.0 / car.idle.governor_s)
    swing = np.fft.irfft(spectrum * lag, len(torque))
    order, amplitude = strongest_order(car)
    sound = amplitude / (2 * np.pi * order * car.idle.neutral_rpm / 60.0) / np.sqrt(2)
    scale = car.inertia_share * car.idle.neutral_rpm / 60.0 / sound
    limit = 0.2 * slow_hz  # a stalling engine is outside this model
    return np.clip(scale * swing, -limit, limit)


def strongest_order(car: Car) -> tuple[float, float]:
    """The order on which a sound engine's torque is strongest at neutral idle, and its amplitude in table
    units. Even firing: the firing order."""
    cold, hot = gas_torque(car.combustion, car.engine.strokes)
    step = car.engine.cycle_order
    orders = [step * i for i in range(1, round(car.engine.firing_order / step) + 1)]
    sizes = {
        o: abs(order_coefficient(cold + hot, o, car.engine.strokes))
        * torque_sum(car.layout.firing_angles_deg, o)
        for o in orders
    }
    order = max(sizes, key=lambda o: sizes[o])
    return order, sizes[order]

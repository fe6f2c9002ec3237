"""The phone: its rate, clock, filter, noise and habits, and the hand that tapes it on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from vibecore.model import Floats
from vibecore.simulate.draw import log_uniform, uniform
from vibecore.simulate.physics import between
from vibecore.units import STANDARD_GRAVITY_M_S2

# Rates met in practice and how often, roughly; common practice, no source.
RATES = {
    50.0: 0.07,
    60.0: 0.08,
    100.0: 0.28,
    104.0: 0.06,
    125.0: 0.03,
    200.0: 0.25,
    208.0: 0.04,
    400.0: 0.12,
    500.0: 0.07,
}
# Noise density of phone sensors: 70-230 micro-g per root hertz (ICM-42605, ICM-20948, BMI160 data sheets)
NOISE_M_S2_RTHZ = (70e-6 * STANDARD_GRAVITY_M_S2, 300e-6 * STANDARD_GRAVITY_M_S2)
# Steps of values in files, m/s2: 16-bit at 2 g, 1 mg, hundredths, 12-bit at 8 g, and a browser's 0.1 (W3C)
STEPS = (0.000599, 0.0024, 0.0098, 0.01, 0.0383, 0.1)
STEP_SHARES = (0.4, 0.25, 0.1, 0.15, 0.06, 0.04)

Stamps = Literal["true", "jittered", "rounded to ms", "nominal", "bursts"]


@dataclass(frozen=True)
class Phone:
    """How a phone samples, stamps and writes what it feels; as given, it samples evenly and loses nothing."""

    rate_hz: float = 200.0
    rate_error: float = 0.0  # true rate against nominal
    rate_drift: float = 0.0  # share by which the true rate goes up and down once a minute
    clock_error: float = 0.0  # the phone's second against a true one
    sampling_jitter: float = 0.0  # of the step: samples really taken early or late
    stamp_jitter_s: float = 0.0  # stamps wrong, samples even
    stamps: Stamps = "true"
    loss: float = 0.0  # share of samples lost one by one
    gaps: int = 0  # holes of up to half a second
    filter_hz: float | None = None  # of its anti-alias filter; None: no filter at all
    filter_poles: int = 1
    noise_m_s2_rthz: float = 0.0012
    step_m_s2: float = 0.000599
    range_g: float = 4.0
    gravity: bool = True
    upside: Literal[1, -1] = 1  # two makers give the same motion with opposite signs


@dataclass(frozen=True)
class Hand:
    """Handling: seconds at the start and end, knocks in between, a door, a phone that slips and so turns."""

    start_s: float = 0.0
    end_s: float = 0.0
    knocks_s: tuple[float, ...] = ()
    door_s: float | None = None
    strength_m_s2: float = 3.0
    slip_s: float | None = None
    slip_deg: float = 0.0


@dataclass(frozen=True, eq=False)
class Taping:
    """How the phone lies: turned (3, 3) from the car's axes to its own, and what this taping does to the
    level."""

    turned: Floats
    factor: float


def draw_taping(rng: np.random.Generator, sd_db: float) -> Taping:
    """Any way round. sd_db: standard deviation of the level from one taping to the next."""
    return Taping(_orientation(rng), float(10 ** (sd_db * rng.standard_normal() / 20)))


def draw_phone(rng: np.random.Generator, rate_hz: float | None = None) -> Phone:
    """A phone such as people have. rate_hz: None for one of the usual rates."""
    rate = rate_hz or float(rng.choice(list(RATES), p=np.array(list(RATES.values())) / sum(RATES.values())))
    stamps: Stamps = ("true", "jittered", "rounded to ms", "bursts")[
        int(rng.choice(4, p=[0.45, 0.35, 0.15, 0.05]))
    ]
    browser = rate == 60.0 and rng.random() < 0.3
    filtered = rng.random() < 0.65
    warms = rng.spawn(1)[0]
    return Phone(
        rate_hz=rate,
        rate_error=rng.normal(0, 0.01) if rng.random() < 0.7 else rng.normal(0, 0.04),
        rate_drift=log_uniform(warms, 1e-4, 5e-3) if warms.random() < 0.15 else 0.0,
        clock_error=rng.normal(0, 3e-5),
        sampling_jitter=0.0 if rng.random() < 0.4 else log_uniform(rng, 0.005, 0.2),
        stamp_jitter_s=log_uniform(rng, 0.01, 0.25) / rate if stamps == "jittered" else 0.0,
        stamps=stamps,
        loss=0.0 if rng.random() < 0.6 else log_uniform(rng, 0.0003, 0.02),
        gaps=int(rng.choice(4, p=[0.8, 0.12, 0.05, 0.03])),
        filter_hz=rate * uniform(rng, 0.4, 1.0) if filtered else None,
        filter_poles=int(rng.integers(1, 4)),
        noise_m_s2_rthz=log_uniform(rng, *NOISE_M_S2_RTHZ),
        step_m_s2=0.1
        if browser
        else float(rng.choice(STEPS[:5], p=np.array(STEP_SHARES[:5]) / sum(STEP_SHARES[:5]))),
        range_g=float(rng.choice([2.0, 4.0, 8.0])),
        gravity=bool(rng.random() < 0.65),
        upside=1 if rng.random() < 0.7 else -1,
    )


def draw_hand(rng: np.random.Generator, duration_s: float) -> Hand:
    """How a recording of this length is handled: three in four start or stop it by hand."""
    handled = rng.random() < 0.75
    start = uniform(rng, 0.3, 3.0) if handled else 0.0
    end = uniform(rng, 0.2, 2.0) if handled and rng.random() < 0.8 else 0.0
    knocks = int(rng.choice(4, p=[0.65, 0.2, 0.1, 0.05]))
    inside = (start + 1.0, max(start + 2.0, duration_s - end - 1.0))
    return Hand(
        start_s=start,
        end_s=end,
        knocks_s=tuple(sorted(uniform(rng, *inside) for _ in range(knocks))),
        door_s=uniform(rng, *inside) if rng.random() < 0.05 else None,
        strength_m_s2=log_uniform(rng, 0.5, 6.0),
        slip_s=uniform(rng, *inside) if rng.random() < 0.03 else None,
        slip_deg=uniform(rng, 4.0, 40.0),
    )


def sample(
    phone: Phone, hand: Hand, taping: Taping, accel_m_s2: Floats, step_s: float, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """What the phone writes: stamps (n,) in seconds and values (n, 3), from motion (3, m) at even steps.

    The true motion is read at the phone's own sampling times without further filtering than its own, so
    what lies above half its rate folds down as it does in life.
    """
    duration = (accel_m_s2.shape[1] - 1) * step_s
    motion = accel_m_s2 + _handling(hand, accel_m_s2.shape[1], step_s, duration, rng)
    if phone.filter_hz is not None:
        motion = _filtered(motion, step_s, phone.filter_hz, phone.filter_poles)
    true_rate = phone.rate_hz * (1 + phone.rate_error)
    even = np.arange(int(duration * true_rate)) / true_rate
    turn = 2 * np.pi / 60
    even -= phone.rate_drift / turn * (1 - np.cos(turn * even))
    # early or late, but one after the other
    late = phone.sampling_jitter * rng.standard_normal(len(even)) / true_rate
    taken = np.clip(np.sort(even + late), 0.0, duration)
    values = between(motion, taken / step_s)
    values[2] += STANDARD_GRAVITY_M_S2 if phone.gravity else 0.0
    if hand.slip_s is not None:
        slipped = taken > hand.slip_s
        values[:, slipped] = _tilt(hand.slip_deg) @ values[:, slipped]
    values = taping.turned @ values
    values += phone.noise_m_s2_rthz * np.sqrt(true_rate / 2) * rng.standard_normal(values.shape)
    values += 0.0 if phone.gravity else 0.01 * rng.standard_normal((3, 1))
    limit = phone.range_g * STANDARD_GRAVITY_M_S2
    values = np.round(np.clip(phone.upside * values, -limit, limit) / phone.step_m_s2) * phone.step_m_s2
    stamps = _stamps(phone, even if phone.stamps == "nominal" else taken, rng)
    kept = _kept(phone, len(stamps), true_rate, rng)
    return stamps[kept] - stamps[kept][0], values[:, kept].T


def _orientation(rng: np.random.Generator) -> Floats:
    """A rotation, all equally likely (orthogonal part of a random matrix)."""
    q, r = np.linalg.qr(rng.standard_normal((3, 3)))
    q = q * np.sign(np.diag(r))
    return np.asarray(q if np.linalg.det(q) > 0 else -q)


def _tilt(angle_deg: float) -> Floats:
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def _filtered(motion: Floats, step_s: float, corner_hz: float, poles: int) -> Floats:
    """A low-pass as flat as its poles allow (Butterworth), 3 dB down at the corner."""
    n = motion.shape[1]
    padded = next_fast_len(n, real=True)
    f = np.fft.rfftfreq(padded, step_s)
    response = 1.0 / np.sqrt(1 + (f / corner_hz) ** (2 * poles))  # size only: a delay does not matter here
    return np.asarray(irfft(rfft(motion, padded) * response, padded)[:, :n])


def _handling(hand: Hand, count: int, step_s: float, duration_s: float, rng: np.random.Generator) -> Floats:
    out = np.zeros((3, count))
    t = np.arange(count) * step_s
    for lasts, away in ((hand.start_s, t), (hand.end_s, duration_s - t)):
        if lasts > 0:
            near = away < lasts
            fade = np.sqrt(np.clip(1 - (away[near] / lasts) ** 2, 0, 1))
            rough = np.repeat(
                rng.standard_normal((3, int(near.sum() * step_s * 8) + 3)), round(1 / (8 * step_s)), axis=1
            )
            smooth = np.apply_along_axis(lambda a: np.convolve(a, np.ones(75) / 75, "same"), 1, rough)
            out[:, near] += hand.strength_m_s2 * smooth[:, : near.sum()] * fade
    hits = [(k, log_uniform(rng, 1.0, 10.0), uniform(rng, 20, 60)) for k in hand.knocks_s]
    if hand.door_s is not None:
        hits.append((hand.door_s, uniform(rng, 2.0, 8.0), uniform(rng, 8, 25)))
    for at_s, size, ring_hz in hits:
        since = np.clip(t - at_s, 0, None)
        ringing = np.exp(-since * ring_hz * 0.6) * np.sin(2 * np.pi * ring_hz * since)
        out += size * rng.standard_normal((3, 1)) * ringing
    return out


def _stamps(phone: Phone, taken: Floats, rng: np.random.Generator) -> Floats:
    stamps = taken * (1 + phone.clock_error)
    if phone.stamp_jitter_s:
        stamps = np.sort(stamps + phone.stamp_jitter_s * rng.standard_normal(len(stamps)))
    if phone.stamps == "rounded to ms":
        stamps = np.round(stamps, 3)
    if phone.stamps == "bursts":  # handed over in packets: stamps of one packet crowd at its end
        size = int(rng.integers(3, 9))
        ends = stamps[np.minimum((np.arange(len(stamps)) // size + 1) * size - 1, len(stamps) - 1)]
        stamps = ends - 2e-4 * (size - 1 - np.arange(len(stamps)) % size)
    return np.asarray(stamps)


def _kept(phone: Phone, count: int, rate_hz: float, rng: np.random.Generator) -> Floats:
    kept = rng.random(count) >= phone.loss
    for _ in range(phone.gaps):
        start = int(rng.integers(count // 5, max(count - int(rate_hz), count // 5 + 1)))
        kept[start : start + int(rng.uniform(0.03, 0.5) * rate_hz)] = False
    kept[0] = True
    return np.asarray(kept)


def same_phone(phone: Phone, rng: np.random.Generator) -> Phone:
    """The same phone on another recording: its true rate moves a little, the rest stays."""
    return replace(phone, rate_error=phone.rate_error + rng.normal(0, 0.0005))

"""What is true of a recording over the very span that an analysis used, from the motion before the phone.

The simulator tells the truth over the time between handling; an analysis uses a part of that. So the motion
is kept here while a job is simulated, and speed and levels are read from it over the analysis's own span.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Protocol
from unittest import mock

import numpy as np
from scipy.signal import periodogram

from tests.benchmarks.peer import phone_noise
from vibecore.constants import LINE_HALF_WIDTH_ORDERS
from vibecore.engine import Engine
from vibecore.simulate import Phone, Truth
from vibecore.simulate import recording as recording_module
from vibecore.simulate.truth import order_levels
from vibecore.simulate.vibration import Vibration
from vibecore.speed.pattern import USABLE_SHARE

Span = tuple[float, float]
BESIDE = (
    0.15  # orders from a line to where its own skirt is read: clear of the line and of the next half order
)
CLEAR = 4.0  # times the power of all else, 6 dB: a line that an eye finds in a spectrum; common practice
HERTZ_SHARE = 0.02  # half width of a line that keeps its hertz, as a share of its frequency
ASIDE = 0.25  # orders: half way from a half order to the next


class TrueRecording(Protocol):
    """The truth that scoring asks for. What is not known is None, or missing from the dictionary."""

    def mean_rpm(self, span: Span) -> float | None: ...
    def levels(self, span: Span, orders: Sequence[float]) -> dict[float, float]: ...
    def skirts(self, span: Span, orders: Sequence[float]) -> dict[float, float]: ...


@dataclass(frozen=True, eq=False)
class KeptTruth:
    """A simulated recording's motion, at the phone's place. factor: what this taping does to all levels."""

    told: Truth
    vibration: Vibration
    engine: Engine
    factor: float
    phone: Phone

    def mean_rpm(self, span: Span) -> float | None:
        """Turns of the crank over time."""
        angle = self.vibration.angle_rev
        if angle is None:
            return None
        at = np.interp(span, np.arange(len(angle)) * self.vibration.step_s, angle)
        return float(60 * (at[1] - at[0]) / (span[1] - span[0]))

    def levels(self, span: Span, orders: Sequence[float]) -> dict[float, float]:
        """rms (m/s2) of the three-axis vector within +-0.05 order of each order; noise and floor left out."""
        return self._levels(self.vibration.shake, span, orders)

    def skirts(self, span: Span, orders: Sequence[float]) -> dict[float, float]:
        """The same width read beside each line: what unsteady cycles smear, which no line stands for."""
        beside = sorted({abs(o + d) for o in orders for d in (-BESIDE, BESIDE)})
        read = self._levels(self.vibration.shake, span, beside)
        both = {o: [read[abs(o + d)] ** 2 for d in (-BESIDE, BESIDE)] for o in orders}
        return {o: float(np.sqrt(np.mean(squares))) for o, squares in both.items()}

    def seen_orders(self, span: Span, fs_hz: float) -> int | None:
        """How many engine orders the phone can see: CLEAR times the power of all else within their width
        (what unsteady cycles smear, the road and the body, the phone's noise), and below half the rate."""
        rpm = self.mean_rpm(span)
        if rpm is None:
            return None
        orders = [o for o in self.engine.orders if o * rpm / 60 < USABLE_SHARE * fs_hz]
        levels, skirts = self.levels(span, orders), self.skirts(span, orders)
        beside = self._levels(self.vibration.rest, span, orders)
        noise = phone_noise(self.phone.noise_m_s2_rthz, self.phone.step_m_s2, fs_hz)
        noise_ms = 3 * noise**2 * 2 * LINE_HALF_WIDTH_ORDERS * rpm / 60 / (fs_hz / 2)
        return sum(
            (levels[o] ** 2 - skirts[o] ** 2) * 10 ** (-filter_loss_db(self.phone, o * rpm / 60) / 10)
            > CLEAR * (skirts[o] ** 2 + beside[o] ** 2 + noise_ms)
            for o in orders
        )

    def lines_ms(
        self,
        span: Span,
        orders: Sequence[float],
        hertz: Sequence[float],
        top: float | None,
        band_hz: tuple[float, float] | None = None,
    ) -> float:
        """Mean square of these lines together: on orders, on frequencies, (with `top`) of everything between
        the half orders up to there, and of a band of hertz. The phone's own noise is left out."""
        total = sum(level**2 for level in self.levels(span, orders).values()) if orders else 0.0
        if hertz:
            f, power = self._seen(self.vibration.shake, span)
            total += sum(float(power[np.abs(f - h) <= HERTZ_SHARE * h].sum()) for h in hertz)
        if band_hz is not None:
            f, power = self._seen(self.vibration.shake + self.vibration.rest, span)
            total += float(power[(f >= band_hz[0]) & (f <= band_hz[1])].sum())
        if top is not None:
            gaps = np.arange(ASIDE, top - ASIDE / 2, 2 * ASIDE)  # middles of the gaps between half orders
            bands = [g + d for g in gaps for d in (-0.15, -0.05, 0.05, 0.15)]  # 0.1 wide each: 0.4 of a gap
            both = self._levels(self.vibration.shake + self.vibration.rest, span, bands)
            total += sum(level**2 for level in both.values())
        return total

    def _seen(self, motion: np.ndarray, span: Span) -> tuple[np.ndarray, np.ndarray]:
        """Where the phone shows each frequency of the motion, folded down at its rate, and how much of its
        mean square the phone's filter leaves."""
        f, psd = periodogram(
            self._part(motion, span), fs=1 / self.vibration.step_s, detrend="constant", axis=1
        )
        fs_hz = self.phone.rate_hz * (1 + self.phone.rate_error)
        left = 10 ** (filter_loss_db(self.phone, f) / 10)
        return np.abs((f + fs_hz / 2) % fs_hz - fs_hz / 2), psd.sum(axis=0) * f[1] * left

    def _part(self, motion: np.ndarray, span: Span) -> np.ndarray:
        first, last = (round(s / self.vibration.step_s) for s in span)
        return motion[:, first:last]

    def _levels(self, motion: np.ndarray, span: Span, orders: Sequence[float]) -> dict[float, float]:
        angle = self.vibration.angle_rev
        if angle is None:
            return {}
        angle = self._part(angle[None], span)[0]
        return order_levels(self._part(motion, span), angle, tuple(orders), self.engine.cycle_order)


@dataclass(frozen=True, eq=False)
class WrittenTruth:
    """Truth as a file tells it: mean, track (m, 2) of seconds and rpm, levels over the whole recording."""

    mean: float | None
    track: np.ndarray
    told: dict[float, float]

    def mean_rpm(self, span: Span) -> float | None:
        if not len(self.track):
            return self.mean
        inside = (self.track[:, 0] >= span[0]) & (self.track[:, 0] <= span[1])
        return float(self.track[inside, 1].mean()) if inside.any() else None

    def levels(self, span: Span, orders: Sequence[float]) -> dict[float, float]:  # noqa: ARG002
        return {o: self.told[o] for o in orders if o in self.told}

    def skirts(self, span: Span, orders: Sequence[float]) -> dict[float, float]:  # noqa: ARG002
        return {}


@contextmanager
def keeping() -> Iterator[list[KeptTruth]]:
    """While it lasts, the motion of every simulated recording is kept, in the order they are made."""
    kept: list[KeptTruth] = []
    latest: list[Any] = []
    real_tell, real_sample = recording_module.tell, recording_module.sample

    def sample(phone: Phone, hand: Any, taping: Any, *rest: Any) -> Any:
        latest[:] = [phone, taping.factor]
        return real_sample(phone, hand, taping, *rest)

    def tell(vibration: Vibration, engine: Engine, *rest: Any) -> Truth:
        told = real_tell(vibration, engine, *rest)
        kept.append(KeptTruth(told, vibration, engine, latest[1], latest[0]))
        return told

    with mock.patch.multiple(recording_module, tell=tell, sample=sample):
        yield kept


def true_change_db(before: KeptTruth, after: KeptTruth, spans: tuple[Span, Span], lines: Any) -> float | None:
    """Change of these lines (FaultLines) that the car made; taping taken out."""
    was, now = (
        side.lines_ms(span, lines.orders, lines.hz, lines.between, lines.band_hz) / side.factor**2
        for side, span in zip((before, after), spans, strict=True)
    )
    return float(10 * np.log10(now / was)) if was > 0 and now > 0 else None


def filter_loss_db(phone: Phone, frequency_hz: Any) -> Any:
    """What the phone's own filter takes off lines (Butterworth), in dB; 0 without a filter. frequency_hz: one
    or many."""
    if phone.filter_hz is None:
        return 0.0 * frequency_hz
    return -10 * np.log10(1 + (frequency_hz / phone.filter_hz) ** (2 * phone.filter_poles))

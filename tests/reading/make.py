"""Invented shake with known truth, and the means to print it as any logger would."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vibecore.model import Floats, Recording
from vibecore.reading import read_recording

G = 9.80665  # m/s2, standard gravity, exact (SI Brochure, 9th edition, 2019)


@dataclass(frozen=True, eq=False)
class Truth:
    """t_s (n,) from 0, accel (n, 3) in m/s2."""

    t_s: Floats
    accel: Floats
    rate_hz: float


def shake(
    rate_hz: float = 100.0,
    seconds: float = 20.0,
    gravity: bool = True,
    seed: int = 0,
    jitter: float = 0.05,
    step: float = 0.0,
) -> Truth:
    """A phone on a shaking wheel: lines at 12.3 and 24.6 Hz, noise, gravity askew, values in steps of
    `step`."""
    rng = np.random.default_rng(seed)
    n = round(rate_hz * seconds)
    t = (np.arange(n) + jitter * rng.uniform(-1, 1, n)) / rate_hz
    t -= t[0]
    lines = 0.4 * np.sin(2 * np.pi * 12.3 * t)[:, None] * [1.0, 0.5, -0.3]
    lines = lines + 0.2 * np.cos(2 * np.pi * 24.6 * t)[:, None] * [0.1, -0.7, 1.0]
    still = G * np.array([0.2, -0.5, np.sqrt(1 - 0.29)]) if gravity else np.zeros(3)
    accel = lines + rng.normal(0, 0.05, (n, 3)) + still
    return Truth(t, np.round(accel / step) * step if step else accel, rate_hz)


def cells(
    truth: Truth, *, t_unit: float = 1.0, t_digits: int = 6, unit: float = 1.0, digits: int = 5
) -> list[list[str]]:
    """Rows t, x, y, z as text: times in units of `t_unit` s, acceleration in units of `unit` m/s2."""
    return [
        [f"{t / t_unit:.{t_digits}f}", *(f"{v / unit:.{digits}f}" for v in a)]
        for t, a in zip(truth.t_s, truth.accel, strict=True)
    ]


def text(rows: Sequence[Sequence[str]], header: str | None = "time,x,y,z", delimiter: str = ",") -> str:
    """Rows of cells as delimited text under a header."""
    return "\n".join([*([header] if header is not None else []), *(delimiter.join(r) for r in rows)]) + "\n"


def csv(truth: Truth, header: str | None = "time,x,y,z") -> str:
    """The plainest file: comma, point, seconds, m/s2."""
    return text(cells(truth), header)


def packed(files: dict[str, str | bytes]) -> bytes:
    """A zip of these files."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return out.getvalue()


def codes(recording: Recording) -> list[str]:
    """The codes of its warnings, in their order."""
    return [w.code for w in recording.warnings]


def with_stamps(stamps: Sequence[str], truth: Truth | None = None, name: str = "time") -> Recording:
    """What is read of a shake whose times are printed so, under that name."""
    rows = [[stamp, *row[1:]] for stamp, row in zip(stamps, cells(truth or shake()), strict=True)]
    return read_recording(text(rows, f"{name},x,y,z").encode())

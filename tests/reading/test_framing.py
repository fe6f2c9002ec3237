"""Rows that a microcontroller or a system's log frames; common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest

from tests.reading.make import shake
from vibecore.reading import read_recording

TRUTH = shake(seconds=10.0)


@pytest.mark.parametrize(
    "form",
    [
        "$ACC,{ms},{x:.3f},{y:.3f},{z:.3f}*{sum:02X}",
        "{ms};{x:.3f};{y:.3f};{z:.3f}*{sum:02x}",
        "[{s:12.6f}] {x:.3f} {y:.3f} {z:.3f}",
        "[{s:12.6f}] acc: {x:.3f} {y:.3f} {z:.3f}",
        "[{ms}]: {x:.3f}, {y:.3f}, {z:.3f}",
        "I ({ms}) ACC: {x:.3f} {y:.3f} {z:.3f}",
        "{ms},{x:.3f},{y:.3f},{z:.3f};",
    ],
)
@pytest.mark.parametrize("first", ["", "ready\n"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_framed_rows(form: str, first: str, end: str) -> None:
    rows = [
        form.format(s=t, ms=round(1000 * t), x=x, y=y, z=z, sum=k % 256)
        for k, (t, (x, y, z)) in enumerate(zip(TRUTH.t_s, TRUTH.accel, strict=True))
    ]
    recording = read_recording((first + end.join(rows) + end).encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=6e-4)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1.1e-3)

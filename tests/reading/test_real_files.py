"""Real recordings and other people's simulated ones, where they lie beside the project; skipped elsewhere."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from vibecore.errors import ReadingError
from vibecore.reading import read_recording

SHARED = Path(__file__).resolve().parents[3] / "shared"
SAMPLES, PRACTICE = SHARED / "samples", SHARED / "practice"


@pytest.mark.skipif(not SAMPLES.is_dir(), reason="no samples beside the project")
def test_samples() -> None:
    moving = read_recording(SAMPLES / "moving-car-phone-104hz.csv")
    assert moving.sample_rate_hz == pytest.approx(104.26, abs=0.1)
    assert moving.gravity_included
    assert moving.lost_samples == 0
    with pytest.raises(ReadingError, match="turning rates"):
        read_recording(SAMPLES / "gyroscope-only.xls")
    with pytest.raises(ReadingError, match="no acceleration"):
        read_recording(SAMPLES / "moving-car-phone-104hz-car-bus.csv")


@pytest.mark.skipif(not PRACTICE.is_dir(), reason="no practice cars beside the project")
def test_practice_cars() -> None:
    """Each is read, at the rate that its own first and last stamp say once lost samples are counted in."""
    for car in json.loads((PRACTICE / "truth.json").read_text()):
        for item in car["recordings"]:
            recording = read_recording(PRACTICE / car["car"] / f"{item['name']}.csv")
            counted = (len(recording.t_s) - 1 + recording.lost_samples) / recording.duration_s
            assert recording.sample_rate_hz == pytest.approx(counted, rel=2e-3)
            assert recording.sample_rate_hz == pytest.approx(item["fs"], rel=0.01)
            assert np.sqrt(np.mean(np.var(recording.accel_m_s2, axis=0))) < 5.0

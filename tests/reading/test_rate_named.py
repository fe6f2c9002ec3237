"""A rate in the name of a file without stamps: taken with a warning, never where it may be something else."""

from __future__ import annotations

import pytest

from tests.reading.make import text
from tests.reading.test_rate_told import BARE, codes
from vibecore.errors import ReadingError
from vibecore.reading import read_recording


@pytest.mark.parametrize("name", ["idle_100Hz.csv", "acc-100hz-cold.txt", "100 Hz idle.csv", "a 0.1 kHz.csv"])
def test_a_rate_in_the_name_of_the_file(name: str) -> None:
    data = text(BARE, "x,y,z").encode()
    recording = read_recording(data, name=name)
    assert recording.sample_rate_hz == pytest.approx(100.0)
    assert codes(recording) == ["rate-told"]
    assert f"from its name '{name}'" in recording.warnings[0].message
    told = read_recording(b"# sample rate: 200 Hz\n" + data, name=name)  # a line says more than a name
    assert told.sample_rate_hz == pytest.approx(200.0)


@pytest.mark.parametrize(
    "name",
    [
        "idle_100Hz_or_50Hz.csv",
        "lowpass 60Hz.csv",
        "shake 25Hz.csv",
        "max 100Hz.csv",
        "100hzx.csv",
        "m100.csv",
    ],
)
def test_a_name_that_tells_no_rate(name: str) -> None:
    with pytest.raises(ReadingError, match="with time stamps"):
        read_recording(text(BARE, "x,y,z").encode(), name=name)

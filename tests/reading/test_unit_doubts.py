"""Units that only the size of the values speaks for or against: told, and refused where nothing fits."""

from __future__ import annotations

import numpy as np
import pytest

from tests.reading.make import G, Truth, cells, csv, shake, text
from tests.reading.test_units import FREE, TRUTH, check, codes
from vibecore.errors import ReadingError
from vibecore.reading import read_recording


@pytest.mark.parametrize(("unit", "told"), [(G / 1000, "mg"), (0.01, "cm/s2")])
def test_two_units_that_are_2_percent_apart_are_told(unit: float, told: str) -> None:
    """1000 mg and 980.665 cm/s2 to standard gravity: SI Brochure, 9th edition, and the gal."""
    recording = read_recording(text(cells(TRUTH, unit=unit)).encode())
    check(recording, TRUTH, unit * 1e-5)
    assert codes(recording) == ["unit-by-size"]
    assert f"{told} was taken" in recording.warnings[0].message
    named = ",".join(["time", *(f"{a} ({told})" for a in "xyz")])
    assert codes(read_recording(text(cells(TRUTH, unit=unit), named).encode())) == []


def test_a_named_unit_that_is_unlikely_is_doubted_in_words() -> None:
    """m/s2 under the header g: 3.7 m/s2 rms, where 2.5 is what a day's work may have (2002/44/EC)."""
    recording = read_recording(csv(FREE, "time,x (g),y (g),z (g)").encode())
    check(recording, Truth(FREE.t_s, FREE.accel * G, 100.0), 1e-4)
    assert codes(recording) == ["unit-doubtful"]
    assert "9.8 times less" in recording.warnings[0].message


@pytest.mark.parametrize(("unit", "named"), [(1.0, "g"), (G, "m/s2")])
def test_a_sensors_step_in_the_other_unit_raises_a_doubt(unit: float, named: str) -> None:
    """Steps of g/4096 (ICM-20948 data sheet DS-000189 rev 1.3, table 2), 0.15 m/s2 rms: strong in neither."""
    weak = shake(gravity=False, step=0.0)
    steps = np.round(0.4 * weak.accel * 4096 / G) / 4096 * G
    rows = cells(Truth(weak.t_s, steps, 100.0), unit=unit, digits=7)
    for header, doubted in ((named, True), ({"g": "m/s2", "m/s2": "g"}[named], False)):
        names = ",".join(["time", *(f"{a} ({header})" for a in "xyz")])
        recording = read_recording(text(rows, names).encode())
        assert ("unit-doubtful" in codes(recording)) == doubted


@pytest.mark.parametrize("unit", [0.01, G / 1000])
def test_what_shakes_too_much_for_any_unit_of_phones_is_refused(unit: float) -> None:
    """Without gravity 38 m/s2 rms is no idle, and no car; under 16 g it is no broken figure either."""
    with pytest.raises(ReadingError, match="no gravity to tell their unit"):
        read_recording(text(cells(FREE, unit=unit)).encode())

"""Units that are parts or counts in a line of their own, in a note, or other for each axis.

How loggers write them is common practice, no source; what they are worth is the SI's.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.reading.make import G, Truth, cells, codes, csv, shake, text
from vibecore.errors import ReadingError
from vibecore.reading import read_recording

TRUTH = shake(seconds=10.0)
FREE = shake(seconds=10.0, gravity=False)
COUNTS = {
    "LSB (16384/g)": G / 16384,
    "LSB(4096/g)": G / 4096,
    "counts (8192 per g)": G / 8192,
    "counts @ 2048/g": G / 2048,
    "digits 1024/g": G / 1024,
}
PARTS = {"gravities": G, "0.01 m/s²": 0.01, "x0.1 m/s2": 0.1, "0.001 g": G / 1000, "1/1000 g": G / 1000}


def printed(truth: Truth, unit: float, digits: int, header: str) -> bytes:
    return text(cells(truth, unit=unit, digits=digits), header).encode()


@pytest.mark.parametrize(
    "header", ["time,x ({0}),y ({0}),z ({0})", "time,x,y,z\ns,{0},{0},{0}", "# unit: {0}\ntime,x,y,z"]
)
@pytest.mark.parametrize("truth", [TRUTH, FREE], ids=["gravity", "free"])
@pytest.mark.parametrize("said", COUNTS)
def test_counts_with_their_number_to_1_g(said: str, truth: Truth, header: str) -> None:
    """So many counts to 1 g, by the arithmetic of the words; 1 g is 9.80665 m/s2 (SI Brochure)."""
    recording = read_recording(printed(truth, COUNTS[said], 0, header.format(said)))
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=0.51 * COUNTS[said])
    assert codes(recording) == []


@pytest.mark.parametrize("truth", [TRUTH, FREE], ids=["gravity", "free"])
@pytest.mark.parametrize("said", PARTS)
def test_parts_of_a_unit_in_a_line_of_units(said: str, truth: Truth) -> None:
    recording = read_recording(printed(truth, PARTS[said], 4, f"time,x,y,z\ns,{said},{said},{said}"))
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=0.51e-4 * PARTS[said])


def test_a_figure_in_a_note_with_a_sign_for_times_is_no_plain_unit() -> None:
    """Ten times too much without a word before; with gravity its size tells."""
    try:
        recording = read_recording(printed(FREE, 0.1, 4, "# unit: x0.1 m/s2\ntime,x,y,z"))
    except ReadingError:
        return
    assert codes(recording)


AXES = [
    "time,ax (m/s2),ay (g),az (mg)",
    "time,x [m/s²],y [g],z [mg]",
    "time,x,y,z\ns,m/s2,g,mg",
    "time,acc_x_m_s2,acc_y_g,acc_z_mg",
]


@pytest.mark.parametrize("truth", [TRUTH, FREE], ids=["gravity", "free"])
@pytest.mark.parametrize("header", AXES)
def test_a_unit_for_each_axis(header: str, truth: Truth) -> None:
    own = Truth(truth.t_s, truth.accel / [1.0, G, G / 1000], truth.rate_hz)
    recording = read_recording(csv(own, header).encode())
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=1e-3)
    assert recording.gravity_included == (truth is TRUTH)


def test_a_slip_in_the_unit_of_one_axis_is_told_by_gravity() -> None:
    """Gravity is there as it stands: one axis was named wrongly, nothing is to be changed."""
    recording = read_recording(csv(TRUTH, "time,x (m/s2),y (m/s2),z (g)").encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)

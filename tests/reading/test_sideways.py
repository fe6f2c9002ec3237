"""Tables that lie on their side, and samples in one list: the same numbers as upright, told."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from tests.reading.books import xlsx
from tests.reading.make import Truth, cells, shake, text
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import read_recording

TRUTH = shake(seconds=10.0)
ROWS = [[float(v) for v in row] for row in cells(TRUTH)]
COLUMNS = list(map(list, zip(*ROWS, strict=True)))
NAMES = ["time", "x", "y", "z"]


def check(recording: Recording, truth: Truth = TRUTH) -> None:
    np.testing.assert_allclose(recording.accel_m_s2, truth.accel, atol=1e-5)
    assert recording.sample_rate_hz == pytest.approx(truth.rate_hz, rel=1e-3)


@pytest.mark.parametrize("delimiter", [",", ";", "\t", " "])
@pytest.mark.parametrize("heads", [NAMES, ["t (ms)", "x (g)", "y (g)", "z (g)"], None], ids=str)
def test_a_text_on_its_side(delimiter: str, heads: list[str] | None) -> None:
    in_g = heads is not None and "g" in heads[1]
    upright = cells(TRUTH, t_unit=1e-3, unit=9.80665, digits=7) if in_g else cells(TRUTH)
    lying = list(zip(*upright, strict=True))
    if heads is not None and delimiter != " ":
        lying = [(name, *row) for name, row in zip(heads, lying, strict=True)]
    elif in_g:
        return
    recording = read_recording(text(lying, None, delimiter).encode())
    check(recording)
    assert [w.code for w in recording.warnings] == ["table-turned"]


def test_decimal_commas_and_a_line_before() -> None:
    lying = [
        [name, *(v.replace(".", ",") for v in row)]
        for name, row in zip(NAMES, zip(*cells(TRUTH), strict=True), strict=True)
    ]
    check(read_recording(text(lying, "# made up; values in m/s2", ";").encode()))
    check(read_recording(text([row[1:] for row in lying], None, " ").encode()))
    bare = text(lying[1:], "# sample rate: 100 Hz", ";").encode()
    assert [w.code for w in read_recording(bare).warnings] == ["table-turned", "rate-told"]


def test_a_sheet_on_its_side() -> None:
    lying = [[name, *row] for name, row in zip(NAMES, COLUMNS, strict=True)]
    recording = read_recording(xlsx({"S": [["made up"], *lying]}))
    check(recording)
    assert [w.code for w in recording.warnings] == ["table-turned"]


@pytest.mark.parametrize(
    "data", [COLUMNS, {"columns": NAMES[::-1], "data": COLUMNS[::-1]}], ids=["bare", "named"]
)
def test_json_on_its_side(data: Any) -> None:
    check(read_recording(json.dumps(data).encode()))


def test_a_few_rows_are_no_table_on_its_side() -> None:
    with pytest.raises(ReadingError, match="usable rows"):
        read_recording(text(cells(TRUTH)[:10]).encode())


@pytest.mark.parametrize("rate", [None, 100])
def test_all_samples_in_one_list(rate: float | None) -> None:
    numbers = [v for row in ROWS for v in (row if rate is None else row[1:])]
    check(read_recording(json.dumps(numbers if rate is None else {"fs": rate, "data": numbers}).encode()))


@pytest.mark.parametrize("gravity", [True, False])
def test_one_list_that_is_no_row_of_samples_is_refused(gravity: bool) -> None:
    """One axis after the other, stamps of other rows, or nothing that shows which number is what."""
    truth = shake(gravity=gravity)
    planar = np.array([5.66, 5.66, 5.66] if gravity else [0, 0, 0]) + truth.accel - truth.accel.mean(axis=0)
    compass = [20.0, -30.0, 12.0] + 0.02 * planar
    warm = np.column_stack([np.full(len(truth.t_s), 25.0), truth.accel])
    for numbers in (
        planar.T.ravel(),
        truth.t_s,
        shake(gravity=False).accel.ravel(),
        compass.ravel(),
        warm.ravel(),
    ):
        with pytest.raises(ReadingError, match="without a list of samples"):
            read_recording(json.dumps({"fs": 100, "data": numbers.tolist()}).encode())


@pytest.mark.parametrize(
    "notes", [[["Sample rate", "100 Hz"]], [["Device", "-"], ["fs (Hz)", 100], ["bits", 16], ["a", 1]]]
)
@pytest.mark.parametrize("first", [True, False])
def test_a_rate_on_another_sheet(notes: list[list[Any]], first: bool) -> None:
    data = {"Data": [NAMES[1:], *(row[1:] for row in ROWS)]}
    recording = read_recording(xlsx({"Info": notes, **data} if first else {**data, "Info": notes}))
    check(recording)
    assert [w.code for w in recording.warnings] == ["rate-told"]

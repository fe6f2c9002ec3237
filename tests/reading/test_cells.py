"""Numbers as people see them: with a unit in each cell, with marks between the thousands.

Units: SI Brochure, 9th ed., 2019 (standard gravity 9.80665 m/s2: resolution 2 of the 3rd CGPM, 1901; from
memory). Which marks part thousands where is common practice, no source.
"""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.reading.books import xlsx
from tests.reading.make import G, cells, shake, text
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import dressed, read_recording

TRUTH = shake(100.0, 10.0)
FREE = shake(100.0, 10.0, gravity=False)


def check(recording: Recording, accel: float = 1e-5, t_s: float = 1e-5) -> None:
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=accel)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=t_s)
    assert recording.warnings == ()


UNITS = {"m/s²": 1.0, "m/s^2": 1.0, "m/s2": 1.0, "g": G, "G": G, "mg": G / 1000}


@pytest.mark.parametrize("blank", [" ", "", "\u00a0"])
@pytest.mark.parametrize("unit", UNITS)
def test_a_unit_in_each_cell(unit: str, blank: str) -> None:
    rows = [[r[0], *(f"{v}{blank}{unit}" for v in r[1:])] for r in cells(TRUTH, unit=UNITS[unit])]
    check(read_recording(text(rows).encode()), UNITS[unit] * 1e-5)
    check(read_recording(text(rows, None, ";").encode()), UNITS[unit] * 1e-5)


def test_the_unit_in_the_cells_counts() -> None:
    """Without gravity nothing else tells it."""
    rows = [[f"{r[0]} s", *(f"{v} g" for v in r[1:])] for r in cells(FREE, unit=G)]
    recording = read_recording(text(rows).encode())
    np.testing.assert_allclose(recording.accel_m_s2, FREE.accel, atol=1e-4)
    assert recording.warnings == ()


def test_units_on_the_times_too_and_a_decimal_comma() -> None:
    rows = [[f"{r[0]}ms", *(f"{v} m/s²" for v in r[1:])] for r in cells(TRUTH, t_unit=1e-3, t_digits=3)]
    check(read_recording(text(rows).encode()))
    check(read_recording(text(rows, "Zeit,x,y,z").replace(",", ";").replace(".", ",").encode()))


def test_a_unit_that_changes_from_cell_to_cell_is_not_mixed_up() -> None:
    rows = [[r[0], *(f"{v} m/s2" for v in r[1:])] for r in cells(TRUTH)]
    rows[100][3] = "0.9 g"
    recording = read_recording(text(rows).encode())
    assert len(recording.t_s) == len(TRUTH.t_s) - 1
    assert [w.code for w in recording.warnings] == ["missing-values"]


def test_units_in_the_cells_of_other_containers() -> None:
    rows = [[float(r[0]), *(f"{v} m/s²" for v in r[1:])] for r in cells(TRUTH)]
    check(read_recording(xlsx({"S": [["time", "x", "y", "z"], *rows]})))
    check(read_recording(json.dumps([dict(zip("txyz", r, strict=True)) for r in rows]).encode()))


MARKS = {  # the form, the mark between thousands, the decimal mark
    "comma": ("{:,.2f}", ",", "."),
    "apostrophe": ("{:,.2f}", "'", "."),
    "blank": ("{:,.2f}", " ", ","),
    "point": ("{:,.2f}", ".", ","),
    "curly": ("{:,.2f}", "\u2019", "."),
    "whole": ("{:,.0f}", ",", "."),
}


@pytest.mark.parametrize("start_ms", [0.0, 900.0, 1_234_567.0])
@pytest.mark.parametrize("marks", MARKS.values(), ids=MARKS)
def test_marks_between_the_thousands(marks: tuple[str, str, str], start_ms: float) -> None:
    form, thousands, decimal = marks

    def printed(value: float, how: str) -> str:
        return "".join({",": thousands, ".": decimal}.get(c, c) for c in how.format(value))

    rows = [
        [f'"{printed(1000 * t + start_ms, form)}"', *(f'"{printed(v, "{:.5f}")}"' for v in a)]
        for t, a in zip(TRUTH.t_s, TRUTH.accel, strict=True)
    ]
    for delimiter in (",", ";"):
        recording = read_recording(
            text(rows, delimiter.join(["time (ms)", "x", "y", "z"]), delimiter).encode()
        )
        check(recording, 1e-5, 1.1e-3 if "0f" in form else 2e-5)


def test_thousands_of_milli_g() -> None:
    rows = [[r[0], *(f'"{float(v):,.2f}"' for v in r[1:])] for r in cells(TRUTH, unit=G / 1000, digits=2)]
    rows[7][3] = '"1,030.25"'
    recording = read_recording(text(rows, "time,x (mg),y (mg),z (mg)").encode())
    assert recording.accel_m_s2[7, 2] == pytest.approx(1030.25 * G / 1000)
    assert recording.warnings == ()


@settings(max_examples=60, deadline=None)
@given(values=st.lists(st.floats(-1e9, 1e9), min_size=1, max_size=20), unit=st.sampled_from(["", " g", "ms"]))
def test_numbers_come_back(values: list[float], unit: str) -> None:
    """A peer: Python's own format with commas, and float."""
    found = dressed.numbers(pa.array([f"{v:,.3f}{unit}" for v in values]), ".")
    assert found is not None
    np.testing.assert_array_equal(found[0], [float(f"{v:.3f}") for v in values])
    assert found[1] == unit.strip()


@pytest.mark.parametrize(
    "texts",
    [
        ["left", "right"],
        ["10:00:00"] * 3,
        ["20260314153012.345"] * 3,
        ["12 apples"] * 3,
        ["1,23.5"] * 3,
        [""],
    ],
)
def test_what_is_no_number_in_any_dress(texts: list[str]) -> None:
    assert dressed.numbers(pa.array(texts), ".") is None


# --- decimal marks that differ, and digits of other scripts ---


COMMAS: dict[str, Callable[[int, int], bool]] = {  # where, by row and column
    "time": lambda row, column: row >= 0 and column == 0,
    "values": lambda row, column: row >= 0 and column > 0,
    "one axis": lambda row, column: row >= 0 and column == 2,
    "some rows": lambda row, column: row % 20 == 7 and column >= 0,
    "from some row on": lambda row, column: row >= 800 and column >= 0,
    "by turns": lambda row, column: (row + column) % 2 == 0,
}


def with_commas(where: str, delimiter: str, digits: int) -> bytes:
    rows = [
        [c.replace(".", ",") if COMMAS[where](i, j) else c for j, c in enumerate(row)]
        for i, row in enumerate(cells(TRUTH, digits=digits))
    ]
    return text(rows, delimiter.join(["time", "x", "y", "z"]), delimiter).encode()


@pytest.mark.parametrize("delimiter", [";", "\t", "|"])
@pytest.mark.parametrize("where", COMMAS)
def test_two_decimal_marks_in_one_file(where: str, delimiter: str) -> None:
    recording = read_recording(with_commas(where, delimiter, 5))
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)
    assert [w.code for w in recording.warnings] == ["decimal-marks"]


@pytest.mark.parametrize("where", COMMAS)
def test_three_digits_after_each_mark_may_be_thousands(where: str) -> None:
    try:
        recording = read_recording(with_commas(where, ";", 3))
    except ReadingError:
        return  # where no cell proves that both are decimal marks
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=0.51e-3)


@pytest.mark.parametrize("zero", "\u0660\u06f0\u0966\uff10\u09e6\u0e50")
@pytest.mark.parametrize("mark", [".", "\u066b", "\uff0e"])
def test_digits_of_other_scripts(zero: str, mark: str) -> None:
    """Decimal digits by the Unicode standard, category Nd."""
    own = {ord("0") + k: chr(ord(zero) + k) for k in range(10)} | {ord("."): mark}
    delimiter = ";" if mark == "\u066b" else ","
    data = text(cells(TRUTH), delimiter.join(["time", "x", "y", "z"]), delimiter).translate(own)
    recording = read_recording(data.encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)


def test_signs_as_wide_as_digits() -> None:
    wide = {c: c + 0xFEE0 for c in map(ord, "0123456789.,-:")}
    rows = [[f"12:00:{float(row[0]):09.6f}", *row[1:]] for row in cells(TRUTH)]
    recording = read_recording(("time,x,y,z\n" + text(rows, None).translate(wide)).encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-5)


def test_exponents_of_double_precision() -> None:
    """0.98D+01 is 9.8: Fortran, ISO/IEC 1539-1, from memory."""
    rows = [[f"{float(c):.8E}".replace("E", "D") for c in row] for row in cells(TRUTH)]
    check(read_recording(text(rows).encode()), 2e-5)


@pytest.mark.parametrize("blank", ["\u00a0", "\u202f", "\u2009", " "])
def test_a_blank_between_thousands_and_a_decimal_comma(blank: str) -> None:
    """1 234,567 as French and Swedish spreadsheets write it (Unicode CLDR, from memory)."""
    rows = [
        [f"{float(c):,.3f}".replace(",", blank).replace(".", ",") for c in row]
        for row in cells(TRUTH, t_unit=1e-3, unit=1e-3)
    ]
    check(read_recording(text(rows, "t (ms);x (mm/s²);y (mm/s²);z (mm/s²)", ";").encode()))


@pytest.mark.parametrize("minus", ["\u2010", "\u2011", "\u2212", "\ufe63", "\uff0d"])
def test_minus_signs_of_other_makes(minus: str) -> None:
    """Hyphens and minus signs of the Unicode standard, categories Pd and Sm (from memory)."""
    check(read_recording(text(cells(TRUTH)).replace("-", minus).encode()))


@pytest.mark.parametrize("form", ["{}-", "({})", "- {}"])
def test_a_minus_behind_a_number_is_no_unit(form: str) -> None:
    """As accounting and typesetters write it: to read 4.9- as 4.9 would turn the phone over. Common practice,
    no source."""
    rows = [[form.format(c[1:]) if c.startswith("-") else c for c in row] for row in cells(TRUTH)]
    recording = read_recording(text(rows).encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)

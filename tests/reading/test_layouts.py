"""Files of every layout, made by chance, read back to what was written within the printed digits."""

from __future__ import annotations

import csv as std_csv
import io

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.reading.make import G, cells, csv, shake, text
from vibecore.model import Recording
from vibecore.reading import read_recording

TRUTH = shake(100.0, 4.0)
SMALL = settings(max_examples=120, deadline=None)

NAMES = {  # header words by language; {} is the axis
    "plain": ("time", "{}", "{}"),
    "sensor": ("timestamp", "acc_{}", "acc_{}"),
    "camel": ("Time", "acceleration{}", "acceleration{}"),
    "short": ("t", "a{}", "a{}"),
    "german": ("Zeit", "Beschleunigung {}", "Beschleunigung {}"),
    "french": ("temps", "accélération {}", "accélération {}"),
    "spanish": ("tiempo", "aceleración {}", "aceleración {}"),
    "italian": ("tempo", "accelerazione {}", "accelerazione {}"),
    "dutch": ("tijd", "versnelling {}", "versnelling {}"),
    "polish": ("czas", "przyspieszenie {}", "przyspieszenie {}"),
    "russian": ("время", "ускорение {}", "ускорение {}"),
    "chinese": ("时间", "加速度{}", "加速度{}"),
    "japanese": ("時間", "加速度 {}", "加速度 {}"),
    "korean": ("시간", "가속도 {}", "가속도 {}"),
    "turkish": ("zaman", "ivme {}", "ivme {}"),
}
TIME_UNITS = {"s": (1.0, 6), "ms": (1e-3, 3), "us": (1e-6, 0), "ns": (1e-9, 0)}
UNITS = {"m/s2": (1.0, 5), "m/s^2": (1.0, 5), "g": (G, 6), "mg": (G / 1000, 3)}


def same(recording: Recording, printed: float, t_printed: float = 1e-6) -> None:
    """The recording is TRUTH within what was printed."""
    assert len(recording.t_s) == len(TRUTH.t_s)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1.1 * t_printed, rtol=0)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=0.51 * printed, rtol=1e-9)
    assert recording.gravity_included
    assert recording.lost_samples == 0


@SMALL
@given(
    delimiter=st.sampled_from([",", ";", "\t", "|"]),
    comma=st.booleans(),
    language=st.sampled_from(sorted(NAMES)),
    t_unit=st.sampled_from(sorted(TIME_UNITS)),
    unit=st.sampled_from(sorted(UNITS)),
    unit_style=st.sampled_from([" ({})", " [{}]", "", "line", " in {}"]),
    order=st.permutations(range(4)),
    upper=st.booleans(),
    before=st.sampled_from(["", "\n\n", "# made up\n", "Recorded today\n\n", "// version: 3\n# rate: 100\n"]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"]),
    trailing=st.booleans(),
    quoted=st.booleans(),
)
def test_any_header_layout(
    delimiter: str, comma: bool, language: str, t_unit: str, unit: str, unit_style: str, order: list[int],
    upper: bool, before: str, end: str, encoding: str, trailing: bool, quoted: bool,
) -> None:  # fmt: skip
    (t_s, t_digits), (size, digits) = TIME_UNITS[t_unit], UNITS[unit]
    if comma and delimiter == ",":
        quoted = True
    time, axis, _ = NAMES[language]
    names = [time, *(axis.format(a.upper() if upper else a) for a in "xyz")]
    styled = unit_style if unit_style != "line" else ""
    names = [n + styled.format(u) for n, u in zip(names, [t_unit, unit, unit, unit], strict=True)]
    rows = cells(TRUTH, t_unit=t_s, t_digits=t_digits, unit=size, digits=digits)
    table = [names, *([[t_unit, unit, unit, unit]] if unit_style == "line" else []), *rows]
    table = [[row[i] for i in order] for row in table]
    if comma:
        table = [table[0], *([[c.replace(".", ",") for c in row] for row in table[1:]])]
    lines = [delimiter.join(f'"{c}"' if quoted else c for c in row) + delimiter * trailing for row in table]
    data = (before + "\n".join(lines) + "\n").replace("\n", end).encode(encoding)
    same(read_recording(data), size * 10.0**-digits, max(t_s * 10.0**-t_digits, 1e-9))


@SMALL
@given(
    delimiter=st.sampled_from([" ", "   ", "\t", ",", ", ", ";", " ; "]),
    t_unit=st.sampled_from(sorted(TIME_UNITS)),
    unit=st.sampled_from(sorted(UNITS)),
    counter=st.booleans(),
    size=st.booleans(),
    leading=st.sampled_from(["", "  "]),
)
def test_no_header(delimiter: str, t_unit: str, unit: str, counter: bool, size: bool, leading: str) -> None:
    (t_s, t_digits), (scale, digits) = TIME_UNITS[t_unit], UNITS[unit]
    rows = cells(TRUTH, t_unit=t_s, t_digits=t_digits, unit=scale, digits=digits)
    for i, row in enumerate(rows):
        if size:
            row.append(f"{np.linalg.norm([float(v) for v in row[1:]]):.5f}")
        if counter:
            row.insert(0, str(i))
    data = "".join(leading + delimiter.join(row) + "\n" for row in rows)
    same(read_recording(data.encode()), scale * 10.0**-digits, max(t_s * 10.0**-t_digits, 1e-9))


def test_same_as_pandas_reads() -> None:
    """A peer: pandas.read_csv on the same bytes, value by value."""
    data = csv(TRUTH, "seconds,x,y,z").encode()
    peer = pd.read_csv(io.BytesIO(data))
    ours = read_recording(data)
    np.testing.assert_array_equal(ours.accel_m_s2, peer[["x", "y", "z"]].to_numpy())
    np.testing.assert_allclose(ours.t_s, peer["seconds"] - peer["seconds"][0], atol=1e-12)


def test_quotes_as_in_rfc_4180() -> None:
    """RFC 4180, section 2: fields in quotes (5), commas within them (6), doubled quotes (7), CRLF ends
    (1)."""
    out = io.StringIO()
    writer = std_csv.writer(out, quoting=std_csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow(["time", 'x, the "first"', 'y, the "first"', 'z, the "first"', "note"])
    writer.writerows([*row, 'a, "b"'] for row in cells(TRUTH))
    same(read_recording(out.getvalue().encode()), 1e-5)


@pytest.mark.parametrize("line", ["0,1,2,3", "1,2,3,4,5,6,7,8", "", "time elapsed"])
def test_first_lines_that_are_no_data(line: str) -> None:
    same(read_recording(text(cells(TRUTH), "time,x,y,z\n" + line if len(line) > 7 else line).encode()), 1e-5)


def test_four_names_over_seven_columns() -> None:
    rows = [[*row, "1.5", "2.5", f"{i % 3}"] for i, row in enumerate(cells(TRUTH))]
    same(read_recording(text(rows).encode()), 1e-5)


def test_decimal_commas_between_commas() -> None:
    """Four names over seven columns, the other way: 12,0,15840,-0,17280,9,81000."""
    rows = [
        [row[0], *(c.replace(".", ",") for c in row[1:])] for row in cells(TRUTH, t_unit=1e-3, t_digits=0)
    ]
    recording = read_recording(text(rows).encode())
    same(recording, 1e-5, 1e-3)
    assert [w.code for w in recording.warnings] == ["decimal-commas"]


@pytest.mark.parametrize("name", ["idle.csv", "acc_gyro_idle.csv", "linear_idle.csv"])
def test_two_sets_of_axes_without_a_header_whatever_the_file_is_called(name: str) -> None:
    """Gravity lies in the first three columns; turning rates follow."""
    turning = np.random.default_rng(2).normal(0, 0.1, (len(TRUTH.t_s), 3))
    rows = [[*row, *(f"{v:.5f}" for v in rates)] for row, rates in zip(cells(TRUTH), turning, strict=True)]
    same(read_recording(text(rows, header=None).encode(), name=name), 1e-5)


def test_one_name_too_few() -> None:
    """Tables written with their row numbers but no name over them."""
    rows = [[str(i + 1), *row] for i, row in enumerate(cells(TRUTH))]
    same(read_recording(text(rows).encode()), 1e-5)


def test_latin_1_and_odd_minus() -> None:
    same(read_recording(csv(TRUTH, "Zeit (s),x (m/s²),y (m/s²),z (m/s²)").encode("latin-1")), 1e-5)
    same(read_recording(csv(TRUTH).replace("-", "\u2212").encode()), 1e-5)


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be", "utf-16", "utf-8-sig"])
def test_names_survive_any_encoding(encoding: str) -> None:
    recording = read_recording(csv(TRUTH, "время опыта,x,y,z").encode(encoding))
    same(recording, 1e-5)
    assert "time from column 'время опыта' in s" in recording.history


def test_nul_bytes() -> None:
    same(read_recording(csv(TRUTH).replace("\n", "\0\n").encode()), 1e-5)


def test_broken_last_line_is_left_out_and_told() -> None:
    data = csv(TRUTH)
    for cut in (15, 3):
        recording = read_recording(data[:-cut].encode())
        assert len(recording.t_s) == len(TRUTH.t_s) - 1
        assert [w.code for w in recording.warnings] == ["broken-rows"]
    assert len(read_recording(data[:-1].encode()).t_s) == len(TRUTH.t_s)  # only the line end is missing


def test_header_in_the_middle_and_empty_cells() -> None:
    lines = csv(TRUTH).split("\n")
    lines[100:100] = ["time,x,y,z", "1.5,,,", "pause,pause,pause,pause"]
    recording = read_recording("\n".join(lines).encode())
    same(recording, 1e-5)
    assert recording.rows == len(TRUTH.t_s) + 3
    assert any(w.code == "missing-values" and w.message.startswith("3 ") for w in recording.warnings)


def test_digest_is_sha256_of_the_bytes() -> None:
    """FIPS 180-4 by the standard library."""
    import hashlib

    data = csv(TRUTH).encode()
    assert read_recording(data).digest == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize(
    "header", [",,,", '"","","",""', "time,,,", ",x,y,z", "time,x,,z", "time,accelerometer,,", "s,,,"]
)
def test_columns_without_a_name(header: str) -> None:
    same(read_recording(text(cells(TRUTH), header).encode()), 1e-5)


@pytest.mark.parametrize("header", ["time,accelerometer,,,gyroscope,,", "time,gyroscope,,,accelerometer,,,"])
def test_a_name_over_three_columns(header: str) -> None:
    turning = np.random.default_rng(2).normal(0, 0.1, (len(TRUTH.t_s), 3))
    first = header.startswith("time,acc")
    rows = []
    for row, rates in zip(cells(TRUTH), turning, strict=True):
        others = [f"{v:.5f}" for v in rates]
        rows.append([row[0], *(row[1:] + others if first else [*others, *row[1:], ""])])
    same(read_recording(text(rows, header).encode()), 1e-5)


def test_rows_with_a_word_before_them_are_no_data() -> None:
    """Scales and offsets of the channels between the names and the data."""
    head = "Channel,Time,X,Y,Z\nUnit,s,m/s2,m/s2,m/s2\nScale,1,1,1,1\nOffset,0,0,0,0"
    recording = read_recording(text([["", *row] for row in cells(TRUTH)], head).encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)
    assert not recording.warnings


def test_figures_with_a_decimal_comma_are_no_names() -> None:
    """Settings under words that are times, as measuring programs write them, over names one too many."""
    head = "X0\t0,0\t0,0\t0,0\nDelta_X\t0,01\t0,01\t0,01\nX_Value\tacc x\tacc y\tacc z\tComment"
    recording = read_recording(text(cells(TRUTH), head, "\t").replace(".", ",").encode())
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)


def test_letters_of_a_spreadsheet_are_no_axes() -> None:
    """A spreadsheet's own letters over time, acceleration and a temperature name no axes."""
    rows = [[*row, f"{30 + 0.001 * i:.3f}"] for i, row in enumerate(cells(TRUTH))]
    recording = read_recording(text(rows, "A,B,C,D,E").encode())
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)


@pytest.mark.parametrize("lines", [149, 200, 900])
def test_a_long_list_of_settings_before_the_data(lines: int) -> None:
    before = "".join(f"# setting_{i} = {3 * i}\n" for i in range(lines))
    np.testing.assert_allclose(
        read_recording((before + csv(TRUTH)).encode()).accel_m_s2, TRUTH.accel, atol=1e-4
    )


def test_line_ends_of_two_makes() -> None:
    """A head with newlines over rows that end in returns alone."""
    data = "# wheel\n# idle\n" + csv(TRUTH).replace("\n", "\r")
    np.testing.assert_allclose(read_recording(data.encode()).accel_m_s2, TRUTH.accel, atol=1e-4)

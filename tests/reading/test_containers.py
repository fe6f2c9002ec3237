"""Workbooks, JSON, gzip and zip: the same samples out of every wrapping, and the right file or sheet of
several."""

from __future__ import annotations

import datetime as dt
import gzip
import io
import json
from typing import Any

import numpy as np
import openpyxl
import pytest

from tests.reading.books import ods, xls, xlsx
from tests.reading.make import cells, codes, csv, packed, shake, text
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import read_recording, workbook_child

TRUTH = shake(100.0, 6.0)
FREE = shake(100.0, 6.0, gravity=False)
NAMES = ["Time (s)", "Acceleration x (m/s^2)", "Acceleration y (m/s^2)", "Acceleration z (m/s^2)"]
ROWS: list[list[Any]] = [[float(c) for c in row] for row in cells(TRUTH)]
FREE_ROWS: list[list[Any]] = [[float(c) for c in row] for row in cells(FREE)]


def same(recording: Recording) -> None:
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1.1e-6)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=0.51e-5)
    assert recording.gravity_included


BOOKS = pytest.mark.parametrize("write", [xlsx, xls, ods])


@BOOKS
def test_workbook_with_data_and_metadata_sheets(write: Any) -> None:
    device = [["property", "value"], ["version", "1.2"], ["rate", 100], ["depth", 3]]
    events = [["event", "seconds", "clock"], ["START", 0, 1.6e9], ["PAUSE", 6.0, 1.6e9], ["END", 6.1, 1.6e9]]
    same(read_recording(write({"About": device, "Raw Data": [NAMES, *ROWS], "Events": events})))


@BOOKS
def test_workbook_with_all_text_in_one_column(write: Any) -> None:
    lines = [["time;ax in m/s2;ay in m/s2;az in m/s2"]]
    lines += [[";".join(row).replace(".", ",")] for row in cells(TRUTH)]
    same(read_recording(write({"Sheet1": lines})))


@BOOKS
def test_workbook_with_numbers_as_text_and_a_title(write: Any) -> None:
    rows = [[c.replace(".", ",") for c in row] for row in cells(TRUTH)]
    same(read_recording(write({"Sheet1": [["Ride home"], [], NAMES, *rows]})))


@BOOKS
def test_workbook_of_several_sensors(write: Any) -> None:
    sheets = {"Gyroscope": [["t", "x", "y", "z"], *FREE_ROWS], "Linear": [["t", "x", "y", "z"], *FREE_ROWS]}
    recording = read_recording(write({**sheets, "Accelerometer": [["t", "x", "y", "z"], *ROWS]}))
    same(recording)
    assert codes(recording)[0] == "table-chosen"


def test_workbook_dates() -> None:
    """Serial dates of a workbook: days since 1900 as float64, good to about a microsecond."""
    start = dt.datetime(2023, 1, 1, 10, 0, 0)
    rows = [[start + dt.timedelta(seconds=round(row[0], 3)), *row[1:]] for row in ROWS]
    recording = read_recording(xlsx({"S": [["date", "x", "y", "z"], *rows]}))
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=2e-3)


def test_formulas_are_not_run() -> None:
    """openpyxl stores no result beside a formula: there is none to read."""
    with pytest.raises(ReadingError):
        read_recording(xlsx({"S": [NAMES, *[[row[0], "=1+1", "=2", "=3"] for row in ROWS]]}))


def test_a_workbook_of_far_stray_cells_is_refused_before_it_is_laid_out() -> None:
    sheet = openpyxl.Workbook()
    sheet.active.append(NAMES)  # type: ignore[union-attr]
    sheet.active.cell(1_048_576, 16_384, 1.0)  # type: ignore[union-attr]
    out = io.BytesIO()
    sheet.save(out)
    with pytest.raises(ReadingError, match="too many cells"):
        read_recording(out.getvalue())


@pytest.mark.parametrize("at", [600, 5000, 20_000, 60_000])
def test_a_broken_old_workbook_is_a_sentence(at: int) -> None:
    data = bytearray(xls({"S": [NAMES, *ROWS]}))
    data[at : at + 64] = b"\xff" * 64
    try:
        read_recording(bytes(data))
    except ReadingError as error:
        assert len(str(error)) < 400  # noqa: PT017 - some spots do no harm: either answer will do


JSONS: dict[str, Any] = {
    "records": [dict(zip("txyz", row, strict=True)) for row in ROWS],
    "columns": {n: [row[i] for row in ROWS] for i, n in enumerate(("seconds", "x", "y", "z"))},
    "rows": [["t", "x", "y", "z"], *ROWS],
    "rows without names": ROWS,
    "split": {"columns": ["t", "x", "y", "z"], "index": [1, 2], "data": ROWS},
    "values": [{"time": row[0], "values": row[1:]} for row in ROWS],
    "numbered records": {str(i): dict(zip("txyz", row, strict=True)) for i, row in enumerate(ROWS)},
    "numbered columns": {
        n: {str(i): row[k] for i, row in enumerate(ROWS)} for k, n in enumerate(("t", "x", "y", "z"))
    },
    "nested": {"device": "made up", "data": {"accel": [dict(zip("txyz", row, strict=True)) for row in ROWS]}},
    "two sensors": {
        "gyroscope": [dict(zip("txyz", row, strict=True)) for row in FREE_ROWS],
        "accelerometer": [dict(zip("txyz", row, strict=True)) for row in ROWS],
    },
    "browser events": [
        {
            "timeStamp": row[0] * 1000,
            "acceleration": dict(zip("xyz", free[1:], strict=True)),
            "accelerationIncludingGravity": dict(zip("xyz", row[1:], strict=True)),
            "rotationRate": {"alpha": 1, "beta": 2, "gamma": 3},
        }
        for row, free in zip(ROWS, FREE_ROWS, strict=True)
    ],
    "names in brackets": [dict(zip(("[t]", "[x]", "[y]", "[z]"), row, strict=True)) for row in ROWS],
    "half a character": [
        {**dict(zip("txyz", row, strict=True)), "place": "\ud800", "\udfff": "\U0001f697"} for row in ROWS
    ],
    "mixed sensors": [
        {"sensor": s, "time": str(row[0]), "x": row[1], "y": row[2], "z": row[3]}
        for row in ROWS
        for s in ("Accelerometer", "Gyroscope")
    ],
}


@pytest.mark.parametrize("form", JSONS)
def test_json(form: str) -> None:
    """Forms by RFC 8259 objects and arrays; accelerationIncludingGravity as in the W3C motion event."""
    same(read_recording(json.dumps(JSONS[form]).encode()))


LOOSE = {
    "a comma too many": "[" + ",".join(json.dumps(r) for r in JSONS["records"]) + ",]",
    "a comma behind each line": "[\n" + "".join(json.dumps(r) + ",\n" for r in JSONS["records"]) + "]\n",
    "run together": "".join(json.dumps(r) for r in JSONS["records"]),
    "a remark before it": "// wheel, idle\n" + json.dumps(JSONS["records"]),
    "names without quotes": "[\n"
    + "".join("{{t: {}, x: {}, y: {}, z: {}}},\n".format(*r) for r in ROWS)
    + "]\n",
    "a line of settings over a table": '{"device": "p", "rate": 9}\n' + csv(TRUTH),
    "times as names": json.dumps(
        {str(round(1.77e12 + r[0] * 1e6)): dict(zip("xyz", r[1:], strict=True)) for r in ROWS}
    ),
    "times over vectors": json.dumps({f"{r[0]:.6f}": r[1:] for r in ROWS}),
    "decimal commas": json.dumps(
        [dict(zip("txyz", (f"{v:.6f}".replace(".", ",") for v in r), strict=True)) for r in ROWS]
    ),
}


@pytest.mark.parametrize("form", LOOSE)
def test_json_as_loggers_patch_it_together(form: str) -> None:
    """No JSON by RFC 8259, most of them, and common practice all the same; no source."""
    same(read_recording(LOOSE[form].encode()))


def test_json_lines_with_a_broken_last_one() -> None:
    lines = "\n".join(json.dumps(record) for record in JSONS["records"])
    same(read_recording((lines + '\n{"t": 6.1, "x": ').encode()))


def test_json_keeps_nineteen_digits() -> None:
    start = 1_700_000_000_300_994_303
    records = [{"t": start + 2_500_001 * i, "x": 0.1 * (i % 3), "y": 0.2, "z": 9.81} for i in range(1000)]
    recording = read_recording(json.dumps(records).encode())
    np.testing.assert_allclose(np.diff(recording.t_s), 0.002500001, atol=2e-15)


def test_broken_json_says_where() -> None:
    with pytest.raises(ReadingError, match="line 1, column"):
        read_recording(json.dumps(ROWS)[:-40].encode())


def test_gzip() -> None:
    same(read_recording(gzip.compress(csv(TRUTH).encode())))
    two = gzip.compress(csv(TRUTH)[:5000].encode()) + gzip.compress(csv(TRUTH)[5000:].encode())
    same(read_recording(two))  # RFC 1952, section 2.2: members follow one another


def test_zip_picks_the_accelerometer_and_says_so() -> None:
    files: dict[str, str | bytes] = {
        "meta/device.csv": "property,value\nversion,3\n",
        "Gravity.csv": csv(TRUTH),
        "Gyroscope.csv": csv(FREE),
        "Linear Acceleration.csv": csv(FREE),
        "Accelerometer.csv": csv(TRUTH),
        "__MACOSX/._Accelerometer.csv": "junk",
        "photo.jpg": b"\xff\xd8\xff",
    }
    recording = read_recording(packed(files))
    same(recording)
    assert "Accelerometer.csv" in recording.warnings[0].message
    del files["Accelerometer.csv"]
    assert not read_recording(packed(files)).gravity_included


def test_zip_prefers_the_calibrated_and_what_has_gravity() -> None:
    for other, own in (
        ("AccelerometerUncalibrated.csv", "Accelerometer.csv"),
        ("data 1.csv", "data 2.csv"),
        ("Gravity.csv", "Acceleration (no gyro).csv"),
    ):
        recording = read_recording(packed({other: csv(FREE), own: csv(TRUTH)}))
        same(recording)
        assert codes(recording) == ["file-chosen"]
        assert own in recording.warnings[0].message


def test_zip_of_a_workbook() -> None:
    same(read_recording(packed({"data.xlsx": xlsx({"S": [NAMES, *ROWS]})})))


def test_zip_of_two_recordings_is_not_chosen_from() -> None:
    with pytest.raises(ReadingError, match=r"holds 2 recordings \(neutral.csv, drive.csv\)"):
        read_recording(packed({"neutral.csv": csv(TRUTH), "drive.csv": csv(TRUTH)}))


def test_no_path_comes_out_of_a_zip(tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ReadingError):
        read_recording(packed({"../../Accelerometer.csv": csv(TRUTH)}))
    assert list(tmp_path.iterdir()) == []


def test_a_file_by_its_path(tmp_path: Any) -> None:
    path = tmp_path / "neutral idle.csv"
    path.write_text(text(cells(TRUTH)))
    for source in (path, str(path)):
        recording = read_recording(source)
        same(recording)
        assert recording.name == "neutral idle.csv"


@pytest.mark.parametrize("write", [xlsx, xls])
@pytest.mark.parametrize("name", ["Acceleration {}", "acc_{}", "{} acceleration"])
def test_a_sheet_for_each_axis_is_put_side_by_side(write: Any, name: str) -> None:
    sheets = {
        name.format(axis): [["time (s)", "m/s2"], *np.column_stack((TRUTH.t_s, values)).tolist()]
        for axis, values in zip("XYZ", TRUTH.accel.T, strict=True)
    }
    same(read_recording(write({"About": [["made", "by hand"]], **sheets})))


def test_memory_is_limited_as_far_as_the_system_lets_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """setrlimit may only lower the hard limit, and some systems refuse it (POSIX getrlimit; from memory)."""
    resource = pytest.importorskip("resource")
    asked: list[tuple[int, int]] = []

    def refused(_what: int, limits: tuple[int, int]) -> None:
        asked.append(limits)
        raise ValueError("not allowed to raise maximum limit")

    monkeypatch.setattr(resource, "setrlimit", refused)
    monkeypatch.setattr(resource, "getrlimit", lambda _what: (resource.RLIM_INFINITY, 500))
    workbook_child._limit_memory(1000)
    assert asked == [(500, 500)]


def test_what_is_wrong_with_the_largest_file_of_an_archive_is_told() -> None:
    rows = "\n".join(row.split(",", 1)[1] for row in csv(TRUTH).splitlines()[1:])
    data = packed({"about.json": json.dumps({"device": "made up"}), "data.csv": f"x,y,z\n{rows}\n"})
    with pytest.raises(ReadingError, match=r"data.csv has no column of times"):
        read_recording(data, name="idle.zip")


def test_figures_too_long_for_any_number_in_json() -> None:
    records = {("1" * 5000 if i == 3 else str(i)): list(map(float, a)) for i, a in enumerate(TRUTH.accel)}
    with pytest.raises(ReadingError, match="time"):
        read_recording(json.dumps(records).encode())

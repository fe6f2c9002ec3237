"""A job goes out as a zip and comes in again the same; a hostile zip gets a sentence.

Outside checks: the zip is written and read with zipfile, the CSV with csv and the JSON with json (standard
library), against the records it was made from.
"""

from __future__ import annotations

import contextlib
import csv
import io
import json
import random
import zipfile
from pathlib import Path

import pytest

from tests.app import made
from tests.kept import add_files
from vibecore import exchange, launch
from vibecore.case import CaseRecording, load_case
from vibecore.engine import Engine, Vehicle
from vibecore.errors import StoreError, VibecoreError
from vibecore.exchange import export_job, import_job
from vibecore.jobs import case_of, new_job
from vibecore.model import Condition, Symptoms
from vibecore.reading import limits
from vibecore.store import MAX_JOB_BYTES, NewFile, Store, keep


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "data")


@pytest.fixture
def job(store):
    notes = {"complaint": "shakes", "invented": "yes"}
    job = new_job(
        store, "Grey van", Vehicle(Engine(4), "automatic"), Symptoms(True, ("P0301",), ("cold",)), notes
    )
    files = [
        NewFile("results.json", b"[1]"),
        NewFile("case.toml", bytes(range(256))),
        NewFile("picture.png", b"\x89PNG", "It is a picture."),
    ]
    listed = [
        CaseRecording(Path("results.json"), Condition("seat", "neutral", "idle")),
        CaseRecording(
            Path("case.toml"), Condition(stage="after", tachometer_rpm=700.0, accessories=("fan",))
        ),
    ]
    return add_files(store, job, files, listed)


def test_out_and_in_is_the_same_job(store, job, tmp_path):
    data = export_job(store, job, made.diagnosis(), {"case.toml": "no numbers"})
    other = Store(tmp_path / "other")
    back = import_job(other, data)
    assert case_of(back) == case_of(job)
    assert back.notes == {"complaint": "shakes"}  # no longer a demo
    assert [(f.name, f.digest) for f in back.files] == [(f.name, f.digest) for f in job.files]
    assert back.files[2].aside is not None
    for file in job.files:
        assert other.read_file(back.head.id, file.name) == store.read_file(job.head.id, file.name)


def test_the_zip_unpacks_into_a_case_folder(store, job, tmp_path):
    zipfile.ZipFile(io.BytesIO(export_job(store, job, None, {}))).extractall(tmp_path / "unpacked")
    case = load_case(tmp_path / "unpacked" / "case.toml")
    assert [case.file_of(r).read_bytes() for r in case.recordings] == [b"[1]", bytes(range(256))]


def test_results_are_those_of_the_records(store, job):
    diagnosis = made.diagnosis()
    pack = zipfile.ZipFile(io.BytesIO(export_job(store, job, diagnosis, {"case.toml": "no numbers"})))
    answer = json.loads(pack.read("results/results.json"))
    assert [c["probability"] for c in answer["causes"]] == [0.71, 0.2, 0.09]
    assert answer["recordings"][-1] == {"file": "case.toml", "ok": False, "error": "no numbers"}
    rows = list(csv.DictReader(io.StringIO(pack.read("results/orders.csv").decode())))
    levels = diagnosis.analyses[0].orders.levels
    assert [float(r["order"]) for r in rows] == [lv.order for lv in levels]
    assert float(rows[3]["rms_m_s2"]) == levels[3].rms_m_s2
    assert rows[-1]["rms_m_s2"] == ""
    assert rows[-1]["why_not"] == "Above half."


def test_a_cell_cannot_become_a_formula():
    text = exchange._csv(("name",), [("=1+1",), (-0.5,)])
    assert list(csv.reader(io.StringIO(text))) == [["name"], ["'=1+1"], ["-0.5"]]


def zipped(entries):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as pack:
        for name, data in entries.items():
            pack.writestr(name, data)
    return out.getvalue()


DIGITS = b"1" * 5000 + b"}"  # more than Python reads as one number
CASE = "[vehicle]\ncylinders = 4\n[[recording]]\nfile = '{}'\n"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"not a zip", "no zip file"),
        (zipped({"a.csv": b"1"}), r"no case\.toml"),
        (zipped({"case.toml": b"\xff\xfe\x00"}), "UTF-8"),
        (
            zipped({"case.toml": CASE.format("../../outside.csv"), "../../outside.csv": b"1"}),
            "inside the case",
        ),
        (zipped({"case.toml": CASE.format("/etc/passwd")}), "inside the case"),
        (zipped({"case.toml": CASE.format("gone.csv")}), "not in the zip"),
        (zipped({"case.toml": CASE.format("a.csv"), "a.csv": b"1", "notes.json": b"[1]"}), "notes"),
        (zipped({"case.toml": CASE.format("a.csv"), "a.csv": b"1", "notes.json": b"{"}), "notes"),
        (
            zipped({"case.toml": CASE.format("a.csv"), "a.csv": b"1", "notes.json": b'{"a": ' + DIGITS}),
            r"notes\.json in the zip cannot be read",
        ),
    ],
)
def test_a_zip_that_is_no_job_gets_a_sentence(store, data, says):
    with pytest.raises(VibecoreError, match=says):
        import_job(store, data)
    assert store.jobs() == ()


def packed(method):
    """A sound job, its entries packed by this method; recordings long enough to be hit."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as pack:
        pack.writestr("case.toml", CASE.format("ä.csv"))
        pack.writestr("ä.csv", bytes(range(256)) * 8)
    return bytearray(out.getvalue())


@pytest.mark.parametrize(
    "method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA]
)
def test_a_damaged_zip_gets_the_usual_sentence_however_it_was_packed(store, method):
    data = packed(method)
    start = data.index(b"PK\x03\x04", 4) + 30 + 6  # packed bytes of the second entry, behind head and name
    data[start + 20 : start + 60] = b"\xff" * 40
    with pytest.raises(StoreError, match="no job that can be brought in: the zip is damaged"):
        import_job(store, bytes(data))


def in_the_directory(data, after, value):
    """The zip with one byte changed, so far behind the signature of the directory's first entry (its layout
    is of the ZIP file format specification, section 4.3.12)."""
    data[data.index(b"PK\x01\x02") + after] = value
    return bytes(data)


@pytest.mark.parametrize(
    "data",
    [
        bytes(packed(zipfile.ZIP_STORED)).replace(bytes("ä.csv", "utf-8"), b"\xc3\xff.csv"),  # a name
        in_the_directory(packed(zipfile.ZIP_STORED), 46, 0),  # an empty name
        in_the_directory(packed(zipfile.ZIP_STORED), 45, 255),  # a place far behind the end
        packed(zipfile.ZIP_STORED)[:-6] + b"\xff\xff\xff\x7f\0\0",  # a directory before the beginning
    ],
)
def test_a_zip_whose_directory_is_damaged_gets_the_usual_sentence(store, data):
    with pytest.raises(StoreError, match="no job that can be brought in: the zip is damaged"):
        import_job(store, bytes(data))


def test_nothing_is_written_outside_the_store(store, tmp_path):
    data = zipped({"case.toml": CASE.format("sub/a.csv"), "sub/a.csv": b"1", "aside/../../../evil.txt": b"2"})
    before = {p for p in tmp_path.rglob("*") if not p.is_relative_to(store.folder)}
    job = import_job(store, data)
    assert [f.name for f in job.files] == ["a.csv", "evil.txt"]
    assert {p for p in tmp_path.rglob("*") if not p.is_relative_to(store.folder)} == before


def test_a_bomb_is_refused_without_being_unpacked_beyond_the_limit_of_a_job(store, monkeypatch):
    monkeypatch.setattr(exchange, "MAX_JOB_BYTES", 1000)
    bomb = {"case.toml": CASE.format("a.csv"), "a.csv": b"0" * 2_000_000}
    with pytest.raises(VibecoreError, match="larger than any job"):
        import_job(store, zipped(bomb))


def test_every_job_that_can_be_kept_can_go_out_and_come_in(store, monkeypatch):
    """One limit decides; the files of this job fill it to the last byte, and the results come on top."""
    for module in (keep, exchange):
        monkeypatch.setattr(module, "MAX_JOB_BYTES", 2000)
    job = store.new("Van", CASE.format("a.csv"), files=[NewFile("a.csv", b"1" * 1000)])
    for data in (b"2" * 1001, b"2" * 1000):
        with contextlib.suppress(StoreError):
            job = store.save(job, add=[NewFile("b.csv", data, "no numbers")])
    assert [file.name for file in job.files] == ["a.csv", "b.csv"]
    back = import_job(store, export_job(store, job, made.diagnosis(), {}))
    assert [file.digest for file in back.files] == [file.digest for file in job.files]


def test_the_app_takes_in_a_zip_of_the_largest_job_and_the_longest_recording():
    """Random bytes do not shrink: the zip is longer than the files then, by far less than the rest."""
    rest = launch.MAX_UPLOAD_MB * 2**20 - MAX_JOB_BYTES
    assert 2**20 < rest < MAX_JOB_BYTES / 16
    assert limits.MAX_BYTES <= MAX_JOB_BYTES
    data = random.Random(1).randbytes(2**20)
    assert len(zipped({"a.csv": data})) - len(data) < rest / 1000


def test_a_job_that_was_unpacked_and_zipped_again_as_a_folder_comes_in(store, job, tmp_path):
    packed, again = io.BytesIO(export_job(store, job, None, {})), io.BytesIO()
    with zipfile.ZipFile(packed) as one, zipfile.ZipFile(again, "w") as other:
        for name in one.namelist():
            other.writestr(f"My job/{name}", one.read(name))
    back = import_job(Store(tmp_path / "other"), again.getvalue())
    assert case_of(back) == case_of(job)
    assert [f.digest for f in back.files] == [f.digest for f in job.files]

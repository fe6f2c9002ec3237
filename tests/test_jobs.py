"""A kept job and its case.

Outside check: the kept text is read back with tomllib (standard library), and files are compared as bytes.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from tests.kept import add_files
from vibecore.case import CaseRecording
from vibecore.engine import Engine, Vehicle
from vibecore.errors import CaseError, StoreError
from vibecore.jobs import case_from_any_text, case_of, drop_recording, new_job, save_case, seed, with_note
from vibecore.model import Condition, Symptoms
from vibecore.store import NewFile, Store


@pytest.fixture
def store(tmp_path):
    return Store(tmp_path / "data")


def folder_with(root: Path, name: str, files: dict[str, bytes]) -> Path:
    folder = root / name
    for file, data in files.items():
        (folder / file).parent.mkdir(parents=True, exist_ok=True)
        (folder / file).write_bytes(data)
    listed = "".join(f"[[recording]]\nfile = '{file}'\n" for file in files)
    (folder / "case.toml").write_text(f"title = '{name}'\n[vehicle]\ncylinders = 4\n{listed}")
    return folder / "case.toml"


def test_a_job_without_recordings_has_a_case_all_the_same(store):
    job = new_job(store, " Van ", Vehicle(Engine(3), "manual"), Symptoms(False, ("P0301",)), {})
    case = case_of(job)
    assert (case.title, case.vehicle.engine.cylinders, case.recordings) == ("Van", 3, ())
    assert tomllib.loads(job.case_text)["symptoms"]["codes"] == ["P0301"]
    assert new_job(store, "  ", Vehicle(Engine(3)), Symptoms(), {}).head.title == "A car without a name"


def test_recordings_come_and_go_with_their_files(store):
    job = new_job(store, "Van", Vehicle(Engine(4)), Symptoms(), {})
    item = CaseRecording(Path("a.csv"), Condition("seat", "drive", "idle", "after", 700.0, ("fan",)))
    job = add_files(store, job, [NewFile("a.csv", b"1"), NewFile("b.csv", b"2", "no numbers")], [item])
    assert case_of(job).recordings == (item,)
    job = drop_recording(store, job, "a.csv")
    assert case_of(job).recordings == ()
    assert [f.name for f in job.files] == ["b.csv"]


def test_a_new_title_is_kept_in_both_places(store):
    job = new_job(store, "Van", Vehicle(Engine(4)), Symptoms(), {})
    job = save_case(store, job, replace(case_of(job), title="Grey van"))
    assert job.head.title == case_of(job).title == "Grey van"
    job = save_case(store, job, replace(case_of(job), title="   "))
    assert job.head.title == "Grey van"


def test_a_copy_has_its_new_title_in_both_places_and_keeps_it_when_edited(store):
    job = new_job(store, "Van", Vehicle(Engine(3), "manual"), Symptoms(False, ("P0301",)), {})
    copy = store.copy(job, 'Van "two" (copy)')
    assert copy.head.title == case_of(copy).title == 'Van "two" (copy)'
    assert replace(case_of(copy), title="Van") == case_of(job)
    copy = save_case(store, copy, replace(case_of(copy), vehicle=Vehicle(Engine(4))))
    assert copy.head.title == 'Van "two" (copy)'
    assert store.open(job.head.id) == job


@pytest.mark.parametrize(
    "change",
    [
        {"vehicle": Vehicle(Engine(4), idle_spec_rpm=(900.0, 700.0))},
        {"vehicle": Vehicle(Engine(4), pulleys_mm={"crank": float("inf")})},
        {"recordings": tuple(CaseRecording(Path(f"{n}.csv"), Condition()) for n in range(101))},
    ],
)
def test_a_case_that_could_not_be_opened_again_is_not_kept(store, change):
    job = new_job(store, "Van", Vehicle(Engine(4)), Symptoms(), {})
    with pytest.raises(CaseError):
        save_case(store, job, replace(case_of(job), **change))
    assert store.open(job.head.id) == job


def test_a_case_folder_is_copied_whole_and_flat(store, tmp_path):
    folder_with(tmp_path, "car", {"x/idle.csv": b"1", "y/idle.csv": b"2"})
    seed(store, tmp_path)
    (head,) = store.jobs()
    names = [r.file.as_posix() for r in case_of(store.open(head.id)).recordings]
    assert [store.read_file(head.id, n) for n in names] == [b"1", b"2"]
    (tmp_path / "car/x/idle.csv").unlink()
    with pytest.raises(StoreError, match=r"idle\.csv cannot be opened"):
        seed(Store(tmp_path / "other"), tmp_path)


def test_demo_jobs_come_once_and_are_marked_invented(store, tmp_path):
    for name in ("b", "a"):
        folder_with(tmp_path / "demo", name, {"idle.csv": b"1"})
    seed(store, tmp_path / "demo")
    seed(store, tmp_path / "demo")
    heads = store.jobs()
    assert [h.title for h in heads] == ["a", "b"]  # the first of the folder opens first
    assert store.open(heads[0].id).notes == {"invented": "yes"}
    for head in heads:
        store.set_state(head.id, "bin")
    seed(store, tmp_path / "demo")
    assert store.jobs() == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [("mileage_km = 1" + "0" * 5000, "thousands of digits"), ("x = " + "[" * 5000, "not a valid|too deeply")],
)
def test_a_kept_case_that_no_parser_takes_is_told(text, said):
    """Python reads no whole number of more than 4300 digits (its documentation, int: length limitation)."""
    with pytest.raises(CaseError, match=said):
        case_from_any_text(text)


def test_a_note_takes_the_place_of_the_one_before_and_none_is_left_empty():
    notes = {"customer": "A. Driver", "tried": "a.csv"}
    assert with_note(notes, "tried", "b.csv") == {"customer": "A. Driver", "tried": "b.csv"}
    assert with_note(notes, "tried", "") == {"customer": "A. Driver"}
    assert notes["tried"] == "a.csv"

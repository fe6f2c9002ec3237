"""The case file against its written form (DEVELOPERS.md) and the TOML 1.0 standard."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vibecore.case import Case, CaseRecording, case_from_text, dump_case, load_case
from vibecore.engine import Engine, Vehicle
from vibecore.errors import CaseError
from vibecore.model import CheckOutcome, Condition, Symptoms

FULL = """
title = "Shakes at the lights"
[vehicle]
cylinders = 4
strokes = 4
arrangement = "inline"
transmission = "automatic"
idle_spec_rpm = [650, 750]
[vehicle.pulleys_mm]
crank = 160
alternator = 58
[symptoms]
check_engine_light = false
codes = ["P0301"]
shakes_when = ["in gear", "neutral", "air conditioning on", "cold", "warm", "moving"]
[[recording]]
file = "neutral-idle.csv"
place = "steering wheel"
gear = "neutral"
engine_speed_rpm = 750
speed_hold = "idle"
stage = "before"
accessories = ["air conditioning"]
[[check]]
id = "mount-look"
outcome = "cracked"
"""
SMALL = '[vehicle]\ncylinders = 4\n[[recording]]\nfile = "a.csv"\n'
PATH = Path("job") / "case.toml"


def test_every_key_of_the_contract_is_read() -> None:
    case = case_from_text(FULL, PATH)
    assert case.title == "Shakes at the lights"
    assert case.vehicle == Vehicle(
        Engine(4, 4, "inline"), "automatic", (650.0, 750.0), {"crank": 160.0, "alternator": 58.0}
    )
    assert case.symptoms.check_engine_light is False
    assert case.symptoms.codes == ("P0301",)
    assert case.symptoms.shakes_when[0] == "in gear"
    assert case.recordings == (
        CaseRecording(
            Path("neutral-idle.csv"),
            Condition("steering wheel", "neutral", "idle", "before", 750.0, ("air conditioning",)),
        ),
    )
    assert case.checks == (CheckOutcome("mount-look", "cracked"),)


def test_cylinders_and_one_file_are_enough() -> None:
    case = case_from_text(SMALL, PATH)
    assert case.vehicle == Vehicle(Engine(4, 4))
    assert case.symptoms == Symptoms(None)
    assert case.recordings == (CaseRecording(Path("a.csv"), Condition()),)
    assert case.title == "job"  # the folder's name stands in
    assert case.file_of(case.recordings[0]) == Path("job/a.csv")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (SMALL.replace("cylinders", "cylinder"), ['"cylinder"', "[vehicle]", '"cylinders"']),
        (SMALL + 'gaer = "drive"', ['"gaer"', "number 1", '"gear"']),
        (SMALL.replace("[vehicle]", "[vehicel]"), ['"vehicel"', '"vehicle"']),
        ("cylinders = 4\n" + SMALL, ['"cylinders"', "top of the file", "in [vehicle]"]),
        (SMALL + '[symptoms]\ncode = ["P0301"]', ['"code"', '"codes"']),
        (SMALL + '[[check]]\nidd = "x"\noutcome = "y"', ['"idd"', '"id"']),
    ],
)
def test_an_unknown_key_is_named_with_the_nearest_known_one(text: str, words: list[str]) -> None:
    with pytest.raises(CaseError) as error:
        case_from_text(text, PATH)
    assert "unknown key" in str(error.value)
    for word in words:
        assert word in str(error.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no [vehicle]"),
        ("[vehicle]\ncylinders = 4", "no [[recording]]"),
        ('[vehicle]\ncylinders = 4\n[[recording]]\nplace = "seat"', '"file" is missing'),
        ('[vehicle]\n[[recording]]\nfile = "a.csv"', '"cylinders" is missing'),
        (SMALL.replace("[[recording]]", "[recording]"), "two square brackets"),
        (SMALL.replace("= 4", '= "4"'), "whole number without quotes"),
        (SMALL.replace("= 4", "= true"), "whole number"),
        (SMALL.replace("= 4", "= 0"), "cylinders = 0"),
        (SMALL.replace("= 4", "= 4\nstrokes = 3"), "strokes = 3"),
        (SMALL.replace("= 4", "= 4\nidle_spec_rpm = [750, 650]"), "lower"),
        (SMALL.replace("= 4", "= 4\nidle_spec_rpm = [0, 750]"), "above 0"),
        (SMALL.replace("= 4", "= 4\nidle_spec_rpm = [750]"), "two speeds"),
        (SMALL.replace("= 4", "= 4\nmileage_km = 5_000_001"), "should be less than or equal to 5000000"),
        (SMALL.replace("= 4", "= 4\nbelt_length_mm = 10_001"), "should be less than or equal to 10000"),
        (SMALL.replace("= 4", "= 4\npulleys_mm = {crank = -1}"), "crank = -1"),
        (SMALL + 'gear = "driv"', 'the nearest is "drive"'),
        (SMALL + "engine_speed_rpm = nan", "engine_speed_rpm"),
        (SMALL + "engine_speed_rpm = inf", "engine_speed_rpm"),
        (SMALL + "engine_speed_rpm = 1e9", "engine_speed_rpm"),
        ("title = 'x", "not a valid TOML file"),
        (SMALL.replace("= 4", "= 4\nmileage_km = 1" + "0" * 5000), "a number has thousands of digits"),
        (SMALL.replace("= 4", "= 0x1" + "0" * 5000), "cylinders ="),
        (SMALL.replace("= 4", "= 4\nstrokes = 0x1" + "0" * 5000), "strokes ="),
        (SMALL.replace("= 4", "= 4\nmileage_km = 0x1" + "0" * 5000), "mileage_km ="),
        (SMALL.replace("= 4", "= 4\nidle_spec_rpm = [1, 0x1" + "0" * 5000 + "]"), "idle_spec_rpm"),
        (SMALL.replace("= 4", "= 4\nidle_spec_rpm = [0x1" + "0" * 5000 + "]"), "idle_spec_rpm"),
        (
            SMALL + '[[recording]]\nfile = "a.csv"\n' * 100,
            "there are 101 [[recording]]; a case holds at most 100",
        ),
        ("a = " + "[" * 5000, "case.toml"),
    ],
)
def test_what_is_wrong_is_said(text: str, words: str) -> None:
    with pytest.raises(CaseError, match=r"case\.toml") as error:
        case_from_text(text, PATH)
    assert words in str(error.value)
    assert "\n" not in str(error.value)
    assert len(str(error.value)) < 300


@pytest.mark.parametrize(
    "file",
    [
        "../a.csv",
        "sub/../../a.csv",
        "/etc/passwd",
        "C:\\\\a.csv",
        "\\\\\\\\host\\\\a.csv",
        "..\\\\a.csv",
        "a\\u0000b",
    ],
)
def test_a_recording_outside_the_folder_is_refused(file: str) -> None:
    with pytest.raises(CaseError, match="not inside"):
        case_from_text(SMALL.replace("a.csv", file), PATH)


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    folder.mkdir()
    (tmp_path / "secret.csv").write_text("1,2,3")
    (folder / "case.toml").write_text(SMALL)
    try:
        (folder / "a.csv").symlink_to(tmp_path / "secret.csv")
    except OSError:
        pytest.skip("this system does not let the test make links")
    with pytest.raises(CaseError, match="not inside"):
        load_case(folder / "case.toml")


def test_files_that_are_no_case_files(tmp_path: Path) -> None:
    case_file = tmp_path / "case.toml"
    with pytest.raises(CaseError, match="no case file"):
        load_case(case_file)
    with pytest.raises(CaseError, match="folder"):
        load_case(tmp_path)
    with pytest.raises(CaseError, match="cannot be opened"):
        load_case("a\0b")
    case_file.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CaseError, match="UTF-8"):
        load_case(case_file)
    case_file.write_bytes(b"#" * 1_100_000)
    with pytest.raises(CaseError, match="larger than 1 MB"):
        load_case(case_file)
    for size in (10, 1_100_000):
        case_file.write_bytes(
            b"PK\x03\x04\x14\x00" + b"\xe9" * size
        )  # APPNOTE.TXT 4.3.7: a local file header
        with pytest.raises(CaseError, match=r"is a zip\. Unpack it"):
            load_case(case_file)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.toml")
        with pytest.raises(CaseError, match="not an ordinary file"):
            load_case(tmp_path / "pipe.toml")


def test_windows_editors_are_read(tmp_path: Path) -> None:
    case_file = tmp_path / "case.toml"
    case_file.write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    assert load_case(case_file).vehicle.engine.cylinders == 4


words = st.text(st.characters(codec="utf-8"), min_size=1, max_size=20)
said = st.lists(
    words.map(str.strip).filter(bool), max_size=3, unique_by=str.casefold
)  # nothing twice, nothing blank: what is left out on reading
lengths = st.floats(1e-3, 1e4)
conditions = st.builds(
    Condition,
    place=st.sampled_from(["steering wheel", "seat", "floor", "engine", "body", None]),
    gear=st.sampled_from(["neutral", "park", "drive", "reverse", None]),
    speed_hold=st.sampled_from(["idle", "raised", "sweep", "engine off", None]),
    stage=st.sampled_from(["before", "after"]),
    tachometer_rpm=st.none() | st.floats(1, 9000),
    accessories=said.map(tuple),
    taped_anew=st.booleans(),
)
vehicles = st.builds(
    Vehicle,
    engine=st.builds(
        Engine, st.integers(1, 12), st.sampled_from([2, 4]), st.sampled_from(["inline", "vee", "flat", None])
    ),
    transmission=st.sampled_from(["automatic", "manual", None]),
    idle_spec_rpm=st.none() | st.tuples(st.floats(300, 700), st.floats(700, 1500)),
    pulleys_mm=st.dictionaries(words, lengths, max_size=3),
    belt_length_mm=st.none() | lengths,
    mileage_km=st.none() | st.floats(0, 1e6),
)
cases = st.builds(
    Case,
    title=words,
    path=st.just(PATH),
    vehicle=vehicles,
    symptoms=st.builds(
        Symptoms,
        st.sampled_from([True, False, None]),
        said.map(tuple),
        said.map(tuple),
    ),
    recordings=st.lists(
        st.builds(
            CaseRecording, st.sampled_from([Path("a.csv"), Path("sub/b.csv"), Path("ü c.csv")]), conditions
        ),
        min_size=1,
        max_size=4,
    ).map(tuple),
    checks=st.lists(st.builds(CheckOutcome, words, words), max_size=3, unique_by=lambda check: check.id).map(
        tuple
    ),
)


@settings(deadline=None)
@given(cases)
def test_write_and_read_gives_the_same_case(case: Case) -> None:
    text = dump_case(case)
    tomllib.loads(text)  # the standard library's reader of TOML 1.0 is the outside check
    assert case_from_text(text, PATH) == case


def test_what_is_said_twice_counts_once_and_the_last_outcome_holds() -> None:
    text = (
        SMALL
        + """
[symptoms]
codes = ["P0301", "p0301", "", " "]
shakes_when = ["in gear", "In gear", "neutral"]
[[recording]]
file = "b.csv"
accessories = ["air conditioning", " Air conditioning", "  "]
[[check]]
id = "mount-look"
outcome = "cracked"
[[check]]
id = "mount-look"
outcome = "sound"
"""
    )
    case = case_from_text(text, PATH)
    assert [code.upper() for code in case.symptoms.codes] == ["P0301"]
    assert [when.lower() for when in case.symptoms.shakes_when] == ["in gear", "neutral"]
    assert [unit.lower() for unit in case.recordings[-1].condition.accessories] == ["air conditioning"]
    assert case.checks == (CheckOutcome("mount-look", "sound"),)


def test_a_path_as_written_on_windows_is_found_elsewhere(tmp_path: Path) -> None:
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "a.csv").write_text("x")
    text = "[vehicle]\ncylinders = 4\n[[recording]]\nfile = 'sub\\a.csv'\n"
    case = case_from_text(text, tmp_path / "case.toml")
    assert case.file_of(case.recordings[0]).exists()

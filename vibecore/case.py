"""The case file: one car, its symptoms, its recordings and the checks done so far, as TOML.

The file is written by people, so it is checked strictly and every complaint says what to change: an unknown
key names the nearest known one, and a recording must lie inside the case's own folder.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath

from vibecore.case_text import case_text
from vibecore.casefile import CaseTable, RecordingTable, checked
from vibecore.constants import ZIP_SIGN
from vibecore.drives import may_be_drive
from vibecore.engine import Engine, Vehicle
from vibecore.errors import CaseError
from vibecore.model import IN_GEAR, CheckOutcome, Condition, Symptoms
from vibecore.toml_text import parsed

MAX_CASE_BYTES = 1_000_000  # a case is a page of text; anything larger is some other file


@dataclass(frozen=True)
class CaseRecording:
    """One recording of the job. `file` is relative to the case's folder, as written in the case file."""

    file: Path
    condition: Condition

    @property
    def name(self) -> str:
        """The file as the case file and the job's notes call it, on every system."""
        return self.file.as_posix()


@dataclass(frozen=True)
class Case:
    """A job as the case file tells it. `path` is the case file itself."""

    title: str
    path: Path
    vehicle: Vehicle
    symptoms: Symptoms
    recordings: tuple[CaseRecording, ...]
    checks: tuple[CheckOutcome, ...] = ()

    @property
    def folder(self) -> Path:
        return self.path.parent

    def file_of(self, recording: CaseRecording) -> Path:
        """Where that recording's file lies."""
        return self.folder / recording.file


# ---------------------------------------------------------------- reading


def load_case(path: str | Path) -> Case:
    """Read and check a case file. The recordings themselves are not opened.

    Raises CaseError, in words a person can act on, if the file cannot be read, is not TOML, has an unknown
    key or an impossible value, or names a recording outside its own folder.
    """
    path = Path(path)
    return case_from_text(_text(path), path)


def case_from_text(text: str, path: Path) -> Case:
    """The case that `text` describes, as if it stood in the file `path`. Raises CaseError as load_case."""
    raw = parsed(text, path.name, CaseError)
    return _case(checked(raw, path.name), path)


def _text(path: Path) -> str:
    try:
        if path.is_dir():
            raise CaseError(f"{path} is a folder, not a case file. Name the case.toml inside it.")
        if path.exists() and not path.is_file():
            raise CaseError(f"{path} is not an ordinary file. Name a case.toml.")
        with path.open("rb") as file:
            data = file.read(MAX_CASE_BYTES + 1)
    except FileNotFoundError:
        raise CaseError(f"There is no case file {path}. Check the name and the folder.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name is not valid"
        raise CaseError(f"The case file {path} cannot be opened: {reason}.") from None
    if data.startswith(ZIP_SIGN):
        raise CaseError(
            f"{path.name} is a zip. Unpack it and name the case.toml inside, or bring the zip into the app."
        )
    if len(data) > MAX_CASE_BYTES:
        raise CaseError(f"{path.name} is larger than 1 MB, so it is no case file. Name a case.toml.")
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise CaseError(
            f"{path.name} is not UTF-8 text (byte {error.start}). Save the case file as UTF-8."
        ) from None


def _case(table: CaseTable, path: Path) -> Case:
    v = table.vehicle
    if v.idle_spec_rpm and not 0 < v.idle_spec_rpm[0] <= v.idle_spec_rpm[1]:
        raise CaseError(
            f"{path.name}: idle_spec_rpm is {v.idle_spec_rpm}; give two speeds above 0, the lower first."
        )
    vehicle = Vehicle(
        engine=Engine(cylinders=v.cylinders, strokes=v.strokes, arrangement=v.arrangement),
        transmission=v.transmission,
        idle_spec_rpm=(v.idle_spec_rpm[0], v.idle_spec_rpm[1]) if v.idle_spec_rpm else None,
        pulleys_mm=dict(v.pulleys_mm),
        belt_length_mm=v.belt_length_mm,
        mileage_km=v.mileage_km,
    )
    s = table.symptoms
    symptoms = Symptoms(s.check_engine_light, _each_once(s.codes), _each_once(s.shakes_when))
    return Case(
        title=table.title or path.resolve().parent.name,
        path=path,
        vehicle=vehicle,
        symptoms=symptoms,
        recordings=tuple(_recording(row, path, symptoms) for row in table.recording),
        # Of a check that was made twice the last outcome holds: two would count as two findings.
        checks=tuple({row.id: CheckOutcome(row.id, row.outcome) for row in table.check}.values()),
    )


def _each_once(words: Iterable[str]) -> tuple[str, ...]:
    """Said twice it is no more news than once; a blank says nothing."""
    stripped = (word.strip() for word in words)
    return tuple({word.casefold(): word for word in stripped if word}.values())


def _recording(row: RecordingTable, path: Path, symptoms: Symptoms) -> CaseRecording:
    tachometer_rpm = row.engine_speed_rpm or None  # 0 is what a tachometer shows with the engine off
    condition = Condition(
        place=row.place,
        gear=row.gear,
        speed_hold=row.speed_hold,
        stage=row.stage,
        tachometer_rpm=tachometer_rpm,
        accessories=_each_once(row.accessories),
        taped_anew=row.taped_anew,
        driven=row.gear in IN_GEAR and may_be_drive(row.file, tachometer_rpm, symptoms),
    )
    return CaseRecording(file=_inside(row.file, path), condition=condition)


def _inside(file: str, path: Path) -> Path:
    """`file` as a path relative to the case's folder; CaseError if it leads out of it."""
    outside = CaseError(
        f'{path.name}: the recording "{file}" is not inside the case\'s own folder. '
        "Copy it there and give its name only."
    )
    folder = path.resolve().parent
    windows, posix = PureWindowsPath(file), PurePosixPath(file)
    if "\0" in file or windows.drive or windows.root or posix.is_absolute():
        raise outside
    if ".." in windows.parts or ".." in posix.parts:
        raise outside
    if "\\" in file and not (folder / file).exists():  # as it is written on Windows
        file = windows.as_posix()
    try:
        if not (folder / file).resolve().is_relative_to(folder):  # a symbolic link may lead out
            raise outside
    except (OSError, RuntimeError):  # a ring of links, a name longer than the disk allows
        raise outside from None
    return Path(file)


# ---------------------------------------------------------------- writing


def dump_case(case: Case) -> str:
    """The case as the text of a case file; `load_case` of that text gives the same case back."""
    recordings = [(r.name, r.condition) for r in case.recordings]
    return case_text(case.title, case.vehicle, case.symptoms, recordings, case.checks)

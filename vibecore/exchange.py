"""A whole job as one zip and back: case.toml, the original files, the results as JSON and CSV.

Unpacked into a folder, the zip is a case folder that the command line reads. Coming in, no name from the zip
is ever used as a path: only the case file and the files it lists are taken, as bytes, within limits.
"""

from __future__ import annotations

import contextlib
import csv
import io
import json
import lzma
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from vibecore.case import CaseRecording, dump_case
from vibecore.contract import diagnosis_object, error_object, recording_item
from vibecore.errors import StoreError
from vibecore.jobs import INVENTED, case_from_any_text, case_of, short_title
from vibecore.model import Diagnosis
from vibecore.safe_names import clean_name, free_name
from vibecore.store import MAX_JOB_BYTES, Job, NewFile, Store

CASE_ENTRY, NOTES_ENTRY = "case.toml", "notes.json"
RECORDINGS, ASIDE, RESULTS = Path("recordings"), "aside/", "results/"
MAX_ENTRIES = 1000
MAX_TEXT_BYTES = 1024 * 1024  # of the case and the notes: both are pages of text

# What zipfile and the unpackers below it raise of damaged bytes. ValueError: also names that are not UTF-8.
_DAMAGE = (
    *(zipfile.BadZipFile, zlib.error, lzma.LZMAError),
    *(OSError, EOFError, ValueError, LookupError, RuntimeError),
)


def export_job(store: Store, job: Job, diagnosis: Diagnosis | None, unread: Mapping[str, str]) -> bytes:
    """The job as a zip. Raises StoreError if one of its files cannot be read back from the disk."""
    case = case_of(job)
    placed = tuple(replace(r, file=RECORDINGS / r.file) for r in case.recordings)
    notes = {key: value for key, value in job.notes.items() if key != INVENTED}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as pack:
        pack.writestr(CASE_ENTRY, dump_case(replace(case, recordings=placed)))
        pack.writestr(NOTES_ENTRY, json.dumps(notes, ensure_ascii=False, indent=1))
        for file in job.files:
            entry = (ASIDE if file.aside is not None else RECORDINGS.as_posix() + "/") + file.name
            pack.writestr(entry, store.read_file(job.head.id, file.name))
        if diagnosis is not None:
            pack.writestr(RESULTS + "results.json", _json(job, diagnosis, unread))
            pack.writestr(RESULTS + "orders.csv", _orders_csv(diagnosis))
            pack.writestr(RESULTS + "causes.csv", _causes_csv(diagnosis))
    return out.getvalue()


def import_job(store: Store, data: bytes) -> Job:
    """Keep the job in this zip as a new one. Raises StoreError or CaseError, in words."""
    if not zipfile.is_zipfile(io.BytesIO(data)):
        raise StoreError(
            "This is no zip file, so no job can be brought in from it. Take the file that 'Save the whole "
            "job' made."
        )
    with _damage_told():
        pack = zipfile.ZipFile(io.BytesIO(data))
        entries = _from_the_top({info.filename: info for info in pack.infolist() if not info.is_dir()})
    with pack:
        return _import(store, pack, entries)


# ---------------------------------------------------------------- coming in


@contextlib.contextmanager
def _damage_told() -> Iterator[None]:
    """For reading in the zip and nothing else."""
    try:
        yield
    except _DAMAGE as error:
        raise StoreError(f"This is no job that can be brought in: the zip is damaged ({error}).") from None


def _from_the_top(entries: dict[str, zipfile.ZipInfo]) -> dict[str, zipfile.ZipInfo]:
    """The entries by their names inside the one folder that holds them all, if there is such a one: whoever
    zips a folder again gets it so."""
    top = next(iter(entries), "").partition("/")[0] + "/"
    if CASE_ENTRY in entries or not all(name.startswith(top) for name in entries):
        return entries
    return {name.removeprefix(top): info for name, info in entries.items()}


def _import(store: Store, pack: zipfile.ZipFile, entries: Mapping[str, zipfile.ZipInfo]) -> Job:
    if len(entries) > MAX_ENTRIES:
        raise StoreError(f"This zip holds over {MAX_ENTRIES} files: it was not brought in.")
    if CASE_ENTRY not in entries:
        raise StoreError(
            f"This zip has no {CASE_ENTRY}, so it is no job. Put recordings in on the record page."
        )
    case = case_from_any_text(_text(pack, entries[CASE_ENTRY]))
    files: list[NewFile] = []
    listed: list[CaseRecording] = []
    for item in case.recordings:
        wanted = entries.get(item.name)
        if wanted is None:
            raise StoreError(f"The job's recording {item.name} is not in the zip. Export it again.")
        name = free_name(clean_name(item.file.name), [f.name for f in files])
        files.append(NewFile(name, _original(pack, wanted, files)))
        listed.append(replace(item, file=Path(name)))
    for entry, info in entries.items():
        if entry.startswith(ASIDE):
            name = free_name(clean_name(entry), [f.name for f in files])
            why = "It was kept aside where this job came from: it could not be read as a recording."
            files.append(NewFile(name, _original(pack, info, files), why))
    notes = _notes(_text(pack, entries[NOTES_ENTRY])) if NOTES_ENTRY in entries else {}
    title = short_title(case.title) or "A job brought in"
    text = dump_case(replace(case, title=title, recordings=tuple(listed)))
    return store.new(title, text, notes, files)


def _original(pack: zipfile.ZipFile, info: zipfile.ZipInfo, files: Sequence[NewFile]) -> bytes:
    """One file of the job, if it holds this one beside those."""
    room = MAX_JOB_BYTES - sum(len(file.data) for file in files)
    return _bytes(pack, info, room)


def _bytes(pack: zipfile.ZipFile, info: zipfile.ZipInfo, most: int) -> bytes:
    """One entry, never more of it than allowed whatever its header says."""
    with _damage_told(), pack.open(info) as stream:
        data = stream.read(most + 1)
    if len(data) > most:
        raise StoreError(
            f"This zip is larger than any job: {clean_name(info.filename)} goes over the limit. It was not "
            "brought in."
        )
    return data


def _text(pack: zipfile.ZipFile, info: zipfile.ZipInfo) -> str:
    try:
        return _bytes(pack, info, MAX_TEXT_BYTES).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise StoreError(f"{clean_name(info.filename)} in the zip is not UTF-8 text.") from None


def _notes(text: str) -> dict[str, str]:
    try:
        raw = json.loads(text)
    except (ValueError, RecursionError):  # Python reads no whole number of more than 4300 digits either
        raise StoreError(f"{NOTES_ENTRY} in the zip cannot be read. Export the job again.") from None
    if not isinstance(raw, dict) or not all(isinstance(value, str) for value in raw.values()):
        raise StoreError(f"{NOTES_ENTRY} in the zip does not hold notes. Export the job again.")
    return {key: value for key, value in raw.items() if key != INVENTED}


# ---------------------------------------------------------------- going out


def _json(job: Job, diagnosis: Diagnosis, unread: Mapping[str, str]) -> str:
    engine = case_of(job).vehicle.engine
    items = [recording_item(a, engine=engine) for a in diagnosis.analyses]
    items += [error_object(why, file=name) for name, why in unread.items()]
    answer = diagnosis_object(diagnosis, case=job.head.title, engine=engine, recordings=items)
    return json.dumps(answer, ensure_ascii=False, indent=1, allow_nan=False)


def _orders_csv(diagnosis: Diagnosis) -> str:
    rows = [
        (
            a.name,
            lv.order,
            lv.frequency_hz,
            lv.rms_m_s2,
            lv.low_m_s2,
            lv.high_m_s2,
            lv.coherence,
            lv.why_not or "",
        )
        for a in diagnosis.analyses
        for lv in (a.orders.levels if a.orders else ())
    ]
    head = ("recording", "order", "frequency_hz", "rms_m_s2", "low_m_s2", "high_m_s2", "coherence", "why_not")
    return _csv(head, rows)


def _causes_csv(diagnosis: Diagnosis) -> str:
    return _csv(("cause", "name", "probability"), [(c.id, c.name, c.probability) for c in diagnosis.causes])


def _csv(head: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    """Comma-separated text; a cell that a spreadsheet would run as a formula is told to be text."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    writer.writerows([[_inert(cell) for cell in row] for row in rows])
    return out.getvalue()


def _inert(cell: Any) -> Any:
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t") else cell

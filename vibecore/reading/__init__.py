"""Files as phones really make them -> Recording. The one public function is `read_recording`."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from vibecore.errors import ReadingError
from vibecore.model import Recording, Warn

from . import archive, limits
from .formats import Format
from .table import Table

__all__ = ["read_recording"]

_BLANK = b"\0 \r\n\t"
_LOST_BLOCK = bytes(16)  # what a card has that lost the begin of a file; no encoding begins so
_MOST_PACKED = 3  # times: a tar in gzip in a zip
_MOST_GIVEN_HZ = 1e5  # of a rate that a person gives: no sensor is as fast


def read_recording(
    source: str | Path | bytes,
    *,
    name: str | None = None,
    rate_hz: float | None = None,
    max_bytes: int = limits.MAX_BYTES,
    max_rows: int = limits.MAX_ROWS,
) -> Recording:
    """Read a phone's recording of acceleration from a file or its bytes.

    Serves delimited text of any make, logs whose rows name their values, workbooks (.xlsx, .xls, .ods), JSON,
    and gzip or zip of those. `name` is what the recording is called (the file's name unless said; it may tell
    what sensor it was). `rate_hz` is used only if the file has no time column.

    Returns a Recording: stamps in s from the first sample, acceleration (n, 3) in m/s2, and warnings for
    everything mended or doubtful.

    Raises ReadingError, with what is wrong and what to do, if there is no acceleration to be had.
    """
    if rate_hz is not None and not 0 < rate_hz < _MOST_GIVEN_HZ:
        raise ReadingError(
            f"A rate of {rate_hz} samples a second makes no sense. Give the app's own figure, such as 100."
        )
    data, title = _load(source, name, max_bytes)
    try:
        recording = _read(data, title, rate_hz, max_bytes, max_rows)
    except MemoryError:
        raise ReadingError(
            f"{title} is too large for this computer's memory. Cut out the part of interest."
        ) from None
    return replace(recording, name=title, digest=hashlib.sha256(data).hexdigest())


def _load(source: str | Path | bytes, name: str | None, max_bytes: int) -> tuple[bytes, str]:
    if isinstance(source, bytes):
        title, data = name or "recording", source
    else:
        path = Path(source)
        title = name or path.name
        try:
            if not path.is_file():
                what = "is a folder" if path.is_dir() else "is not there"
                raise ReadingError(f"{title} {what}. Give the path of a recording.")
            if path.stat().st_size > max_bytes:
                _too_large(title, path.stat().st_size, max_bytes)
            data = path.read_bytes()
        except (OSError, ValueError) as error:
            raise ReadingError(f"{title} cannot be opened ({error}).") from error
    if len(data) > max_bytes:
        _too_large(title, len(data), max_bytes)
    return data, title


def _too_large(title: str, size: int, max_bytes: int) -> None:
    raise ReadingError(
        f"{title} is {limits.megabytes(size)}, the limit is {limits.megabytes(max_bytes)}. Cut out the "
        "part of interest."
    )


def _read(
    data: bytes, title: str, rate_hz: float | None, max_bytes: int, max_rows: int, depth: int = 0
) -> Recording:
    """The recording in bytes of any kind."""
    from . import workbook

    packed, holds = archive.is_packed(data), archive.holds_files(data) and not workbook.sniff(data)
    if (packed or holds) and depth >= _MOST_PACKED:
        raise ReadingError(f"{title} is packed too many times. Unpack it and give the recording in it.")
    if packed:
        inner = archive.unpacked(data, title, max_bytes)
        return _read(inner, title, rate_hz, max_bytes, max_rows, depth + 1)
    if holds:
        return _read_archive(data, title, rate_hz, max_bytes, max_rows, depth)
    return _read_plain(data, title, rate_hz, max_rows)


def _read_archive(
    data: bytes, title: str, rate_hz: float | None, max_bytes: int, max_rows: int, depth: int
) -> Recording:
    """The accelerometer's file of a zip or tar, by its name, else by its gravity. Two that fit alike are
    refused: nothing is combined or chosen silently."""
    # of files alike by name the largest first: it is the recording, and what is wrong with it is told
    members = archive.members(data, title, max_bytes)
    members.sort(key=lambda m: (archive.rank(m[0]), -len(m[1])))
    read: list[tuple[int, str, Recording]] = []
    first_error: ReadingError | None = None
    for filename, inner in members:
        rank = archive.rank(filename)
        if read and rank > read[0][0]:
            break
        try:
            own = _read(inner, f"{title}, {filename}", rate_hz, max_bytes, max_rows, depth + 1)
            read.append((rank, filename, own))
        except ReadingError as error:
            first_error = first_error or error
    if not read and (together := _axes_of_files(members, title, rate_hz, max_rows)) is not None:
        return together
    if not read:
        raise first_error or ReadingError(
            f"{title} holds no file of data (.csv, .txt, .json, .xlsx, .xls, .ods)."
        )
    heavy = [r for r in read if r[2].gravity_included]
    read = heavy if len(heavy) == 1 else read
    if len(read) > 1:
        shown = ", ".join(f for _, f, _ in read[:6])
        raise ReadingError(
            f"{title} holds {len(read)} recordings ({shown}). Unpack it and give one at a time."
        )
    _, filename, recording = read[0]
    told = Warn("file-chosen", f"Of {len(members)} data files in the archive, {filename} was read.")
    return replace(recording, warnings=(told, *recording.warnings)) if len(members) > 1 else recording


def _axes_of_files(
    members: list[tuple[str, bytes]], title: str, rate_hz: float | None, max_rows: int
) -> Recording | None:
    """The recording of an archive that holds a file for each axis; None if it does not."""
    from . import delimited

    stems = [filename.rsplit("/", 1)[-1].rsplit(".", 1)[0] for filename, _ in members]
    places = _one_for_each_axis(stems)
    if places is None or not all(delimited.sniff(members[i][1]) for i in places):
        return None
    read = [delimited.read(members[i][1], f"{title}, {members[i][0]}", max_rows) for i in places]
    return _side_by_side([(stems[i], t) for i, t in zip(places, read, strict=True)], title, rate_hz)


def _one_for_each_axis(names_of: Sequence[str]) -> tuple[int, int, int] | None:
    """Which of these files or sheets hold one axis each of an acceleration, by their names."""
    from . import names

    sets = sorted((archive.rank(name), places) for name, places in names.triples(list(names_of)))
    return sets[0][1] if sets and sets[0][0] <= archive.rank("linear") else None


def _side_by_side(parts: list[tuple[str, Table]], title: str, rate_hz: float | None) -> Recording | None:
    """The recording in three tables of an axis each; None if they hold something else."""
    from . import axes
    from .build import build

    table = axes.joined(parts, title)
    return None if table is None else build(replace(table, source=title), title, rate_hz)


def _tables(form: Format, data: bytes, title: str, max_rows: int) -> list[Table]:
    """The tables in bytes that look like this form; what is no JSON after all may be a table as text."""
    from . import json_file, sections

    try:
        return form.read(data, title, max_rows)
    except ReadingError:
        if form.read is not json_file.read:
            raise
        try:
            found = sections.read(data, title, max_rows)
        except ReadingError:
            found = []
        if not any(table.named and table.rows >= limits.MIN_ROWS for table in found):
            raise
        return found


def _read_plain(data: bytes, title: str, rate_hz: float | None, max_rows: int) -> Recording:
    """The recording in bytes that are packed no further."""
    from .formats import FORMATS, check_kind

    if not data[: limits.PROBE_BYTES].strip(_BLANK) and not data.strip(_BLANK):
        raise ReadingError(f"{title} is empty. Record again, or export the recording again.")
    if data.startswith(_LOST_BLOCK):
        data = data.lstrip(b"\0")
    check_kind(data, title)
    form = next((f for f in FORMATS if f.sniff(data)), None)
    if form is None:
        raise ReadingError(
            f"{title} is no recording this program knows: neither text, workbook, JSON nor zip of those. "
            "Export it as CSV."
        )
    tables = [replace(t, source=t.source or title) for t in _tables(form, data, title, max_rows)]
    return _of_tables(tables, title, rate_hz)


def _of_tables(tables: list[Table], title: str, rate_hz: float | None) -> Recording:
    """The recording in the best of several tables, or in three of them with an axis each."""
    from .build import build

    results: list[tuple[int, Recording, str]] = []
    first_error: ReadingError | None = None
    for table in tables:
        try:
            recording = build(table, title, rate_hz)
            results.append((archive.rank(table.source), recording, table.source))
        except ReadingError as error:
            first_error = first_error or error
    if not results and (places := _one_for_each_axis([t.source for t in tables])) is not None:
        together = _side_by_side([(tables[i].source, tables[i]) for i in places], title, rate_hz)
        if together is not None:
            return together
    if not results:
        assert first_error is not None
        raise first_error
    best = min(results, key=lambda r: (not r[1].gravity_included, r[0]))
    if len(results) == 1:
        return best[1]
    told = Warn("table-chosen", f"{len(results)} tables hold acceleration; {best[2]} was read.")
    return replace(best[1], warnings=(told, *best[1].warnings))

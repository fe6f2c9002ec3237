"""gzip and zip, unpacked within limits. Of a zip, the accelerometer's file is picked and the choice told."""

from __future__ import annotations

import io
import lzma
import zipfile
import zlib

from vibecore.errors import ReadingError

from . import limits, names

_GZIP = b"\x1f\x8b"
_ZIP = b"PK\x03\x04"
_DOCUMENTS = ("word/document.xml", "ppt/presentation.xml", "content.xml")  # in the zips that documents are
_EMPTY_ZIP = b"PK\x05\x06"
DATA_ENDINGS = (
    ".csv",
    ".txt",
    ".tsv",
    ".dat",
    ".json",
    ".jsonl",
    ".xlsx",
    ".xls",
    ".log",
    ".asc",
    ".ndjson",
)


def is_gzip(data: bytes) -> bool:
    return data.startswith(_GZIP)


def is_zip(data: bytes) -> bool:
    return data.startswith((_ZIP, _EMPTY_ZIP))


def gunzip(data: bytes, title: str, max_bytes: int) -> bytes:
    """The unpacked bytes of a gzip file.

    Raises ReadingError if it is broken or unpacks to more than max_bytes.
    """
    out: list[bytes] = []
    size = 0
    while data:
        unpacker = zlib.decompressobj(wbits=31)
        try:
            part = unpacker.decompress(data, max_bytes - size + 1)
        except zlib.error as error:
            if out:
                break  # padding after the last member
            raise ReadingError(f"{title} is a broken gzip file ({error}). Send it once more.") from error
        size += len(part)
        if size > max_bytes:
            raise ReadingError(
                f"{title} unpacks to over {limits.megabytes(max_bytes)}. Cut out the part of interest."
            )
        out.append(part)
        if not unpacker.eof:
            raise ReadingError(f"{title} is a gzip file that breaks off. Send it once more.")
        data = unpacker.unused_data
        if len(out) > limits.MAX_ARCHIVE_ENTRIES:
            raise ReadingError(f"{title} is a gzip file of too many parts. Send the plain CSV.")
    return b"".join(out)


def members(data: bytes, title: str, max_bytes: int) -> list[tuple[str, bytes]]:
    """Names and bytes of the data files in a zip, in memory: no path is ever used.

    Raises ReadingError if the zip is broken, protected, or unpacks to more than max_bytes.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = [i for i in archive.infolist() if _is_data(i)]
            if len(archive.infolist()) > limits.MAX_ARCHIVE_ENTRIES:
                raise ReadingError(
                    f"{title} holds {len(archive.infolist())} files. Send one recording alone."
                )
            total = sum(i.file_size for i in infos)
            if not infos and any(i.filename in _DOCUMENTS for i in archive.infolist()):
                raise ReadingError(
                    f"{title} is a document, no recording of acceleration. Export the recording as CSV."
                )
            if total > max_bytes:
                raise ReadingError(
                    f"{title} unpacks to {limits.megabytes(total)}, the limit is "
                    f"{limits.megabytes(max_bytes)}."
                )
            if any(i.flag_bits & 1 for i in infos):
                raise ReadingError(f"{title} is protected by a password. Send it without one.")
            return [(i.filename, archive.read(i)) for i in infos]
    except (
        zipfile.BadZipFile,
        zlib.error,
        lzma.LZMAError,
        NotImplementedError,
        RuntimeError,
        ValueError,
        OSError,
        EOFError,
    ) as error:
        raise ReadingError(
            f"{title} is a broken zip file ({str(error)[:100]}). Send it once more."
        ) from error


def _is_data(info: zipfile.ZipInfo) -> bool:
    parts = info.filename.replace("\\", "/").split("/")
    hidden = any(p.startswith((".", "__")) for p in parts)
    return not info.is_dir() and not hidden and parts[-1].lower().endswith(DATA_ENDINGS)


def rank(filename: str) -> int:
    """How promising a member's name is, 0 the most; 18 and more for what surely is another sensor.
    Uncalibrated comes next to calibrated."""
    name = filename.replace("\\", "/").rsplit("/", 1)[-1].rsplit(".", 1)[0]
    place = names.RANK.get(names.kind_of(name), max(names.RANK.values()))
    return 2 * place + names.is_uncalibrated(name)

"""Packed bytes and archives, unpacked within limits. Of an archive the accelerometer's file is picked and the
choice told."""

from __future__ import annotations

import bz2
import io
import lzma
import tarfile
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from vibecore.constants import ZIP_SIGN
from vibecore.errors import ReadingError

from . import encoding, limits, names

_GZIP = b"\x1f\x8b"
_DOCUMENTS = ("word/document.xml", "ppt/presentation.xml", "content.xml")  # in the zips that documents are
_ZIPS = (ZIP_SIGN, b"PK\x05\x06")  # the second begins an empty one
_BZIP2 = tuple(b"BZh%d1AY&SY" % k for k in range(1, 10))
_XZ = (b"\xfd7zXZ\0", b"\x5d\0\0")  # the second begins the older kind
_TAR, _TAR_AT = b"ustar", 257
_MEMORY = 128 * 1024 * 1024  # bytes for a dictionary; the strongest setting takes 65 MB
_PACKED_ENDINGS = (".gz", ".bz2", ".xz", ".zip", ".tar", ".tgz")
# What the libraries raise on broken bytes.
BROKEN = (
    zipfile.BadZipFile, tarfile.TarError, zlib.error, lzma.LZMAError,
    NotImplementedError, RuntimeError, ValueError, OSError, EOFError,
)  # fmt: skip
_MOST_PACKED_FILES = 8  # in one archive: each may unpack to the limit
DATA_ENDINGS = (
    ".csv", ".txt", ".tsv", ".dat", ".json", ".jsonl", ".xlsx", ".xls", ".ods", ".log", ".asc", ".ndjson",
)  # fmt: skip


@dataclass(frozen=True)
class _Unpacker:
    """`step(bytes, most)`: at most so many bytes unpacked, what follows behind them, whether that was all."""

    name: str
    step: Callable[[bytes, int], tuple[bytes, bytes, bool]]


def is_packed(data: bytes) -> bool:
    """True for gzip, bzip2, xz and its older kind."""
    return _unpacker(data) is not None


def holds_files(data: bytes) -> bool:
    """True for zip and tar."""
    return data.startswith(_ZIPS) or data[_TAR_AT : _TAR_AT + len(_TAR)] == _TAR


def _unpacker(data: bytes) -> _Unpacker | None:
    if data.startswith(_GZIP):
        return _Unpacker("gzip", lambda part, most: _step(zlib.decompressobj(wbits=31), part, most))
    if data.startswith(_BZIP2):
        return _Unpacker("bzip2", lambda part, most: _step(bz2.BZ2Decompressor(), part, most))
    if data.startswith(_XZ):
        return _Unpacker("xz", lambda part, most: _step(lzma.LZMADecompressor(memlimit=_MEMORY), part, most))
    return None


def _step(unpacker: Any, data: bytes, most: int) -> tuple[bytes, bytes, bool]:
    return unpacker.decompress(data, most), unpacker.unused_data, unpacker.eof


def unpacked(data: bytes, title: str, max_bytes: int) -> bytes:
    """The bytes of a packed file.

    Raises ReadingError if it is broken or unpacks to more than max_bytes.
    """
    unpacker = _unpacker(data)
    out: list[bytes] = []
    size = 0
    while data and unpacker is not None:
        try:
            part, data, ended = unpacker.step(data, max_bytes - size + 1)
        except (zlib.error, lzma.LZMAError, OSError, ValueError, EOFError) as error:
            if out:
                break  # padding after the last member
            raise ReadingError(
                f"{title} is a broken {unpacker.name} file ({error}). Send it again."
            ) from error
        size += len(part)
        if size > max_bytes:
            raise ReadingError(
                f"{title} unpacks to over {limits.megabytes(max_bytes)}. Cut out the part of interest."
            )
        out.append(part)
        if not ended:
            raise ReadingError(f"{title} is a {unpacker.name} file that breaks off. Send it again.")
        if len(out) > limits.MAX_ARCHIVE_ENTRIES:
            raise ReadingError(f"{title} is a {unpacker.name} file of too many parts. Send the plain CSV.")
    return b"".join(out)


def members(data: bytes, title: str, max_bytes: int) -> list[tuple[str, bytes]]:
    """Names and bytes of the data files in an archive, in memory: no path is ever used. Where no ending tells
    of data, all that is text.

    Raises ReadingError if it is broken, protected, or unpacks to more than max_bytes.
    """
    try:
        if not data.startswith(_ZIPS):
            return _of_tar(data, title, max_bytes)
        return _of_zip(data, title, max_bytes)
    except BROKEN as error:
        kind = "zip" if data.startswith(_ZIPS) else "tar"
        raise ReadingError(f"{title} is a broken {kind} file ({str(error)[:100]}). Send it again.") from error


def _of_zip(data: bytes, title: str, max_bytes: int) -> list[tuple[str, bytes]]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        files = {i.filename: i for i in archive.infolist() if not i.is_dir()}
        if not any(_is_data(f) for f in files) and any(f in _DOCUMENTS for f in files):
            raise ReadingError(
                f"{title} is a document, no recording of acceleration. Export the recording as CSV."
            )
        chosen, sure = _chosen({f: i.file_size for f, i in files.items()}, title, max_bytes)
        if any(files[f].flag_bits & 1 for f in chosen):
            raise ReadingError(f"{title} is protected by a password. Send it without one.")
        read = [(f, archive.read(files[f])) for f in chosen]
    return [(f, d) for f, d in read if sure or encoding.looks_like_text(d)]


def _of_tar(data: bytes, title: str, max_bytes: int) -> list[tuple[str, bytes]]:
    with tarfile.open(fileobj=io.BytesIO(data), mode="r:") as archive:
        files = {i.name: i for i in archive.getmembers() if i.isfile()}
        chosen, sure = _chosen({f: i.size for f, i in files.items()}, title, max_bytes)
        read = [(f, part.read()) for f in chosen if (part := archive.extractfile(files[f])) is not None]
    return [(f, d) for f, d in read if sure or encoding.looks_like_text(d)]


def _chosen(sizes: dict[str, int], title: str, max_bytes: int) -> tuple[list[str], bool]:
    """The files of an archive that may be data by their endings, with True; without any all, with False."""
    if len(sizes) > limits.MAX_ARCHIVE_ENTRIES:
        raise ReadingError(f"{title} holds {len(sizes)} files. Send one recording alone.")
    seen = [f for f in sizes if not _is_hidden(f)]
    data = [f for f in seen if _is_data(f)]
    packed = [f for f in seen if f.lower().endswith(_PACKED_ENDINGS)]
    if len(packed) > _MOST_PACKED_FILES:
        raise ReadingError(f"{title} holds {len(packed)} packed files. Send one recording alone.")
    chosen = data + packed or seen
    total = sum(sizes[f] for f in chosen)
    if total > max_bytes:
        raise ReadingError(
            f"{title} unpacks to {limits.megabytes(total)}, the limit is {limits.megabytes(max_bytes)}."
        )
    return chosen, bool(data + packed)


def _is_hidden(filename: str) -> bool:
    return any(p.startswith((".", "__")) for p in filename.replace("\\", "/").split("/") if p != ".")


def _is_data(filename: str) -> bool:
    return filename.lower().endswith(DATA_ENDINGS) and not _is_hidden(filename)


def rank(filename: str) -> int:
    """How promising a member's name is, 0 the most; 18 and more for what surely is another sensor.
    Uncalibrated comes next to calibrated."""
    name = filename.replace("\\", "/").rsplit("/", 1)[-1].rsplit(".", 1)[0]
    place = names.RANK.get(names.kind_of(name), max(names.RANK.values()))
    return 2 * place + names.is_uncalibrated(name)

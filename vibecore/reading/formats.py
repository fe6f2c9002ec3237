"""The formats the reader knows, in the order they are tried. One file each, with `sniff` and `read`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from vibecore.errors import ReadingError

from . import delimited, json_file, sections, workbook
from .table import Table


@dataclass(frozen=True)
class Format:
    """`sniff(bytes)` tells whether it may be this format; `read(bytes, title, max_rows)` gives its tables."""

    name: str
    sniff: Callable[[bytes], bool]
    read: Callable[[bytes, str, int], list[Table]]


_PICTURE, _FILM, _DOCUMENT = "a picture", "a film or sound recording", "a document"
_BINARY = "a table in a form that this program does not read"
_PACKED = "packed in a way this program does not know"
# The bytes at a place that tell what a file is, as its own standard or maker has them; from memory.
_SIGNS = (
    (0, b"\x89PNG", _PICTURE),
    (0, b"\xff\xd8\xff", _PICTURE),
    (0, b"GIF8", _PICTURE),
    (8, b"WEBP", _PICTURE),
    (4, b"ftyphei", _PICTURE),
    (4, b"ftyp", _FILM),
    (0, b"RIFF", _FILM),
    (0, b"OggS", _FILM),
    (0, b"ID3\x03", _FILM),
    (0, b"ID3\x04", _FILM),
    (0, b"fLaC", _FILM),
    (0, b"\x1aE\xdf\xa3", _FILM),
    (0, b"%PDF", _DOCUMENT),
    (0, b"{\\rtf", _DOCUMENT),
    (0, b"7z\xbc\xaf", _PACKED),
    (0, b"Rar!", _PACKED),
    (0, b"\x28\xb5\x2f\xfd", _PACKED),
    (0, b"SQLite format 3", _BINARY),
    (0, b"PAR1", _BINARY),
    (0, b"ARROW1", _BINARY),
    (0, b"\x89HDF", _BINARY),
    (0, b"\x93NUMPY", _BINARY),
    (0, b"MATLAB 5.0", _BINARY),
)


def check_kind(data: bytes, title: str) -> None:
    """Raises ReadingError for what is known to be something else than a recording."""
    what = next((w for at, sign, w in _SIGNS if data[at : at + len(sign)] == sign), None)
    if what == _PACKED:
        raise ReadingError(f"{title} is {what}. Unpack it and give the recording in it.")
    if what == _BINARY:
        raise ReadingError(
            f"{title} is {what}. Open it in the program that made it and export the recording as CSV, "
            "with its time column."
        )
    if what:
        raise ReadingError(f"{title} is {what}, no recording of acceleration. Export the recording as CSV.")


FORMATS = (
    Format("workbook", workbook.sniff, workbook.read),
    Format("json", json_file.sniff, json_file.read),
    Format("text", delimited.sniff, sections.read),
)

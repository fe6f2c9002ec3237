"""The formats the reader knows, in the order they are tried. One file each, with `sniff` and `read`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from . import delimited, json_file, workbook
from .table import Table


@dataclass(frozen=True)
class Format:
    """`sniff(bytes)` tells whether it may be this format; `read(bytes, title, max_rows)` gives its tables."""

    name: str
    sniff: Callable[[bytes], bool]
    read: Callable[[bytes, str, int], list[Table]]


def _read_text(data: bytes, title: str, max_rows: int) -> list[Table]:
    return [delimited.read(data, title, max_rows)]


FORMATS = (
    Format("workbook", workbook.sniff, workbook.read),
    Format("json", json_file.sniff, json_file.read),
    Format("text", delimited.sniff, _read_text),
)

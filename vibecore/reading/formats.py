"""The formats the reader knows, in the order they are tried. One file each, with `sniff` and `read`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from . import delimited, json_file, sections, workbook
from .table import Table


@dataclass(frozen=True)
class Format:
    """`sniff(bytes)` tells whether it may be this format; `read(bytes, title, max_rows)` gives its tables."""

    name: str
    sniff: Callable[[bytes], bool]
    read: Callable[[bytes, str, int], list[Table]]


FORMATS = (
    Format("workbook", workbook.sniff, workbook.read),
    Format("json", json_file.sniff, json_file.read),
    Format("text", delimited.sniff, sections.read),
)

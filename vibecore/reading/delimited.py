"""Delimited text of any make into a Table. pyarrow's C++ parser does the rows; Python looks at the head
only."""

from __future__ import annotations

from typing import Any

from vibecore.errors import ReadingError
from vibecore.model import Warn

from . import commas, dressed, encoding, framing, limits, sideways
from .dates import is_compact
from .layout import MAX_HEAD_LINES, Layout, end_of_data, find_layout, is_number
from .naming import under_names
from .table import NOTHING, Table

_HEAD_BYTES = 128 * 1024
_MOST_NAME_LINES = 60  # three or so for each column
_MOST_HEAD_LINES = 1000  # looked at where the first few hold no data
_BLOCK_BYTES = 4 * 1024 * 1024
_MOST_BROKEN = 0.2  # share of rows of another width above which the layout was not understood
_MOST_BROKEN_ROWS = 20_000  # each costs a call from C++ to Python
_PLAIN_NUMBER = r"^\s*[-+]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?\s*$"
_SHOWN = 60  # characters of a broken line that a message quotes


def sniff(data: bytes) -> bool:
    """True if the bytes can be text."""
    return encoding.looks_like_text(data)


def read(data: bytes, source: str, max_rows: int) -> Table:
    """The table in a delimited text.

    Raises ReadingError if there is no table of numbers, or it is larger than max_rows.
    """
    text, kind = encoding.to_utf8(data)
    text = framing.without(_one_line_of_names(text))
    text, lying = sideways.upright(text), text
    told: tuple[Warn, ...] = () if text is lying else (sideways.TOLD,)
    head, lines = text[:_HEAD_BYTES], text.count(b"\n")
    _check_lines(text, head, lines, source, max_rows)
    layout = _layout(head, len(text) > len(head), source)
    _check_width(layout, lines, source)
    text = text[: end_of_data(text, layout)]
    body, cut = _body(text, layout)
    if mended := commas.joined(body, layout):
        (body, layout), told = mended, (*told, commas.TOLD)
    columns, broken, plain = _parse(body, layout, source)
    if (not plain or _has_other_mark(layout)) and (mended := commas.one_mark(body, layout)):
        (body, layout), told = mended, (*told, commas.BOTH_TOLD)
        columns, broken, plain = _parse(body, layout, source)
    rows = len(columns[0])
    if rows == 0:
        raise ReadingError(f"{source} has names of columns but no rows of numbers under them. Record again.")
    named = under_names(layout, columns, source)
    warnings = (*_told(broken, cut, rows), *told)
    mark = {"\t": "tab", " ": "blanks"}.get(layout.delimiter, layout.delimiter)
    history = (f"text, {kind}, cells parted by {mark}, decimals by {layout.decimal}, {rows} rows",)
    return Table(
        columns=tuple(named),
        rows=rows,
        hints=layout.hints,
        named=bool(layout.names),
        warnings=warnings,
        history=history,
        plain=plain,
    )


def _one_line_of_names(text: bytes) -> bytes:
    """A text whose first line breaks off within quotes, for names in a spreadsheet may have lines of their
    own: 'Acc x', '(g)' below it. With the names in one line."""
    end = text.find(b"\n")
    if not text.startswith(b'"') or text.count(b'"', 0, max(0, end)) % 2 == 0:
        return text
    for _ in range(_MOST_NAME_LINES):
        end = text.find(b"\n", end + 1)
        if end < 0:
            return text
        if text.count(b'"', 0, end) % 2 == 0:
            return text[:end].replace(b"\r", b"").replace(b"\n", b" ") + text[end:]
    return text


def _layout(head: bytes, more: bool, source: str) -> Layout:
    """The layout by the first lines, by many more if a long list of settings comes before the data."""
    try:
        return find_layout(_first_lines(head, more, MAX_HEAD_LINES), source)
    except ReadingError:
        lines = _first_lines(head, more, _MOST_HEAD_LINES)
        if len(lines) <= MAX_HEAD_LINES:
            raise
        return find_layout(lines, source)


def _first_lines(head: bytes, more: bool, count: int) -> list[str]:
    """The lines of the head that tell the layout, the last one left out if it breaks off there."""
    lines = head.decode("utf-8", errors="replace").split("\n", count)
    if more or len(lines) > count:
        lines.pop()
    lines = [line.rstrip("\r") for line in lines]
    while lines and not lines[-1].strip():
        lines.pop()
    return lines


def _check_lines(text: bytes, head: bytes, rows: int, source: str, max_rows: int) -> None:
    if not head.strip():
        raise ReadingError(f"{source} is empty. Record again, or export the recording again.")
    if b"\n" not in head and len(text) > limits.MAX_LINE_BYTES:
        raise ReadingError(
            f"{source} is one line of {limits.megabytes(len(text))}; a recording has one line for each "
            "sample. Export it as CSV with line breaks."
        )
    if rows > max_rows:
        raise ReadingError(
            f"{source} has {rows} rows, the limit is {max_rows}. Cut out the part of interest."
        )


def _check_width(layout: Layout, rows: int, source: str) -> None:
    if layout.width > limits.MAX_COLUMNS or rows * layout.width > limits.MAX_CELLS:
        raise ReadingError(
            f"{source} has {layout.width} columns in {rows} rows, too many. Export the accelerometer alone."
        )


def _body(text: bytes, layout: Layout) -> tuple[bytes | memoryview, bool]:
    """The bytes of the rows of data, made plain enough for the parser, and whether a cut last line was
    dropped."""
    start = 0
    for _ in range(layout.first):
        start = text.index(b"\n", start) + 1
    end = len(text)
    cut = False
    last = text.rfind(b"\n") + 1
    if last > start and not text.endswith(b"\n") and _is_cut(text[last:], layout):
        end, cut = last, True
    if layout.delimiter != " ":
        return memoryview(text)[start:end], cut
    body = text[start:end]
    body = body.replace(b"\t", b" ")
    while b"  " in body:
        body = body.replace(b"  ", b" ")
    body = body.replace(b"\r\n", b"\n").replace(b"\n ", b"\n").replace(b" \n", b"\n").strip(b" ")
    return body, cut


def _is_cut(line: bytes, layout: Layout) -> bool:
    """True if the last line stops within its last number: fewer decimals than every other row has."""
    cells = (
        line.decode("utf-8", errors="replace")
        .rstrip("\r")
        .split(None if layout.delimiter == " " else layout.delimiter)
    )
    if len(cells) != layout.width or not cells[-1]:
        return False
    lengths = {len(row[-1].partition(layout.decimal)[2]) for row in layout.cells if row[-1]}
    return len(lengths) == 1 and len(cells[-1].partition(layout.decimal)[2]) < lengths.pop()


def _parse(body: bytes | memoryview, layout: Layout, source: str) -> tuple[list[Any], int, bool]:
    """Arrow columns, null where a cell is no number; the count of rows of another width; whether all others
    held numbers where the head does."""
    import pyarrow as pa

    types = _types(layout)
    try:
        columns, broken = _read_csv(body, layout, types, source)
        return columns, broken, not broken
    except pa.ArrowInvalid:
        pass
    try:
        columns, broken = _read_csv(body, layout, [pa.string()] * layout.width, source)
    except pa.ArrowInvalid as error:
        raise ReadingError(
            f"{source} could not be read as a table: {str(error)[:200]}. Export the recording again as CSV."
        ) from error
    numbers = [_to_numbers(c, kind, layout.decimal) for c, kind in zip(columns, types, strict=True)]
    return numbers, broken, False


def _has_other_mark(layout: Layout) -> bool:
    """Whether a cell of the head is a number by the other decimal mark only."""
    other = {".": ",", ",": "."}[layout.decimal]
    return any(
        is_number(cell, other) and not is_number(cell, layout.decimal) for row in layout.cells for cell in row
    )


def _types(layout: Layout) -> list[Any]:
    """Arrow types told from the head: text where most cells are no numbers, integers where digits matter."""
    import pyarrow as pa

    types = []
    for column in zip(*layout.cells, strict=True):
        filled = [c for c in column if c and c not in NOTHING]
        numbers = [c for c in filled if is_number(c, layout.decimal) and not _is_long_date(c)]
        if len(numbers) <= 0.5 * len(filled) and filled:
            types.append(pa.string())
        elif numbers and all(c.lstrip("+-").isdigit() and len(c) >= limits.EXACT_DIGITS for c in numbers):
            types.append(pa.int64())
        else:
            types.append(pa.float64())
    return types


def _is_long_date(cell: str) -> bool:
    """True for a date in digits that no type of number holds whole: 20260314153012.345."""
    return (
        len(cell) >= limits.EXACT_DIGITS
        and is_compact(cell)
        and (not cell.isdigit() or len(cell) > limits.MOST_DIGITS)
    )


def _read_csv(
    body: bytes | memoryview, layout: Layout, types: list[Any], source: str
) -> tuple[list[Any], int]:
    import pyarrow as pa
    from pyarrow import csv

    names = [str(i) for i in range(layout.width)]
    broken: list[str] = []

    def skip(row: Any) -> str:
        broken.append(row.text[:_SHOWN] if row.text.strip() else "")
        return "error" if len(broken) > _MOST_BROKEN_ROWS else "skip"

    table = csv.read_csv(
        pa.BufferReader(pa.py_buffer(body)),
        read_options=csv.ReadOptions(column_names=names, block_size=_BLOCK_BYTES),
        parse_options=csv.ParseOptions(delimiter=layout.delimiter, invalid_row_handler=skip),
        convert_options=csv.ConvertOptions(
            column_types=dict(zip(names, types, strict=True)),
            decimal_point=layout.decimal,
            null_values=NOTHING,
            strings_can_be_null=False,
            check_utf8=False,
        ),
    )
    shown = [line for line in broken if line]
    if len(shown) > _MOST_BROKEN * max(1, table.num_rows):
        raise ReadingError(
            f"{source}: {len(shown)} rows do not have the {layout.width} cells of the others, such as "
            f"{shown[0]!r}. Export the recording again as CSV."
        )
    return [table.column(i).combine_chunks() for i in range(layout.width)], len(shown)


def _to_numbers(column: Any, kind: Any, decimal: str) -> Any:
    """Numbers out of a text column, null where a cell is none; text columns as they are."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if pa.types.is_string(kind):
        return column
    text = dressed.undressed(pc.utf8_trim_whitespace(column), decimal)
    if decimal == ",":
        text = pc.replace_substring(text, ",", ".")
    good = pc.match_substring_regex(text, _PLAIN_NUMBER)
    if not pc.any(good).as_py():  # the head had no cell that told the kind
        return column
    kept = pc.utf8_ltrim(pc.if_else(good, text, pa.scalar(None, pa.string())), "+")
    try:
        return kept.cast(kind)
    except pa.ArrowInvalid:  # an integer too long, or a fraction among integers
        return kept.cast(pa.float64())


def _told(broken: int, cut: bool, rows: int) -> tuple[Warn, ...]:
    count = broken + cut
    if not count:
        return ()
    plural = "were" if count > 1 else "was"
    return (
        Warn(
            "broken-rows",
            f"{count} of {rows + count} rows {plural} broken off or of another width; left out.",
        ),
    )

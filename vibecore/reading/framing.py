"""What a logger frames each row with, taken off: a semicolon or a checksum behind it, the time before it in
brackets."""

from __future__ import annotations

import re

_HEAD_BYTES = 128 * 1024
_JUDGED_LINES = 20  # the last of the head, which are likelier data
_CHECKSUM = rb"\*[0-9A-Fa-f]{2}[ \t]*(?=\r?$)"  # as on a serial line of sentences: $ACC,12,0.1,0.2,9.8*5F
_STAMP = (
    rb"^[ \t]*(?:\[|[A-Z] \()[ \t]*([0-9]+(?:\.[0-9]+)?)[ \t]*[\])](?=[\s:,;|])"  # [ 12.345] or I (12345)
)


def without(text: bytes) -> bytes:
    """The text without what frames every row of it."""
    head = text[:_HEAD_BYTES].split(b"\n")[-_JUDGED_LINES:-1]
    if not head:
        return text
    if all(line.rstrip().endswith(b";") and line.count(b";") == 1 for line in head):
        text = text.replace(b";\r\n", b"\n").replace(b";\n", b"\n").rstrip(b"; \r\n") + b"\n"
    for frame, kept in ((_CHECKSUM, b""), (_STAMP, rb"\1")):
        if all(re.search(frame, line) for line in head):
            text = re.sub(b"(?m)" + frame, kept, text)
    return text

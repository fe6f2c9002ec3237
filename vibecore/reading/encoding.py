"""Bytes to clean UTF-8 text: byte order marks, UTF-16, a country's own encoding, NUL bytes, odd minus signs
and line ends."""

from __future__ import annotations

import codecs
import unicodedata

from . import limits, names

_TELLING = 1024  # bytes of lines that are not plain, enough for any header
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
# What spreadsheets of a country write where they do not write UTF-8; the first where nothing tells.
_OF_A_COUNTRY = ("cp1252", "cp1250", "cp1251", "cp1253", "cp1254", "cp932", "gb18030", "cp949", "big5")
_CONTROL = bytes(b for b in range(32) if b not in b"\t\n\r\f\v\0\x1a")
_MOSTLY_NUL, _HARDLY_NUL = 0.7, 0.1  # share of every other byte, in UTF-16 of Latin letters; of the rest
_MOST_CONTROL = 0.02  # share of control characters above which bytes are no text
_ODD_SIGNS = {
    "\u2212": "-",
    "\u2013": "-",
    "\u2010": "-",
    "\u2011": "-",
    "\ufe63": "-",
    "\uff0d": "-",
    "\u00a0": " ",
    "\u202f": " ",
    "\u2009": " ",
    "\ufeff": "",
    "\u2019": "'",
}
# Beside digits of other scripts: signs that part numbers, and marks of writing direction.
_BESIDE_DIGITS: dict[int, str | int] = {
    **{code: code - 0xFEE0 for code in range(0xFF01, 0xFF5F)},  # as wide as the wide digits
    **dict(
        zip(
            map(ord, "\u066b\u066c\u060c\u061b\u061c\u200e\u200f"),
            (".", "'", ",", ";", "", "", ""),
            strict=True,
        )
    ),
}


def looks_like_text(data: bytes) -> bool:
    """True if the first bytes can be text: few control characters, NUL bytes only as UTF-16 has them."""
    probe = data[: limits.PROBE_BYTES]
    if any(probe.startswith(mark) for mark, _ in _MARKS) or _bare_utf16(probe):
        return True
    control = len(probe) - len(probe.translate(None, _CONTROL))
    return control <= _MOST_CONTROL * len(probe) and probe.count(0) <= len(probe) // 2


def to_utf8(data: bytes) -> tuple[bytes, str]:
    """The text as UTF-8 bytes without mark or NUL bytes, line ends as newlines, and the encoding it had."""
    text, encoding = _decode(data)
    if b"\0" in text:
        text = text.replace(b"\0", b"")
        encoding += " with NUL bytes"
    head = text[: 1 << 16]
    if head.count(b"\r") - head.count(b"\r\n") > head.count(b"\n"):
        text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return text.rstrip(b"\x1a"), encoding


def _decode(data: bytes) -> tuple[bytes, str]:
    for mark, name in _MARKS:
        if data.startswith(mark):
            if name == "utf-8":
                return _as_utf8(data[len(mark) :])
            return _plain(data[len(mark) :].decode(name, errors="ignore")), name
    if name := _bare_utf16(data[: limits.PROBE_BYTES]):
        return _plain(data.decode(name, errors="ignore")), name
    return _as_utf8(data)


def _as_utf8(data: bytes) -> tuple[bytes, str]:
    if data.isascii():
        return data, "ascii"
    try:
        text, encoding = data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        encoding = _of_a_country(data[: limits.PROBE_BYTES])
        text = data.decode(encoding, errors="replace")
    return _plain(text), encoding


def _of_a_country(head: bytes) -> str:
    """The encoding in which a text begins with most of the words that recordings use."""
    head = b"\n".join(line for line in head.split(b"\n") if not line.isascii())[:_TELLING]
    return max(_OF_A_COUNTRY, key=lambda own: names.words_in(head.decode(own, errors="replace")))


def _plain(text: str) -> bytes:
    for odd, plain in _ODD_SIGNS.items():
        if odd in text:
            text = text.replace(odd, plain)
    if zeros := _zeros_of_other_scripts(text[: 1 << 16]):
        digits = {ord(zero) + k: str(k) for zero in zeros for k in range(10)}
        text = text.translate({**_BESIDE_DIGITS, **digits})
    return text.encode("utf-8", errors="ignore")


def _zeros_of_other_scripts(head: str) -> set[str]:
    """The nought of each script but the plain one whose decimal digits a text has: the others follow it."""
    own = (c for c in set(head) if not c.isascii() and c.isdecimal())
    return {chr(ord(c) - unicodedata.decimal(c)) for c in own}


def _bare_utf16(probe: bytes) -> str:
    """UTF-16 without a mark shows as every other byte being NUL; '' if it is not."""
    half = len(probe) // 2
    if half < 8:
        return ""
    even, odd = probe[0 : 2 * half : 2].count(0), probe[1 : 2 * half : 2].count(0)
    if odd > _MOSTLY_NUL * half and even < _HARDLY_NUL * half:
        return "utf-16-le"
    if even > _MOSTLY_NUL * half and odd < _HARDLY_NUL * half:
        return "utf-16-be"
    return ""

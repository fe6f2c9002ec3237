"""Recordings packed in other ways, or twice: what comes out is what went in.

The packers are Python's own, and the truth is the shake that the files were made of.
"""

from __future__ import annotations

import bz2
import gzip
import io
import lzma
import tarfile
import time

import numpy as np
import pytest

from tests.reading.make import csv, packed, shake
from vibecore.errors import ReadingError
from vibecore.model import Recording
from vibecore.reading import read_recording

TRUTH = shake(100.0, 8.0)
FREE = shake(100.0, 8.0, gravity=False)
PLAIN = csv(TRUTH).encode()


def same(recording: Recording) -> None:
    np.testing.assert_allclose(recording.t_s, TRUTH.t_s, atol=1e-5)
    np.testing.assert_allclose(recording.accel_m_s2, TRUTH.accel, atol=1e-4)


def tar(files: dict[str, bytes], mode: str = "w") -> bytes:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode=mode) as archive:  # type: ignore[call-overload]
        for name, content in files.items():
            info = tarfile.TarInfo(name)
            info.size = len(content)
            archive.addfile(info, io.BytesIO(content))
    return out.getvalue()


def forms() -> dict[str, bytes]:
    two = {
        "rec/Accelerometer.csv": PLAIN,
        "rec/Gyroscope.csv": csv(FREE).encode(),
        "rec/photo.jpg": b"\xff\xd8\xff",
    }
    return {
        "bzip2": bz2.compress(PLAIN),
        "xz": lzma.compress(PLAIN),
        "old lzma": lzma.compress(PLAIN, format=lzma.FORMAT_ALONE),
        "gzip twice": gzip.compress(gzip.compress(PLAIN)),
        "tar": tar(two),
        "tar.gz": tar(two, "w:gz"),
        "tar.bz2": tar(two, "w:bz2"),
        "tar.xz": tar(two, "w:xz"),
        "zip in gzip": gzip.compress(packed({"acc.csv": PLAIN})),
        "gzip in zip": packed({"acc.csv.gz": gzip.compress(PLAIN), "note.txt": "cold start"}),
        "zip in zip": packed({"note.txt": "cold start", "rec.zip": packed({"acc.csv": PLAIN})}),
        "odd ending": packed({"rec/acc.lvm": PLAIN, "rec/photo.jpg": b"\xff\xd8\xff\0\0\0"}),
        "no ending": packed({"acc": PLAIN}),
    }


@pytest.mark.parametrize("form", forms())
def test_packed(form: str) -> None:
    same(read_recording(forms()[form], name="idle.bin"))


BAD = {
    "bzip2 cut short": (bz2.compress(PLAIN)[:-200], "breaks off|broken"),
    "xz cut short": (lzma.compress(PLAIN)[:-200], "breaks off|broken"),
    "bzip2 of noise": (b"BZh91AY&SY" + bytes(range(256)), "broken"),
    "xz of noise": (b"\xfd7zXZ\0" + bytes(range(256)), "broken"),
    "tar cut short": (tar({"acc.csv": PLAIN})[:2000], "broken"),
    "tar of pictures": (tar({"a.png": b"\x89PNG\0\0\0\0" * 9}), "is a picture"),
    "three times": (
        gzip.compress(gzip.compress(gzip.compress(gzip.compress(PLAIN)))),
        "packed too many times",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_broken_ones_are_a_sentence(case: str) -> None:
    data, says = BAD[case]
    with pytest.raises(ReadingError, match=says) as caught:
        read_recording(data, name="idle.bin")
    assert str(caught.value).startswith("idle.bin")
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize("pack", [bz2.compress, lzma.compress, gzip.compress])
def test_bombs_within_bombs_are_refused_quickly(pack: object) -> None:
    bomb = pack(bytes(60_000_000))  # type: ignore[operator]
    start = time.perf_counter()
    for data in (bomb, packed({f"{i}.csv.gz": bomb for i in range(100)})):
        with pytest.raises(ReadingError):
            read_recording(data, name="idle.bin", max_bytes=20_000_000)
    assert time.perf_counter() - start < 20

"""Original files, each kept once under the SHA-256 of its bytes: files/ab/abcdef...

A file is written aside, forced out to the disk and renamed, so that it is there whole or not at all.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import time
from collections.abc import Collection
from pathlib import Path

TEMP_SUFFIX = ".part"
TEMP_KEPT_S = 3600.0  # an unfinished file older than this is left over from a stop, not being written


def path_of(folder: Path, digest: str) -> Path:
    """Where the bytes with this SHA-256 lie."""
    return folder / digest[:2] / digest


def put(folder: Path, data: bytes) -> str:
    """Keep these bytes and return their SHA-256; on return they are on the disk. Raises OSError."""
    digest = hashlib.sha256(data).hexdigest()
    path = path_of(folder, digest)
    if path.exists() and path.read_bytes() == data:
        return digest
    path.parent.mkdir(parents=True, exist_ok=True)
    temp = path.with_name(f"{digest}.{secrets.token_hex(4)}{TEMP_SUFFIX}")
    try:
        with temp.open("wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        temp.replace(path)
    except BaseException:
        temp.unlink(missing_ok=True)
        raise
    _sync(path.parent)
    _sync(folder)
    return digest


def remove_all_but(folder: Path, used: Collection[str]) -> None:
    """Remove the files whose digest nobody uses any more."""
    for path in folder.glob("??/*"):
        if path.suffix != TEMP_SUFFIX and path.name not in used:
            path.unlink(missing_ok=True)


def sweep(folder: Path) -> None:
    """Remove what a stop in the middle of a write left behind."""
    for path in folder.glob(f"??/*{TEMP_SUFFIX}"):
        with contextlib.suppress(FileNotFoundError):
            if time.time() - path.stat().st_mtime > TEMP_KEPT_S:
                path.unlink()


def _sync(folder: Path) -> None:
    """Force a rename out to the disk, where the system lets a folder be opened (not on Windows)."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

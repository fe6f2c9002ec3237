"""What goes wrong with a disk, told in words."""

from __future__ import annotations

import contextlib
import errno
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from vibecore.errors import StoreError


@contextlib.contextmanager
def errors_in_words(folder: Path) -> Iterator[None]:
    """Turns what goes wrong with the disk into a sentence.

    Raises:
        StoreError: The disk is full, busy, or cannot be read or written.
    """
    try:
        yield
    except (OSError, sqlite3.Error) as error:
        raise sentence(error, folder) from error


def sentence(error: OSError | sqlite3.Error, folder: Path) -> StoreError:
    """What went wrong with the disk, in words, and what to do."""
    code = error.errno if isinstance(error, OSError) else getattr(error, "sqlite_errorcode", None)
    full = (errno.ENOSPC, errno.EDQUOT) if isinstance(error, OSError) else (sqlite3.SQLITE_FULL,)
    if code in full:
        return StoreError(
            f"The disk with {folder} is full: this change was not saved, what was saved before is safe. "
            "Make room, then do it again."
        )
    if isinstance(error, sqlite3.Error) and code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreError("Another window is saving just now, so this change was not saved. Do it again.")
    return StoreError(
        f"The jobs in {folder} cannot be read or written ({error}). Check that the folder is there and that "
        "you may write in it, or choose another with --data."
    )

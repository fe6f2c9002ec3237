"""The tables, how an older database is brought up to them, and what happens to one that cannot be read."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

from vibecore.errors import StoreError
from vibecore.safe_names import free_name

ASIDE, BACKUPS = "jobs-unreadable", "backups"  # beginning of a file's name; folder
BUSY_WAIT_S = 15.0  # how long a save waits for another one's: longer than writing one large upload takes

# One tuple of statements a version: the database carries the number of those it has had (user_version).
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE job (id TEXT PRIMARY KEY, title TEXT NOT NULL, state TEXT NOT NULL DEFAULT 'open',"
        " revision INTEGER NOT NULL DEFAULT 1, created_s REAL NOT NULL, changed_s REAL NOT NULL,"
        " case_text TEXT NOT NULL, notes TEXT NOT NULL DEFAULT '{}')",
        "CREATE TABLE file (job_id TEXT NOT NULL REFERENCES job(id) ON DELETE CASCADE, position INTEGER,"
        " name TEXT NOT NULL, digest TEXT NOT NULL, size_bytes INTEGER NOT NULL, aside TEXT,"
        " PRIMARY KEY (job_id, name))",
    ),
)


class DamagedError(Exception):
    """The database cannot be read."""


def migrate(database: Path) -> None:
    """Bring the tables up to this version, after a backup if there was an older one. Raises StoreError if
    they are of a newer version, DamagedError, and sqlite3.Error."""
    con = sqlite3.connect(database, timeout=BUSY_WAIT_S, isolation_level=None)
    with contextlib.closing(con):
        _check(con)
        con.execute("PRAGMA journal_mode=WAL")
        if _version(con) == len(MIGRATIONS):
            return
        con.execute("BEGIN IMMEDIATE")  # no other process writes from here on: the backup is complete
        version = _version(con)
        if version > len(MIGRATIONS):
            raise StoreError(
                f"The jobs in {database.parent} were kept by a newer vibecore (form {version}, this one "
                f"knows {len(MIGRATIONS)}). Use the newer one, or another folder with --data."
            )
        if 0 < version < len(MIGRATIONS):
            _backup(database, version)
        for number in range(version, len(MIGRATIONS)):
            for statement in MIGRATIONS[number]:
                con.execute(statement)
        con.execute(f"PRAGMA user_version={len(MIGRATIONS)}")
        con.execute("COMMIT")


def _check(con: sqlite3.Connection) -> None:
    """All of it, not only its head: a bad page would be met later, on every screen. Takes milliseconds."""
    try:
        (found,) = con.execute("PRAGMA quick_check(1)").fetchone()
    except sqlite3.DatabaseError as error:
        if error.sqlite_errorcode not in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
            raise
        found = str(error)
    if found != "ok":
        raise DamagedError(found)


def set_aside(database: Path) -> str:
    """Keep a database that cannot be read under another name; returns the sentence to tell."""
    folder = database.parent
    aside = free_name(f"{ASIDE}.sqlite", [p.name for p in folder.iterdir()])
    for ending in ("", "-wal", "-shm"):
        part = database.with_name(database.name + ending)
        if part.exists():
            part.replace(folder / (aside + ending))
    return (
        f"The list of jobs could not be read. It is kept as {aside} in {folder}, and a new list was started. "
        f"The original files are untouched: none is removed as long as {aside} is there."
    )


def others(database: Path) -> list[Path]:
    """Databases beside this one that know of files too: set aside because unreadable, or backups."""
    folder = database.parent
    return [*folder.glob(f"{ASIDE}*.sqlite"), *(folder / BACKUPS).glob("*.sqlite")]


def _backup(database: Path, version: int) -> None:
    folder = database.parent / BACKUPS
    folder.mkdir(exist_ok=True)
    target = folder / free_name(f"jobs-form-{version}.sqlite", [p.name for p in folder.iterdir()])
    source, copy = sqlite3.connect(database), sqlite3.connect(target)
    with contextlib.closing(source), contextlib.closing(copy):
        source.backup(copy)


def _version(con: sqlite3.Connection) -> int:
    return int(con.execute("PRAGMA user_version").fetchone()[0])

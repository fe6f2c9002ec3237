"""Jobs on disk: one SQLite database and the original files, byte for byte, in one data folder.

    DATA/jobs.sqlite            what is known of each job (write-ahead log, fully synchronous)
    DATA/files/ab/abcdef...     each original file once, named by the SHA-256 of its bytes
    DATA/backups/               the database as it was before a newer version changed its tables

A call that has returned is on the disk: a file is written aside, forced out and renamed, and its row is
committed after it. Two people may edit one job: each save names the revision it started from, and the later
one is told (`StaleEdit`), never silently lost or silently winning.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import secrets
import sqlite3
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from vibecore import blobs
from vibecore.errors import StoreError
from vibecore.safe_names import clean_name, free_name

DATA_VARIABLE = "VIBECORE_DATA"  # environment variable that names another data folder
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

State = Literal["open", "closed", "bin"]


class StaleEdit(StoreError):  # noqa: N818 - it is an event to be told, as much as an error
    """Somebody saved this job after the caller had opened it."""


@dataclass(frozen=True)
class StoredFile:
    """One original file of a job. aside: why it cannot be read as a recording, None if it can."""

    name: str
    digest: str
    size_bytes: int
    aside: str | None = None


@dataclass(frozen=True)
class NewFile:
    name: str
    data: bytes
    aside: str | None = None


@dataclass(frozen=True)
class JobHead:
    """A line in the list of jobs. Times are seconds since 1970."""

    id: str
    title: str
    state: State
    revision: int
    created_s: float
    changed_s: float


@dataclass(frozen=True)
class Job:
    head: JobHead
    case_text: str  # a case file as in the contract
    notes: Mapping[str, str]  # what the case file has no key for: the complaint, what was done ...
    files: tuple[StoredFile, ...]


def data_folder() -> Path:
    """The folder of the jobs: what VIBECORE_DATA names, else the user's data folder of this system."""
    named = os.environ.get(DATA_VARIABLE)
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_data_dir("vibecore", appauthor=False))


class Store:
    """All jobs in one data folder. Holds no open connection: safe to use from many threads."""

    def __init__(self, folder: Path | str) -> None:
        self.folder = Path(folder)
        self.files = self.folder / "files"
        self.database = self.folder / "jobs.sqlite"
        self.notices: tuple[str, ...] = ()
        with _told(self.folder):
            self.files.mkdir(parents=True, exist_ok=True)
            blobs.sweep(self.files)
        try:
            self._migrate()
        except sqlite3.DatabaseError as error:
            if error.sqlite_errorcode not in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
                raise _sentence(error, self.folder) from error
            self._set_aside()
            self._migrate()

    # -- reading ---------------------------------------------------------------------------------------

    def jobs(self, search: str = "", states: Sequence[State] = ("open", "closed")) -> tuple[JobHead, ...]:
        """Heads of the jobs in these states that hold every word of the search, the last changed first."""
        words = [w.casefold() for w in search.split()]
        marks = ",".join("?" * len(states))
        with self._connect() as con:
            rows = con.execute(
                "SELECT id, title, state, revision, created_s, changed_s, case_text || ' ' || notes FROM job"
                f" WHERE state IN ({marks}) ORDER BY changed_s DESC, id",
                tuple(states),
            ).fetchall()
        return tuple(
            JobHead(*row[:6]) for row in rows if all(w in f"{row[1]} {row[6]}".casefold() for w in words)
        )

    def open(self, job_id: str) -> Job:
        """The job as it stands. Raises StoreError if it is not there."""
        with self._connect() as con:
            return self._fetch(con, job_id)

    def read_file(self, job_id: str, name: str) -> bytes:
        """The bytes of one original file, checked against its digest."""
        kept = next((f for f in self.open(job_id).files if f.name == name), None)
        if kept is None:
            raise StoreError(f"This job has no file '{name}'. Open the job again to see its files.")
        try:
            data = blobs.path_of(self.files, kept.digest).read_bytes()
        except OSError as error:
            raise StoreError(
                f"The kept file '{name}' cannot be read ({error.strerror}). Upload it again."
            ) from None
        if hashlib.sha256(data).hexdigest() != kept.digest:
            raise StoreError(f"The kept file '{name}' was damaged on the disk. Upload it again.")
        return data

    # -- writing ---------------------------------------------------------------------------------------

    def new(
        self,
        title: str,
        case_text: str,
        notes: Mapping[str, str] | None = None,
        files: Sequence[NewFile] = (),
        *,
        job_id: str | None = None,
    ) -> Job:
        """Keep a new job with its files and give it back as kept."""
        job_id, now = job_id or secrets.token_hex(6), time.time()
        with self._connect(write=True) as con:
            con.execute(
                "INSERT INTO job (id, title, created_s, changed_s, case_text, notes) VALUES (?,?,?,?,?,?)",
                (job_id, title, now, now, case_text, json.dumps(dict(notes or {}))),
            )
            self._insert_files(con, job_id, files)
            return self._fetch(con, job_id)

    def save(
        self,
        job: Job,
        *,
        title: str | None = None,
        case_text: str | None = None,
        notes: Mapping[str, str] | None = None,
        add: Sequence[NewFile] = (),
        remove: Sequence[str] = (),
        state: State | None = None,
    ) -> Job:
        """Change the given job, all or nothing; what is not given stays. Raises StaleEdit if the job on
        the disk is no longer at the revision of `job`."""
        with self._connect(write=True) as con:
            now_kept = self._fetch(con, job.head.id)
            if now_kept.head.revision != job.head.revision:
                raise StaleEdit(
                    f"'{now_kept.head.title}' was changed in another window after you opened it, so this "
                    "change was not saved. Look at what is there now, then make your change again."
                )
            con.execute(
                "UPDATE job SET title=?, case_text=?, notes=?, state=?, revision=revision+1, changed_s=?"
                " WHERE id=?",
                (
                    job.head.title if title is None else title,
                    job.case_text if case_text is None else case_text,
                    json.dumps(dict(job.notes if notes is None else notes)),
                    job.head.state if state is None else state,
                    time.time(),
                    job.head.id,
                ),
            )
            con.executemany(
                "DELETE FROM file WHERE job_id=? AND name=?", [(job.head.id, name) for name in remove]
            )
            self._insert_files(con, job.head.id, add)
            return self._fetch(con, job.head.id)

    def copy(self, job: Job, title: str) -> Job:
        """A second job with the same case and the same files."""
        files = [NewFile(f.name, self.read_file(job.head.id, f.name), f.aside) for f in job.files]
        return self.new(title, job.case_text, job.notes, files)

    def set_state(self, job_id: str, state: State) -> Job:
        """Open, close, put into the bin or take out of it, whatever the revision."""
        return self.save(self.open(job_id), state=state)

    def empty_bin(self) -> int:
        """Remove for good what is in the bin and every file no other job has. Returns the number of jobs."""
        with self._connect(write=True) as con:
            gone = con.execute("DELETE FROM job WHERE state='bin'").rowcount
            used = {row[0] for row in con.execute("SELECT digest FROM file")}
            blobs.remove_all_but(self.files, used)
            return gone

    # -- inside ----------------------------------------------------------------------------------------

    @contextlib.contextmanager
    def _connect(self, *, write: bool = False) -> Iterator[sqlite3.Connection]:
        """A connection for one piece of work; `write` takes the one writer's place at once and commits."""
        with _told(self.folder):
            con = sqlite3.connect(self.database, timeout=BUSY_WAIT_S, isolation_level=None)
            try:
                for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
                    con.execute(f"PRAGMA {pragma}")
                if write:
                    con.execute("BEGIN IMMEDIATE")
                yield con
                if write:
                    con.execute("COMMIT")
            except BaseException:
                if con.in_transaction:
                    con.execute("ROLLBACK")
                raise
            finally:
                con.close()

    def _fetch(self, con: sqlite3.Connection, job_id: str) -> Job:
        row = con.execute(
            "SELECT id, title, state, revision, created_s, changed_s, case_text, notes FROM job WHERE id=?",
            (job_id,),
        ).fetchone()
        if row is None:
            raise StoreError("That job is not here any more. Choose another from the list of jobs.")
        files = con.execute(
            "SELECT name, digest, size_bytes, aside FROM file WHERE job_id=? ORDER BY position", (job_id,)
        )
        return Job(JobHead(*row[:6]), row[6], json.loads(row[7]), tuple(StoredFile(*f) for f in files))

    def _insert_files(self, con: sqlite3.Connection, job_id: str, files: Sequence[NewFile]) -> None:
        """Write the bytes first, then the rows. A name that another file of the job has gets a number."""
        taken = {row[0] for row in con.execute("SELECT name FROM file WHERE job_id=?", (job_id,))}
        (last,) = con.execute(
            "SELECT COALESCE(MAX(position), 0) FROM file WHERE job_id=?", (job_id,)
        ).fetchone()
        for position, new in enumerate(files, start=last + 1):
            name = free_name(clean_name(new.name), taken)
            taken.add(name)
            con.execute(
                "INSERT INTO file VALUES (?,?,?,?,?,?)",
                (job_id, position, name, blobs.put(self.files, new.data), len(new.data), new.aside),
            )

    def _migrate(self) -> None:
        """Bring the tables up to this version, after a backup if there was an older one."""
        con = sqlite3.connect(self.database, timeout=BUSY_WAIT_S, isolation_level=None)
        with contextlib.closing(con):
            con.execute("PRAGMA journal_mode=WAL")
            if _version(con) == len(MIGRATIONS):
                return
            con.execute(
                "BEGIN IMMEDIATE"
            )  # from here on no other process writes, so the backup is the last word
            version = _version(con)
            if version > len(MIGRATIONS):
                raise StoreError(
                    f"The jobs in {self.folder} were kept by a newer vibecore (form {version}, this one "
                    f"knows {len(MIGRATIONS)}). Use the newer one, or another folder with --data."
                )
            if 0 < version < len(MIGRATIONS):
                self._backup(version)
            for number in range(version, len(MIGRATIONS)):
                for statement in MIGRATIONS[number]:
                    con.execute(statement)
            con.execute(f"PRAGMA user_version={len(MIGRATIONS)}")
            con.execute("COMMIT")

    def _backup(self, version: int) -> None:
        folder = self.folder / "backups"
        folder.mkdir(exist_ok=True)
        names = {p.name for p in folder.iterdir()}
        target = folder / free_name(f"jobs-form-{version}.sqlite", names)
        source, copy = sqlite3.connect(self.database), sqlite3.connect(target)
        with contextlib.closing(source), contextlib.closing(copy):
            source.backup(copy)

    def _set_aside(self) -> None:
        """Keep a database that cannot be read under another name, and say so."""
        names = {p.name for p in self.folder.iterdir()}
        aside = free_name("jobs-unreadable.sqlite", names)
        for ending in ("", "-wal", "-shm"):
            part = self.database.with_name(self.database.name + ending)
            if part.exists():
                part.replace(self.folder / (aside + ending))
        self.notices += (
            f"The list of jobs could not be read. It is kept as {aside} in {self.folder}, the original files "
            "are untouched, and a new list was started.",
        )


def _version(con: sqlite3.Connection) -> int:
    return int(con.execute("PRAGMA user_version").fetchone()[0])


@contextlib.contextmanager
def _told(folder: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, sqlite3.Error) as error:
        raise _sentence(error, folder) from error


def _sentence(error: OSError | sqlite3.Error, folder: Path) -> StoreError:
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

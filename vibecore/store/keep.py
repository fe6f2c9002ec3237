"""Keep jobs, fetch them, find them: all that touches the database but its tables."""

from __future__ import annotations

import contextlib
import hashlib
import json
import secrets
import sqlite3
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import tomli_w

from vibecore.errors import StoreError
from vibecore.safe_names import clean_name, free_name
from vibecore.store import blobs, schema
from vibecore.store.disk import errors_in_words
from vibecore.store.records import MAX_JOB_BYTES, Job, JobHead, NewFile, NewJob, StaleEdit, State, StoredFile
from vibecore.store.search import words_of
from vibecore.toml_text import parsed

# The fields of a JobHead, then the case and the notes.
_SELECT_JOB = "SELECT id, title, state, revision, changed_s, case_text, notes FROM job"


class Store:
    """All jobs in one data folder. Holds no open connection: safe to use from many threads."""

    def __init__(self, folder: Path | str) -> None:
        self.folder = Path(folder)
        self.files = self.folder / "files"
        self.database = self.folder / "jobs.sqlite"
        self.notices: tuple[str, ...] = ()
        with errors_in_words(self.folder):
            self.files.mkdir(parents=True, exist_ok=True)
            blobs.sweep(self.files)
            try:
                schema.migrate(self.database)
            except schema.DamagedError:
                self.notices += (schema.set_aside(self.database),)
                schema.migrate(self.database)

    # -- reading ---------------------------------------------------------------------------------------

    def jobs(self, search: str = "", states: Sequence[State] = ("open", "closed")) -> tuple[JobHead, ...]:
        """Heads of the jobs in these states that hold every word of the search, the last changed first."""
        words = [w.casefold() for w in search.split()]
        marks = ",".join("?" * len(states))
        with self._connect() as con:
            rows = con.execute(
                f"{_SELECT_JOB} WHERE state IN ({marks}) ORDER BY changed_s DESC, id",
                tuple(states),
            ).fetchall()
        return tuple(
            JobHead(*row[:5])
            for row in rows
            if all(w in row[1].casefold() or w in words_of(*row[5:]) for w in words)
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
        return self.read_kept(kept)

    def read_kept(self, kept: StoredFile) -> bytes:
        """The same of a file that a job has, or had: its bytes stay until the bin is emptied."""
        name = kept.name
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
    ) -> Job:
        """Keep a new job with its files and give it back as kept."""
        with self._connect(write=True) as con:
            job_id = self._insert_job(con, NewJob(title, case_text, notes or {}, files))
            return self._fetch(con, job_id)

    def begin_with(self, jobs: Sequence[NewJob]) -> bool:
        """Keep these jobs, all or none, if there is no other job, not even in the bin. Were they kept?"""
        with self._connect(write=True) as con:
            if con.execute("SELECT 1 FROM job").fetchone():
                return False
            for job in jobs:
                self._insert_job(con, job)
            return True

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
                    _notes_text(job.notes if notes is None else notes),
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
        """A second job with the same case, but for the title, and the same files."""
        files = [NewFile(f.name, self.read_file(job.head.id, f.name), f.aside) for f in job.files]
        return self.new(title, _retitled(job.case_text, title), job.notes, files)

    def set_state(self, job_id: str, state: State) -> Job:
        """Open, close, put into the bin or take out of it, whatever the revision."""
        return self.save(self.open(job_id), state=state)

    def empty_bin(self) -> int:
        """Remove for good what is in the bin and every file no other job has, unless another list beside this
        one may still know it. Returns the number of jobs."""
        with self._connect(write=True) as con:
            gone = con.execute("DELETE FROM job WHERE state='bin'").rowcount
        self._remove_unused_files()  # after the commit: a job that stays in the bin after all keeps its files
        return gone

    def files_may_be_known_elsewhere(self) -> bool:
        """Does another list beside this one, set aside or a backup, keep every file from being removed?"""
        return bool(schema.others(self.database))

    # -- inside ----------------------------------------------------------------------------------------

    @contextlib.contextmanager
    def _connect(self, *, write: bool = False) -> Iterator[sqlite3.Connection]:
        """A connection for one piece of work; `write` takes the one writer's place at once and commits."""
        with errors_in_words(self.folder):
            con = sqlite3.connect(self.database, timeout=schema.BUSY_WAIT_S, isolation_level=None)
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

    def _remove_unused_files(self) -> None:
        if self.files_may_be_known_elsewhere():
            return
        with self._connect(write=True) as con:  # so that nobody adds a file meanwhile
            used = {row[0] for row in con.execute("SELECT digest FROM file")}
            blobs.remove_all_but(self.files, used)

    def _fetch(self, con: sqlite3.Connection, job_id: str) -> Job:
        row = con.execute(f"{_SELECT_JOB} WHERE id=?", (job_id,)).fetchone()
        if row is None:
            raise StoreError("That job is not here any more. Choose another from the list of jobs.")
        files = con.execute(
            "SELECT name, digest, aside FROM file WHERE job_id=? ORDER BY position", (job_id,)
        )
        return Job(JobHead(*row[:5]), row[5], json.loads(row[6]), tuple(StoredFile(*f) for f in files))

    def _insert_job(self, con: sqlite3.Connection, job: NewJob) -> str:
        job_id, now = job.id or secrets.token_hex(6), time.time()
        con.execute(
            "INSERT INTO job (id, title, created_s, changed_s, case_text, notes) VALUES (?,?,?,?,?,?)",
            (job_id, job.title, now, now, job.case_text, _notes_text(job.notes)),
        )
        self._insert_files(con, job_id, job.files)
        return job_id

    def _insert_files(self, con: sqlite3.Connection, job_id: str, files: Sequence[NewFile]) -> None:
        """Write the bytes first, then the rows. A name that another file of the job has gets a number."""
        taken = {row[0] for row in con.execute("SELECT name FROM file WHERE job_id=?", (job_id,))}
        last, held_bytes = con.execute(
            "SELECT COALESCE(MAX(position), 0), COALESCE(SUM(size_bytes), 0) FROM file WHERE job_id=?",
            (job_id,),
        ).fetchone()
        _check_room(held_bytes, files)
        for position, new in enumerate(files, start=last + 1):
            name = free_name(clean_name(new.name), taken)
            taken.add(name)
            con.execute(
                "INSERT INTO file VALUES (?,?,?,?,?,?)",
                (job_id, position, name, blobs.put(self.files, new.data), len(new.data), new.aside),
            )


def _check_room(held_bytes: int, files: Sequence[NewFile]) -> None:
    """Raises StoreError if a job that holds so much cannot hold these files too."""
    if files and held_bytes + sum(len(new.data) for new in files) > MAX_JOB_BYTES:
        raise StoreError(
            f"With these files it would be more than a job may hold ({MAX_JOB_BYTES // 2**20} MB), so "
            "nothing was added. Leave some out, or start another job for them."
        )


def _notes_text(notes: Mapping[str, str]) -> str:
    """The notes as JSON, their letters as they are; half a character, which no text holds, becomes '?'."""
    return json.dumps(dict(notes), ensure_ascii=False).encode("utf-8", "replace").decode("utf-8")


def _retitled(case_text: str, title: str) -> str:
    """The case with another title; a text that is no case file stays as it is."""
    try:
        tables = parsed(case_text, title, StoreError)
    except StoreError:
        return case_text
    return tomli_w.dumps({**tables, "title": title})

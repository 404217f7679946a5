"""Connections to a recording, and what SQLite's own errors mean there.

Here: opening to read or to write, telling whether a file is a recording at all. Not here: what is in it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from gaugelog.errors import (
    DamagedRecordingError,
    NewerRecordingError,
    NoRecordingError,
    NotARecordingError,
    WriteFailedError,
)
from gaugelog.store.schema import APPLICATION_ID, newest_version, schema_texts

_MAGIC = b"SQLite format 3\x00"
_WAIT_S = 5.0
_WRITER_PRAGMAS = (
    "PRAGMA page_size = 1024",  # these two count only while a recording is begun
    "PRAGMA auto_vacuum = INCREMENTAL",
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA fullfsync = ON",
    "PRAGMA checkpoint_fullfsync = ON",
    "PRAGMA foreign_keys = ON",
)
_DAMAGE = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def _connect(path: Path, options: str) -> sqlite3.Connection:
    uri = f"{path.resolve().as_uri()}?{options}"
    return sqlite3.connect(uri, uri=True, isolation_level=None, timeout=_WAIT_S)


def _code(error: sqlite3.Error) -> int:
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


@contextmanager
def reading(path: Path) -> Iterator[None]:
    """Turn what SQLite finds wrong while reading, and rows of the wrong form, into a damaged recording."""
    try:
        yield
    except (sqlite3.Error, UnicodeError) as error:
        raise DamagedRecordingError(path, [str(error)]) from error
    except (TypeError, ValueError, KeyError, OverflowError) as error:
        raise DamagedRecordingError(path, [f"a row has the wrong form: {error}"]) from error


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn what SQLite finds wrong while writing into the errors of a recording."""
    try:
        yield
    except sqlite3.IntegrityError as error:
        raise ValueError(f"{path.name}: {error}") from error
    except sqlite3.Error as error:
        if _code(error) in _DAMAGE:
            raise DamagedRecordingError(path, [str(error)]) from error
        raise WriteFailedError(path, str(error)) from error
    except OSError as error:
        raise WriteFailedError(path, error.strerror or str(error)) from error


def _numbers(connection: sqlite3.Connection, path: Path) -> tuple[int, int, int]:
    """Return application number, schema number and count of tables: what tells a recording from other files."""
    try:
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    except (sqlite3.DatabaseError, UnicodeError) as error:
        raise NotARecordingError(path, str(error)) from error
    return application, version, tables


def _must_be_a_recording(path: Path, application: int, version: int) -> None:
    if application != APPLICATION_ID or version < 1:
        raise NotARecordingError(path, "it is an SQLite file of something else")
    if version > newest_version():
        raise NewerRecordingError(path, version, newest_version())


def _must_be_sqlite(path: Path) -> None:
    try:
        with path.open("rb") as file:
            head = file.read(len(_MAGIC))
    except OSError as error:
        raise NotARecordingError(path, error.strerror or str(error)) from error
    if head != _MAGIC:
        raise NotARecordingError(path, "it is no SQLite file")


def _connect_to_read(path: Path) -> sqlite3.Connection:
    """Return a connection that can't write, also where nothing can be written beside the file."""
    connection = _connect(path, "mode=ro")
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError as error:
        connection.close()
        if _code(error) != sqlite3.SQLITE_CANTOPEN:
            raise
        log = path.with_name(path.name + "-wal")
        if log.exists() and log.stat().st_size:
            detail = "it was not finished, and its folder can't be written; copy it with its -wal file elsewhere"
            raise NotARecordingError(path, detail) from error
        return _connect(path, "mode=ro&immutable=1")
    except BaseException:
        connection.close()
        raise
    return connection


@contextmanager
def open_to_read(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a recording for one short transaction: everything read within is of one moment.

    Raises:
        NoRecordingError: there is no such file.
        NotARecordingError: it is something else.
        NewerRecordingError: a newer version made it.
        DamagedRecordingError: SQLite finds it damaged.
    """
    if not path.exists():
        raise NoRecordingError(path)
    _must_be_sqlite(path)
    try:
        connection = _connect_to_read(path)
    except (sqlite3.Error, UnicodeError) as error:
        raise NotARecordingError(path, str(error)) from error
    try:
        with reading(path):
            connection.execute("BEGIN")
            application, version, _ = _numbers(connection, path)
            _must_be_a_recording(path, application, version)
            yield connection
    finally:
        connection.close()


def open_to_write(path: Path) -> sqlite3.Connection:
    """Open or begin a recording; the caller holds its lock.

    Raises:
        NotARecordingError, NewerRecordingError: the file is left as it is.
        WriteFailedError: it can't be written.
    """
    with writing(path):
        if path.exists() and path.stat().st_size:
            _must_be_sqlite(path)
        connection = _connect(path, "mode=rwc")
    try:
        with writing(path):
            application, version, tables = _numbers(connection, path)
            begun = bool(application or version or tables)  # one that was cut off while it began holds nothing
            if begun:
                _must_be_a_recording(path, application, version)
            for pragma in _WRITER_PRAGMAS:
                connection.execute(pragma).fetchall()
            _bring_up_to_date(connection, version)
    except BaseException:
        connection.close()
        raise
    return connection


def _bring_up_to_date(connection: sqlite3.Connection, version: int) -> None:
    """Apply the schemas that a recording lacks, each whole or not at all."""
    for number, text in schema_texts().items():
        if number > version:
            head = f"PRAGMA application_id = {APPLICATION_ID};\nPRAGMA user_version = {number};"
            connection.executescript(f"BEGIN IMMEDIATE;\n{text}\n{head}\nCOMMIT;")


def leave_plain(connection: sqlite3.Connection) -> bool:
    """Give back unused pages and leave one plain file without companions; return whether no reader barred it."""
    with suppress(sqlite3.OperationalError):  # where the disk is full the file merely stays larger
        connection.executescript("PRAGMA incremental_vacuum")  # execute() would give back one page only
    busy = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    if busy:
        return False
    try:
        return str(connection.execute("PRAGMA journal_mode = DELETE").fetchone()[0]) == "delete"
    except sqlite3.OperationalError as error:
        if _code(error) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            return False
        raise


def copy(path: Path, target: Path) -> None:
    """Copy a recording whole, also while it is written; the copy is one plain file.

    Raises:
        WriteFailedError: the copy can't be written; nothing of it is left.
    """
    with open_to_read(path) as source:
        source.execute("COMMIT")
        try:
            with writing(target):
                copied = _connect(target, "mode=rwc")
                try:
                    source.backup(copied)
                    copied.execute("PRAGMA journal_mode = DELETE").fetchone()
                finally:
                    copied.close()
        except BaseException:
            target.unlink(missing_ok=True)
            raise

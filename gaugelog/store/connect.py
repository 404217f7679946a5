"""Connections to a recording, and what SQLite's own errors mean there.

Here: opening to read or to write, telling whether a file is a recording at all. Not here: what is in it, copying it
(`copying`).

Nothing here or elsewhere opens a recording but through SQLite: where a program opens and closes a file by itself, the
system drops the locks that SQLite holds on it in the same program (SQLite, "How To Corrupt An SQLite Database File",
section 2.2), and the next program that looks in takes the file for abandoned and its log away.
"""

from __future__ import annotations

import errno
import os
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
from gaugelog.store import seals
from gaugelog.store.schema import APPLICATION_ID, newest_version, schema_texts

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
_NO_ROOM = (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)
_DAMAGE = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def connect_to(path: Path, options: str) -> sqlite3.Connection:
    """Return a connection to a file with options of an SQLite URI; nothing is looked at yet."""
    uri = f"{path.resolve().as_uri()}?{options}"
    return sqlite3.connect(uri, uri=True, isolation_level=None, timeout=_WAIT_S)


def _code(error: sqlite3.Error) -> int:
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def identity_of(path: Path) -> tuple[int, int] | None:
    """Return what tells a file from every other on this machine, None where there is none; it isn't opened."""
    try:
        seen = os.stat(path)
    except OSError:
        return None
    return seen.st_dev, seen.st_ino


@contextmanager
def reading(path: Path) -> Iterator[None]:
    """Turn what SQLite finds wrong while reading, and rows of the wrong form, into a damaged recording."""
    try:
        yield
    except (sqlite3.Error, UnicodeError) as error:
        raise DamagedRecordingError(path, [str(error)]) from error
    except MemoryError as error:  # so SQLite puts it
        raise DamagedRecordingError(path, ["a row says a size that it can't have"]) from error
    except (TypeError, ValueError, KeyError, OverflowError) as error:
        raise DamagedRecordingError(path, [f"a row has the wrong form: {error}"]) from error


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn what SQLite finds wrong while writing into the errors of a recording."""
    try:
        yield
    except MemoryError as error:
        raise DamagedRecordingError(path, ["a row says a size that it can't have"]) from error
    except sqlite3.IntegrityError as error:
        raise ValueError(f"{path.name}: {error}") from error
    except sqlite3.Error as error:
        if _code(error) in _DAMAGE:
            raise DamagedRecordingError(path, [str(error)]) from error
        raise WriteFailedError(path, str(error)) from error
    except OSError as error:
        raise WriteFailedError(path, error.strerror or str(error)) from error


def _not_a_recording(path: Path, error: Exception) -> NotARecordingError:
    """Return in what SQLite can't make sense of a file."""
    if isinstance(error, sqlite3.Error) and _code(error) == sqlite3.SQLITE_NOTADB:
        return NotARecordingError(path, "it is no SQLite file")
    return NotARecordingError(path, str(error))


def _numbers(connection: sqlite3.Connection, path: Path) -> tuple[int, int, int]:
    """Return application number, schema number and count of tables: what tells a recording from other files."""
    try:
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    except (sqlite3.DatabaseError, UnicodeError, MemoryError) as error:
        raise _not_a_recording(path, error) from error
    return application, version, tables


def _must_be_a_recording(path: Path, application: int, version: int, tables: int) -> None:
    if not (application or version or tables):
        raise NoRecordingError(path)  # one that was cut off as it began holds nothing
    if application != APPLICATION_ID or version < 1:
        raise NotARecordingError(path, "it is an SQLite file of something else")
    if version > newest_version():
        raise NewerRecordingError(path, version, newest_version())


def _must_be_a_file(path: Path, way: int) -> None:
    """Refuse a folder, and a file that may not be opened, without opening it."""
    if path.is_dir():
        raise NotARecordingError(path, os.strerror(errno.EISDIR))
    if not os.access(path, way):
        raise NotARecordingError(path, os.strerror(errno.EACCES))


def log_path(path: Path) -> Path:
    """Return where SQLite keeps the log of a recording while it is written; it may be there after a crash as well."""
    return path.with_name(path.name + "-wal")


def must_see_all(path: Path) -> None:
    """See that SQLite, which reads a log up to its first damaged page, passes over nothing that was stored for good.

    Raises:
        DamagedRecordingError: it does.
    """
    log = log_path(path)
    if log.exists() and log.stat().st_size:
        from gaugelog.store.walog import damaged_log

        words = damaged_log(log)
        if words:
            raise DamagedRecordingError(path, [words])


def lost_log(connection: sqlite3.Connection, path: Path) -> list[str]:
    """Return in words that the log of an unfinished recording is gone, nothing where there is one or none is due.

    None is due where the last sitting has ended: its writer was cut off only as it took away its log, which was empty.
    """
    log = log_path(path)
    if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal" or (log.exists() and log.stat().st_size):
        return []
    last = connection.execute("SELECT ended_utc_us FROM sitting ORDER BY id DESC LIMIT 1").fetchone()
    if last is not None and last[0] is not None:
        return []
    return ["it was not finished, and its -wal file with the last things stored is not beside it, or empty"]


def _connect_to_read(path: Path) -> sqlite3.Connection:
    """Return a connection that can't write, also where nothing can be written beside the file."""
    connection = connect_to(path, "mode=ro")
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError as error:
        connection.close()
        if _code(error) == sqlite3.SQLITE_READONLY:
            return _taken_back(path, error)
        if _code(error) not in (sqlite3.SQLITE_CANTOPEN, *_NO_ROOM):
            raise
        log = log_path(path)
        if log.exists() and log.stat().st_size:
            if _code(error) in _NO_ROOM:
                detail = "it was not finished, and there is no room for the index that reading it takes"
                raise WriteFailedError(path, detail) from error
            raise _unfinished(path) from error
        return connect_to(path, "mode=ro&immutable=1")
    except BaseException:
        connection.close()
        raise
    return connection


def _unfinished(path: Path) -> NotARecordingError:
    detail = "it was not finished, and its folder can't be written; copy it with the files beside it elsewhere"
    return NotARecordingError(path, detail)


def _taken_back(path: Path, error: sqlite3.Error) -> sqlite3.Connection:
    """Return a connection that can't write to a recording whose writer was cut off in its very last step.

    That step changes the head of the file under a journal; who opens the file next has to take it back first.
    """
    try:
        connection = connect_to(path, "mode=rw")
        try:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        finally:
            connection.close()
        return connect_to(path, "mode=ro")
    except sqlite3.OperationalError:
        raise _unfinished(path) from error


@contextmanager
def open_to_read(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a recording for one short transaction: everything read within is of one moment.

    Raises:
        NoRecordingError: there is no such file.
        NotARecordingError: it is something else.
        NewerRecordingError: a newer version made it.
        DamagedRecordingError: SQLite finds it damaged.
        WriteFailedError: it was not finished, and the disk is too full even to read it.
    """
    if not path.exists():
        raise NoRecordingError(path)
    _must_be_a_file(path, os.R_OK)
    try:
        connection = _connect_to_read(path)
    except (sqlite3.Error, UnicodeError, MemoryError) as error:
        raise _not_a_recording(path, error) from error
    try:
        with reading(path):
            connection.execute("BEGIN")
            _must_be_a_recording(path, *_numbers(connection, path))
            yield connection
    finally:
        connection.close()


def open_to_write(path: Path) -> sqlite3.Connection:
    """Open or begin a recording; the caller holds its lock.

    Raises:
        NotARecordingError, NewerRecordingError: the file is left as it is.
        DamagedRecordingError: its log is damaged; writing would destroy what could be rescued.
        WriteFailedError: it can't be written.
    """
    must_see_all(path)
    if path.exists():
        _must_be_a_file(path, os.R_OK)
    with writing(path):
        connection = connect_to(path, "mode=rwc")
    try:
        with writing(path):
            application, version, tables = _numbers(connection, path)
            begun = bool(application or version or tables)  # one that was cut off while it began holds nothing
            if begun:
                _must_be_a_recording(path, application, version, tables)
            for pragma in _WRITER_PRAGMAS:
                connection.execute(pragma).fetchall()
            seals.seal_what_is_written(connection)
            _bring_up_to_date(connection, version)
            seals.put_triggers(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def _bring_up_to_date(connection: sqlite3.Connection, version: int) -> None:
    """Apply the schemas that a recording lacks, each whole or not at all."""
    for number, text in schema_texts().items():
        if number > version:
            head = f"PRAGMA application_id = {APPLICATION_ID};\nPRAGMA user_version = {number};"
            sealing = "\n".join(seals.sealing_statements()) if number == seals.sealed_from() else ""
            connection.executescript(f"BEGIN IMMEDIATE;\n{text}\n{sealing}\n{head}\nCOMMIT;")


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

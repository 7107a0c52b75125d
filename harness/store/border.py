"""The one border where errors of SQLite, PostgreSQL, SQLAlchemy and the file system become ours; the cause is kept."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from harness.errors import StoreError, StoreUnavailable

FOREIGN = (SQLAlchemyError, sqlite3.Error, OSError, OverflowError, UnicodeError)
"""Everything that the database and its file can raise."""

_ELSEWHERE = "or name another store with --store"

# By primary result code of SQLite; a code that is not here is an error of the store without better words.
WORDS: dict[int, tuple[type[StoreError], str]] = {
    sqlite3.SQLITE_BUSY: (StoreUnavailable, f"another process holds the lock: wait until it is done, {_ELSEWHERE}"),
    sqlite3.SQLITE_LOCKED: (StoreUnavailable, f"a table is locked: wait until its user is done, {_ELSEWHERE}"),
    sqlite3.SQLITE_PROTOCOL: (StoreUnavailable, f"the lock cannot be had: wait and try again, {_ELSEWHERE}"),
    sqlite3.SQLITE_FULL: (StoreUnavailable, f"the disk is full: free some space, {_ELSEWHERE}"),
    sqlite3.SQLITE_READONLY: (StoreUnavailable, f"it is read-only: make file and folder writable, {_ELSEWHERE}"),
    sqlite3.SQLITE_PERM: (StoreUnavailable, f"access is not permitted: change the file's permissions, {_ELSEWHERE}"),
    sqlite3.SQLITE_AUTH: (StoreUnavailable, f"access is not permitted: change the file's permissions, {_ELSEWHERE}"),
    sqlite3.SQLITE_CANTOPEN: (
        StoreUnavailable,
        f"the file cannot be opened: see that it and its folder exist and may be written, {_ELSEWHERE}",
    ),
    sqlite3.SQLITE_IOERR: (StoreUnavailable, f"the disk reports an error: look at the disk, {_ELSEWHERE}"),
    sqlite3.SQLITE_NOTADB: (StoreUnavailable, f"the file is not a database: name the right file, {_ELSEWHERE}"),
    sqlite3.SQLITE_CORRUPT: (StoreError, f"the file is damaged: keep a copy, restore it from a backup, {_ELSEWHERE}"),
    sqlite3.SQLITE_CONSTRAINT: (StoreError, "it contradicts what is stored already: record each thing once"),
    sqlite3.SQLITE_TOOBIG: (StoreError, "a record is too large for the store: shorten the record length"),
    sqlite3.SQLITE_NOMEM: (StoreError, "there is not enough memory"),
}

# By the beginning of PostgreSQL's error code, the longest that fits; without a code the connection itself has failed.
SERVER_WORDS: dict[str, tuple[type[StoreError], str]] = {
    "": (StoreError, ""),
    "08": (StoreUnavailable, "the server cannot be reached: see that it runs, and that address and network are right"),
    "22": (StoreError, "a number or a text is of a kind that the server cannot hold"),
    "23": (StoreError, "it contradicts what is stored already: record each thing once"),
    "25006": (StoreUnavailable, f"it is read-only: name the server that takes writing, {_ELSEWHERE}"),
    "28": (StoreUnavailable, "the server refuses the login: see user, password and the server's list of who may enter"),
    "3D": (StoreUnavailable, "there is no such database on the server: create it, or name another one"),
    "40": (StoreUnavailable, "another process was in the way: try again"),
    "42501": (StoreUnavailable, "the user may not do that: have the rights granted, or name another user"),
    "53": (StoreUnavailable, "the server is short of room: free some"),
    "53100": (StoreUnavailable, "the server's disk is full: free some space"),
    "53300": (StoreUnavailable, "the server has too many connections: close some, or raise its limit"),
    "55P03": (StoreUnavailable, "another process holds the lock: wait until it is done"),
    "57P": (StoreUnavailable, "the server is stopping or starting: wait until it is up"),
    "58": (StoreUnavailable, "the server's disk reports an error: look at the disk"),
    "XX": (StoreError, "the server's data are damaged: restore them from a backup"),
}


@contextmanager
def border(place: str, doing: str) -> Iterator[None]:
    """Let only errors of ours out.

    Args:
        place: the store as the user named it.
        doing: what was being done, such as `recording reading 7 of run x`.
    Raises:
        StoreUnavailable: missing, locked, read-only, full, or not a database.
        StoreError: anything else, damage above all.
    """
    try:
        yield
    except FOREIGN as error:
        raise translated(error, place, doing) from error


def translated(error: BaseException, place: str, doing: str) -> StoreError:
    """The error of ours for one of theirs."""
    cause: BaseException | None = error
    if isinstance(error, DBAPIError):
        cause = error.orig
    kind, words = StoreError, ""
    if isinstance(cause, sqlite3.Error):
        code = getattr(cause, "sqlite_errorcode", None)
        # The low byte is the primary code; the rest says more about it than a user can act on.
        kind, words = WORDS.get(code & 0xFF if code is not None else -1, (StoreError, ""))
    elif cause is not None and hasattr(cause, "sqlstate"):
        kind, words = _server_words(cause.sqlstate or "08")
    elif isinstance(cause, OSError):
        kind, words = StoreUnavailable, f"the system refuses: see that file and folder may be used, {_ELSEWHERE}"
    elif isinstance(cause, OverflowError):
        words = "a number is too large: allowed are whole numbers of 64 bits"
    elif isinstance(cause, UnicodeError):
        words = "a text cannot be encoded: allowed is UTF-8 without lone surrogates"
    return kind(f"store {place}: {doing}: {words + ' ' if words else ''}({' '.join(str(cause).split())})")


def _server_words(code: str) -> tuple[type[StoreError], str]:
    return next(SERVER_WORDS[code[:length]] for length in range(len(code), -1, -1) if code[:length] in SERVER_WORDS)

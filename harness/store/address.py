"""Which file or server a store's address means."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from harness.errors import StoreUnavailable, UsageError

_ALLOWED = "allowed: a file's path, sqlite:///path, or postgresql://user@server/database"


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """A store's file and how the user named it."""

    shown: str
    """For messages."""
    path: Path

    def uri(self, mode: str) -> str:
        """The file's URI for SQLite; `mode` is ro, rw or rwc."""
        return f"{self.path.absolute().as_uri()}?mode={mode}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ServerAddress:
    """A store's database on a server."""

    shown: str
    """For messages; without a password."""
    url: URL


def read_address(url: str) -> Address | ServerAddress:
    """The file or the server's database that a bare path or an URL means.

    Raises:
        UsageError: not a path and not an URL of a kind that is known; an URL without a file or database.
    """
    if not re.match(r"[A-Za-z][A-Za-z0-9+.-]*://", url):
        return _of_path(url, url)
    scheme = url.split("://", 1)[0]
    # Only the scheme is shown: the rest of an URL may hold a password.
    if scheme not in ("sqlite", "sqlite+pysqlite", "postgresql", "postgresql+psycopg"):
        raise UsageError(f"store {scheme}://...: this kind of database is not known; {_ALLOWED}")
    try:
        parsed = make_url(url)
    except (ArgumentError, ValueError) as error:
        raise UsageError(f"store {scheme}://...: not an URL ({error}); {_ALLOWED}") from error
    if scheme.startswith("postgresql"):
        return _of_server(parsed)
    if parsed.host or parsed.query:
        raise UsageError(f"store {url}: a host or options in the URL; {_ALLOWED} (three strokes before the path)")
    return _of_path(parsed.database or "", url)


def _of_path(text: str, shown: str) -> Address:
    if text in ("", ":memory:") or "\0" in text:
        raise UsageError(f"store {shown!r}: names no file, and a record must outlive its process; {_ALLOWED}")
    return Address(shown=shown, path=Path(text))


def _of_server(parsed: URL) -> ServerAddress:
    # Of the options only where the server is: others may hold a password.
    where = {name: value for name, value in parsed.query.items() if name in ("host", "port")}
    shown = parsed.set(drivername="postgresql", query=where).render_as_string(hide_password=True)
    if not parsed.database:
        raise UsageError(f"store {shown}: names no database; {_ALLOWED}")
    return ServerAddress(shown=shown, url=parsed.set(drivername="postgresql+psycopg"))


def require_file(address: Address, *, may_create: bool) -> None:
    """Refuse an address at which no store can be, in better words than the database has.

    Raises:
        StoreUnavailable: the folder is missing, the path is a folder, or nothing is there and nothing may be created.
    """
    path = address.path
    if path.is_dir():
        raise StoreUnavailable(
            f"store {address.shown}: this is a folder; name a file in it, such as {path / 'runs.db'}"
        )
    if not path.parent.is_dir():
        raise StoreUnavailable(
            f"store {address.shown}: there is no folder {path.parent}: create it, or name another store with --store"
        )
    if not may_create and not path.exists():
        raise StoreUnavailable(
            f"store {address.shown}: nothing is there: the first sweep creates it; else name another store with --store"
        )

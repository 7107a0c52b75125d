"""A store on a PostgreSQL server, for many stations."""

from __future__ import annotations

import importlib.util

from sqlalchemy import Connection, Engine, create_engine, event, func, select
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlalchemy.pool import ConnectionPoolEntry, NullPool, Pool, QueuePool

from harness.errors import StoreUnavailable
from harness.store.address import ServerAddress
from harness.store.connect import Reader, Writer

CONNECT_S = 5
LOCK_S = 5
"""How long the lock of another process is waited for."""


def server_reader(address: ServerAddress) -> Reader:
    """Reads from a server; each transaction sees one moment. A connection is kept, for making one takes longer."""
    engine = _engine(address, QueuePool).execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
    return Reader(engine, address.shown)


class ServerWriter(Writer):
    """Writes to a server; connects anew by itself after the server was stopped and started."""

    def __init__(self, address: ServerAddress) -> None:
        super().__init__(_engine(address, NullPool), address.shown)
        try:
            with self.transaction("opening") as connection:
                require_encoding(str(connection.exec_driver_sql("SHOW server_encoding").scalar()), address.shown)
        except BaseException:
            self.close()
            raise


def require_encoding(encoding: str, place: str) -> None:
    """Refuse a database that cannot hold every letter that a unit, an operator or an instrument may bring.

    Raises:
        StoreUnavailable: another encoding than UTF-8.
    """
    if encoding != "UTF8":
        raise StoreUnavailable(
            f"store {place}: the database's encoding is {encoding}; allowed is UTF8: create another one "
            "(CREATE DATABASE ... ENCODING 'UTF8' TEMPLATE template0)"
        )


def require_driver(address: ServerAddress) -> None:
    """Say what is missing before the library does.

    Raises:
        StoreUnavailable: psycopg is not installed.
    """
    if importlib.util.find_spec("psycopg") is None:
        raise StoreUnavailable(
            f"store {address.shown}: a PostgreSQL server needs psycopg, which is not installed: "
            "pip install 'gainladder[postgres]'"
        )


def _engine(address: ServerAddress, pool: type[Pool]) -> Engine:
    require_driver(address)
    # A kept connection is tried before it is used: the server may have been started anew meanwhile.
    engine = create_engine(
        address.url, poolclass=pool, pool_pre_ping=True, connect_args={"connect_timeout": CONNECT_S}
    )

    @event.listens_for(engine, "connect")
    def _connect(connection: DBAPIConnection, _entry: ConnectionPoolEntry) -> None:
        cursor = connection.cursor()
        cursor.execute(f"SET lock_timeout = '{LOCK_S}s'")
        # A server may be set not to wait for its disk; what is announced as recorded must be on it.
        cursor.execute(
            "SELECT set_config('synchronous_commit', 'on', false) WHERE current_setting('synchronous_commit') = 'off'"
        )
        cursor.close()
        connection.commit()

    return engine


def hold(connection: Connection, what: str) -> None:
    """Let one process at a time work on a thing, until the transaction ends; SQLite's one lock does so by itself."""
    if connection.dialect.name == "postgresql":
        connection.execute(select(func.pg_advisory_xact_lock(func.hashtextextended(what, _OURS))))


_OURS = 0x6761696E
"""Keeps these locks apart from those of other programs on the server."""

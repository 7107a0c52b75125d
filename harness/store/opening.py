"""Opens a store, and makes it when it is new."""

from __future__ import annotations

from harness.store.address import Address, ServerAddress, read_address, require_file
from harness.store.border import border
from harness.store.connect import Reader, Writer
from harness.store.file import FileWriter, file_reader
from harness.store.migrate import bring_up, prove_writable, require_new_or_ours, require_version
from harness.store.schema import VERSION
from harness.store.server import ServerWriter, server_reader
from harness.store.store import Store


def open_store(url: str, *, read_only: bool = False) -> Store:
    """Open a store; close it, or use it as a context manager. One of an older schema is brought up to today's.

    Args:
        url: a file's path, `sqlite:///path`, or `postgresql://user@server/database`.
        read_only: for commands that only look: creates and changes nothing (an older schema is read as it is), takes
            no lock, and works on a store that another process is writing to or that may not be written.
    Returns:
        the store; unless `read_only`, proven to be writable now.
    Raises:
        UsageError: not a path and not an URL of a known kind.
        StoreUnavailable: no folder, not a file, read-only, locked, full, not a database; no such server.
        SchemaMismatch: written by a newer version, or another program's database.
    """
    address = read_address(url)
    if isinstance(address, Address):
        with border(address.shown, "opening"):
            require_file(address, may_create=not read_only)
    reader = reader_of(address)
    try:
        return _opened(address, reader, read_only=read_only)
    except BaseException:
        reader.close()
        raise


def _opened(address: Address | ServerAddress, reader: Reader, *, read_only: bool) -> Store:
    if read_only:
        with reader.transaction("opening") as connection:
            version = require_version(connection, address.shown)
        return Store(address, reader, writer=None, version=version)
    writer = _writer(address, reader)
    try:
        with writer.transaction("opening") as connection:
            bring_up(connection, address.shown)
            prove_writable(connection)
    except BaseException:
        writer.close()
        raise
    return Store(address, reader, writer=writer, version=VERSION)


def reader_of(address: Address | ServerAddress) -> Reader:
    """What reads from an address; opens nothing yet."""
    return file_reader(address) if isinstance(address, Address) else server_reader(address)


def _writer(address: Address | ServerAddress, reader: Reader) -> Writer:
    if isinstance(address, ServerAddress):
        return ServerWriter(address)
    with border(address.shown, "opening"):
        used = address.path.exists() and address.path.stat().st_size > 0
    # A foreign file must be refused before the journal mode, which is kept in the file, is set.
    if used:
        with reader.transaction("opening") as connection:
            require_new_or_ours(connection, address.shown)
    return FileWriter(address, may_create=True)

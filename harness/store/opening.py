"""Opens a store, and makes it when it is new."""

from __future__ import annotations

from harness.store.address import read_address, require_file
from harness.store.border import border
from harness.store.file import FileWriter, file_reader
from harness.store.migrate import bring_up, prove_writable, require_new_or_ours, require_version
from harness.store.schema import VERSION
from harness.store.store import Store


def open_store(url: str, *, read_only: bool = False) -> Store:
    """Open a store; close it, or use it as a context manager. One of an older schema is brought up to today's.

    Args:
        url: a file's path, or `sqlite:///path`.
        read_only: for commands that only look: creates and changes nothing (an older schema is read as it is), takes
            no lock, and works on a store that another process is writing to or that may not be written.
    Returns:
        the store; unless `read_only`, proven to be writable now.
    Raises:
        UsageError: not a path and not an URL of a known kind.
        StoreUnavailable: no folder, not a file, read-only, locked, full, not a database.
        SchemaMismatch: written by a newer version, or another program's database.
    """
    address = read_address(url)
    with border(address.shown, "opening"):
        require_file(address, may_create=not read_only)
        used = address.path.exists() and address.path.stat().st_size > 0
    if read_only:
        with file_reader(address).transaction("opening") as connection:
            version = require_version(connection, address.shown)
        return Store(address, writer=None, version=version)
    # A foreign file must be refused before the journal mode, which is kept in the file, is set.
    if used:
        with file_reader(address).transaction("opening") as connection:
            require_new_or_ours(connection, address.shown)
    writer = FileWriter(address, may_create=True)
    try:
        with writer.transaction("opening") as connection:
            bring_up(connection, address.shown)
            prove_writable(connection)
    except BaseException:
        writer.close()
        raise
    return Store(address, writer=writer, version=VERSION)

"""A copy of a store's file, consistent though a run is being recorded meanwhile."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path

from sqlalchemy import select

from harness.errors import StoreUnavailable, UsageError
from harness.store.address import Address
from harness.store.border import border
from harness.store.file import file_reader
from harness.store.migrate import require_version
from harness.store.schema import RUNS


def backup(address: Address, target: Path) -> None:
    """Copy a store to another file: the whole copy appears at once under its name, or nothing does.

    Args:
        address: the store; it may be written to meanwhile, and waits for nothing.
        target: a new file, or an older backup of this store, which is replaced.
    Raises:
        UsageError: the target is the store itself, a folder, another file, or a store with runs that this one has not.
        StoreUnavailable: no such folder, or no room; also when the copy is not whole.
    """
    doing = f"backing up to {target}"
    beside = target.with_name(f".{target.name}.{os.getpid()}")
    with border(address.shown, doing):
        _require_target(address, target)
        try:
            _copy(address, beside, doing)
            os.replace(beside, target)
            _sync(target.parent)
        finally:
            beside.unlink(missing_ok=True)


def _copy(address: Address, beside: Path, doing: str) -> None:
    source = contextlib.closing(sqlite3.connect(address.uri("ro"), uri=True))
    with source as read, contextlib.closing(sqlite3.connect(beside, isolation_level=None)) as written:
        # In one step, which reads one moment of the store; a run that is recorded meanwhile goes on beside it.
        read.backup(written)
        # One file by itself, without a log beside it: it can be read from a medium that takes no writing.
        written.execute("PRAGMA journal_mode = DELETE").fetchall()
        found = " ".join(written.execute("PRAGMA quick_check(1)").fetchone()[0].split())
    if found != "ok":
        raise StoreUnavailable(
            f"store {address.shown}: {doing}: the copy is not whole ({found}): see `gainladder store check`, "
            "the older backup was kept"
        )
    _sync(beside)


def _require_target(address: Address, target: Path) -> None:
    if not target.parent.is_dir():
        raise StoreUnavailable(f"backup {target}: there is no folder {target.parent}: create it, or name another file")
    if not target.exists():
        return
    if target.is_dir():
        raise UsageError(f"backup {target}: got a folder; allowed is a file in it, such as {target / 'runs.db'}")
    if target.samefile(address.path):
        raise UsageError(f"backup {target}: this is the store itself; allowed is another file")
    if target.stat().st_size:
        strangers = _runs(Address(shown=str(target), path=target)) - _runs(address)
        if strangers:
            raise UsageError(
                f"backup {target}: is there already and holds {len(strangers)} runs that this store has not, such as "
                f"{min(strangers)}; allowed is a new file, or an older backup of this store"
            )


def _runs(address: Address) -> set[str]:
    with file_reader(address).transaction("opening") as connection:
        require_version(connection, address.shown)
        return set(connection.execute(select(RUNS.c.run_id)).scalars())


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

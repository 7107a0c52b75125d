"""Whether there is room for what is going to be recorded."""

from __future__ import annotations

import shutil

from harness.errors import StoreUnavailable
from harness.store.address import Address
from harness.store.border import border

RESERVE_BYTES = 64_000_000
"""For the write-ahead log, which holds a second copy for a while, and for everybody else on the disk."""


def require_room(address: Address, wanted_bytes: int) -> None:
    """Refuse to begin what will not end for want of space.

    Raises:
        StoreUnavailable: the disk has less free than is wanted and a reserve.
    """
    free_bytes = room_bytes(address)
    needed = wanted_bytes + RESERVE_BYTES
    if free_bytes < needed:
        raise StoreUnavailable(
            f"store {address.shown}: {free_bytes / 1e6:.0f} MB free, about {needed / 1e6:.0f} MB needed for the whole "
            "run: free some space, or name another store with --store; nothing was begun"
        )


def room_bytes(address: Address) -> int:
    """How much the disk has free."""
    with border(address.shown, "looking for free space"):
        return shutil.disk_usage(address.path.absolute().parent).free

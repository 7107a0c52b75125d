"""Which units walk the whole ladder although their job has a short one."""

from __future__ import annotations

import hashlib


def is_audited(unit: str, *, every: int) -> bool:
    """Whether a unit is one of those that are audited.

    By the hash of the serial number: the same unit always and on every station, and no pattern of a production line
    that serial numbers may share. Of many units one in `every` is audited, of a few perhaps none or two.

    Args:
        unit: its serial number.
        every: one unit of so many; 0 for none, 1 for all.
    Returns:
        whether it walks the whole ladder.
    """
    if every == 0:
        return False
    return int.from_bytes(hashlib.sha256(unit.encode()).digest()[:8]) % every == 0

"""What is kept of dropped raw data, as a row and back; and the hashes by which the chain goes on past what is gone."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, select

from harness.errors import StoreError
from harness.store.chain import Gone, kept_hash
from harness.store.schema import DROPPED, since_of
from harness.values import Kept, KeptWord, Quality, SineFit

BLOBS = ("codes", "bus_times_ns", "bus_levels", "bus_unknown")
"""Columns of a reading that are its raw data."""
_ENCODER = json.JSONEncoder(separators=(",", ":"), allow_nan=False)

Dropped = Mapping[int, Mapping[str, Any]]
"""Rows of what was dropped in one run, by reading."""


def dropped_row(kept: Kept, reading: Mapping[str, Any]) -> dict[str, Any]:
    """The row that stands for the raw data of a reading's row.

    Raises:
        StoreError: a number that was kept is not finite.
    """
    numbers = {
        "reason": kept.reason,
        "fit": None if kept.fit is None else dataclasses.asdict(kept.fit),
        "quality": None if kept.quality is None else dataclasses.asdict(kept.quality),
        "words": [dataclasses.asdict(word) for word in kept.words],
    }
    blobs = {name: hashlib.sha256(reading[name]).hexdigest() for name in BLOBS if reading[name] is not None}
    try:
        row = {
            "reading": reading["reading"], "at_utc": kept.at_utc, "rule": kept.rule, "outcome": kept.outcome,
            "limits": kept.limits_sha256, "numbers": _ENCODER.encode(numbers), "blobs": _ENCODER.encode(blobs),
        }  # fmt: skip
    except ValueError as error:
        raise StoreError(
            f"reading {reading['reading']}: what is to be kept of it is not finite ({error}): nothing was dropped"
        ) from error
    return {**row, "own_hash": kept_hash(row, reading["own_hash"])}


def kept_of(row: Mapping[str, Any], scale_v_per_code: float | None) -> Kept:
    """What was kept, of its row and the scale in the reading's own.

    Raises:
        ValueError, TypeError, KeyError: the row is damaged.
    """
    numbers = json.loads(row["numbers"])
    fit, quality = numbers["fit"], numbers["quality"]
    return Kept(
        rule=row["rule"],
        at_utc=row["at_utc"],
        outcome=row["outcome"],
        limits_sha256=row["limits"],
        reason=numbers["reason"],
        fit=None if fit is None else SineFit(**fit),
        quality=None if quality is None else Quality(**quality),
        words=tuple(KeptWord(**word) for word in numbers["words"]),
        scale_v_per_code=scale_v_per_code,
    )


def dropped_of(connection: Connection, version: int, run: int, *, after: int = -1, last: int | None = None) -> Dropped:
    """What was dropped in a run, behind one reading and up to another; nothing in a store from before."""
    if version < since_of(DROPPED):
        return {}
    query = select(DROPPED).where(DROPPED.c.run == run, DROPPED.c.reading > after)
    query = query if last is None else query.where(DROPPED.c.reading <= last)
    return {row.reading: row._asdict() for row in connection.execute(query)}


def with_gone(reading: Mapping[str, Any], dropped: Mapping[str, Any] | None) -> Mapping[str, Any]:
    """A reading's row as its hash was made: the hash of each array that is gone stands in its place.

    Raises:
        ValueError, AttributeError: the row of what was dropped is damaged.
    """
    if dropped is None:
        return reading
    gone = {name: Gone(sha256) for name, sha256 in json.loads(dropped["blobs"]).items() if reading[name] is None}
    return {**reading, **gone}

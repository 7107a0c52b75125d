"""The store's tables as Parquet files, for programs that look at many runs at once; arrays stand in them unpacked."""

from __future__ import annotations

import importlib.util
import os
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import numpy as np
from sqlalchemy import Double, LargeBinary, Select, Table, select

from harness.errors import StoreError, StoreUnavailable, UsageError
from harness.store.blobs import CODES, LEVELS, TIMES, unpacked
from harness.store.border import border
from harness.store.schema import DROPPED, EVENTS, FILES, READINGS, RUN_FILES, RUNS, SUMMARIES, columns_at, since_of
from harness.store.store import Store
from harness.store.types import AnyText

if TYPE_CHECKING:
    import pyarrow as pa

_ROWS = 128
"""Readings in memory at a time, and in one group of a file."""

ARRAYS: dict[str, tuple[np.dtype[Any], str]] = {
    "codes": (CODES, "samples"),
    "bus_times_ns": (TIMES, "bus_events"),
    "bus_levels": (LEVELS, "bus_events"),
    "bus_unknown": (LEVELS, "bus_events"),
}
"""Packed columns: type of a value, and the column that tells how many there are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported:
    """What was written."""

    files: int
    runs: int
    readings: int


def export_parquet(store: Store, folder: Path) -> Exported:
    """Write runs, files, journal, and the readings of each run, into a folder.

    The folder gets `runs.parquet`, `run_files.parquet`, `files.parquet`, `events.parquet`, `dropped.parquet` (what is
    kept of raw data that were dropped), `summaries.parquet` (each judged run in short) and `readings/RUN.parquet`. A
    file appears whole or not at all; one from before is replaced. In place of a run's number stands its id.

    Raises:
        StoreUnavailable: pyarrow is not installed; no such folder, or no room.
        UsageError: the folder is a file.
        StoreError: a record is damaged; names the reading.
    """
    if importlib.util.find_spec("pyarrow") is None:
        raise StoreUnavailable(
            "export to Parquet needs pyarrow, which is not installed: pip install 'gainladder[parquet]'"
        )
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"export to {folder}: got a file; allowed is a folder, which need not be there yet")
    with border(store.place, f"exporting to {folder}"):
        (folder / "readings").mkdir(parents=True, exist_ok=True)
        with store.viewing("listing runs") as connection:
            rows = connection.execute(select(RUNS.c.number, RUNS.c.run_id).order_by(RUNS.c.number))
            ids = {row.number: row.run_id for row in rows}
        later = [one for one in (DROPPED, SUMMARIES) if store.version >= since_of(one)]
        tables = (RUNS, RUN_FILES, FILES, EVENTS, *later)
        for table in tables:
            query = select(*columns_at(table, store.version)).order_by(*table.primary_key.columns)
            key = SUMMARIES.c.run if table is SUMMARIES else None
            _write(folder / f"{table.name}.parquet", table, _pages(store, query, key), ids)
        readings = 0
        for number, run_id in ids.items():
            query = select(*columns_at(READINGS, store.version)).where(READINGS.c.run == number)
            pages = _pages(store, query.order_by(READINGS.c.reading), READINGS.c.reading)
            readings += _write(folder / "readings" / f"{quote(run_id, safe='')}.parquet", READINGS, pages, ids)
    return Exported(files=len(tables) + len(ids), runs=len(ids), readings=readings)


def _pages(store: Store, query: Select[Any], key: Any) -> Iterator[list[dict[str, Any]]]:
    """Rows some at a time, each page in a short transaction; without a key all of them at once."""
    last = None
    while True:
        page = query if last is None else query.where(key > last)
        with store.viewing("reading for an export") as connection:
            rows = [row._asdict() for row in connection.execute(page.limit(_ROWS) if key is not None else page)]
        if rows:
            yield rows
        if key is None or len(rows) < _ROWS:
            return
        last = rows[-1][key.name]


def _write(path: Path, table: Table, pages: Iterator[list[dict[str, Any]]], ids: dict[int, str]) -> int:
    import pyarrow as pa
    import pyarrow.parquet as pq

    schema = _schema(table)
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    count = 0
    try:
        with pq.ParquetWriter(beside, schema, compression="zstd") as writer:
            for rows in pages:
                count += len(rows)
                columns = {name: [_value(row, name, ids) for row in rows] for name in schema.names}
                arrays = [pa.array(columns[field.name], type=field.type) for field in schema]
                writer.write_batch(pa.record_batch(arrays, schema=schema))
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)
    return count


def _schema(table: Table) -> pa.Schema:
    import pyarrow as pa

    fields = []
    for column in table.columns:
        if column.name == "number":
            continue
        if column.name == "run":
            fields.append(("run_id", pa.string()))
        elif isinstance(column.type, LargeBinary):
            fields.append((column.name, pa.list_(pa.from_numpy_dtype(ARRAYS[column.name][0].newbyteorder("=")))))
        else:
            kinds = {Double: pa.float64(), AnyText: pa.string()}
            fields.append((column.name, kinds.get(type(column.type), pa.int64())))
    return pa.schema(fields)


def _value(row: dict[str, Any], name: str, ids: dict[int, str]) -> Any:
    if name == "run_id" and "run" in row:
        return ids[row["run"]]
    value = row[name]
    if name not in ARRAYS or value is None:
        return value
    kind, count = ARRAYS[name]
    try:
        return unpacked(value, kind, row[count], name)
    except (StoreError, ValueError, zlib.error) as error:
        raise StoreError(
            f"run {ids[row['run']]}, reading {row['reading']}: the record is damaged ({error}): nothing was exported "
            "of this run; see `gainladder store check`"
        ) from error

"""A run's header as rows, and back; the text of a configuration file is kept once, under its hash."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, Row, func, insert, select, update

from harness.errors import RunExists, StoreError
from harness.store.blobs import listed, texts
from harness.store.chain import header_hash
from harness.store.schema import FILES, READINGS, RUN_FILES, RUNS, VERSION, columns_at
from harness.store.server import hold
from harness.values import BOOK, ConfigFile, Identity, NightPlace, RunHeader, RunInfo


def require_hashes(header: RunHeader) -> None:
    """Refuse a file whose text is not the one of its hash: under that hash all runs would read it.

    Raises:
        StoreError: hash and text of a file differ.
    """
    for file in header.files:
        true = hashlib.sha256(file.text.encode("utf-8", "surrogatepass")).hexdigest()
        if file.sha256 != true:
            raise StoreError(
                f"run {header.run_id}: file {file.path} ({file.role}): sha256 is {file.sha256!r}, but its text has "
                f"{true}: hash the text that is handed over; nothing was recorded"
            )


def insert_run(connection: Connection, header: RunHeader) -> int:
    """Write a header; the number of the run.

    Raises:
        RunExists: the id is taken.
    """
    if connection.execute(select(RUNS.c.number).where(RUNS.c.run_id == header.run_id)).first() is not None:
        raise RunExists(f"run {header.run_id}: this id is in the store already; allowed is a new one")
    row = {
        "run_id": header.run_id,
        "unit": header.unit,
        "operator": header.operator,
        "started_utc": header.started_utc,
        "mode": header.mode,
        "seed": None if header.seed is None else str(header.seed),
        "faults": listed(header.faults),
        "planned": int(header.planned),
        "identities": listed(
            [(role, it.manufacturer, it.model, it.serial, it.firmware) for role, it in header.identities]
        ),
        "software": header.software,
        "night": "" if header.night is None else json.dumps(dataclasses.asdict(header.night), separators=(",", ":")),
    }
    number = int(connection.execute(insert(RUNS).returning(RUNS.c.number), row).scalar_one())
    _insert_files(connection, number, header.files)
    head = header_hash(connection, number, VERSION)
    connection.execute(update(RUNS).where(RUNS.c.number == number), {"chain_head": head, "journal_head": head})
    return number


def insert_texts(connection: Connection, by_hash: Mapping[str, str]) -> None:
    """Keep each text once, under its hash."""
    # Two stations may begin with the same files at the same moment.
    hold(connection, "files")
    known = set(connection.execute(select(FILES.c.sha256).where(FILES.c.sha256.in_(by_hash))).scalars())
    for sha256, text in by_hash.items():
        if sha256 not in known:
            connection.execute(insert(FILES), {"sha256": sha256, "text": text})


def _insert_files(connection: Connection, run: int, files: tuple[ConfigFile, ...]) -> None:
    insert_texts(connection, {file.sha256: file.text for file in files})
    for position, file in enumerate(files):
        row = {"role": file.role, "path": file.path, "version": int(file.version), "sha256": file.sha256}
        connection.execute(insert(RUN_FILES), {"run": run, "position": position, **row})


def read_infos(connection: Connection, version: int, run_id: str | None = None) -> tuple[RunInfo, ...]:
    """One run, or all but books, newest first, from a store whose schema is of a version."""
    query = select(*columns_at(RUNS, version)).order_by(RUNS.c.number.desc())
    query = query.where(RUNS.c.mode != BOOK if run_id is None else RUNS.c.run_id == run_id)
    rows = connection.execute(query).all()
    numbers = [row.number for row in rows]
    counting = select(READINGS.c.run, func.count()).group_by(READINGS.c.run)
    naming = select(*columns_at(RUN_FILES, version)).order_by(RUN_FILES.c.run, RUN_FILES.c.position)
    if run_id is not None:
        counting = counting.where(READINGS.c.run.in_(numbers))
        naming = naming.where(RUN_FILES.c.run.in_(numbers))
    counts = {row[0]: int(row[1]) for row in connection.execute(counting)}
    files = _files_by_run(connection, connection.execute(naming).all())
    return tuple(
        RunInfo(
            header=_header_of(row, files.get(row.number, ())),
            finished_utc=row.finished_utc,
            end=row.end,
            readings=counts.get(row.number, 0),
        )
        for row in rows
    )


def _files_by_run(connection: Connection, rows: Iterable[Row[Any]]) -> dict[int, tuple[ConfigFile, ...]]:
    text_of: dict[str, str] = {}
    files: dict[int, tuple[ConfigFile, ...]] = {}
    for row in rows:
        if row.sha256 not in text_of:
            text_of[row.sha256] = connection.execute(
                select(FILES.c.text).where(FILES.c.sha256 == row.sha256)
            ).scalar_one()
        file = ConfigFile(
            role=row.role, path=row.path, version=row.version, sha256=row.sha256, text=text_of[row.sha256]
        )
        files[row.run] = (*files.get(row.run, ()), file)
    return files


def _header_of(row: Row[Any], files: tuple[ConfigFile, ...]) -> RunHeader:
    try:
        identities = tuple(
            (role, Identity(manufacturer=manufacturer, model=model, serial=serial, firmware=firmware))
            for role, manufacturer, model, serial, firmware in json.loads(row.identities)
        )
        return RunHeader(
            run_id=row.run_id,
            unit=row.unit,
            operator=row.operator,
            started_utc=row.started_utc,
            mode=row.mode,
            seed=None if row.seed is None else int(row.seed),
            faults=texts(row.faults),
            planned=row.planned,
            identities=identities,
            files=files,
            software=row.software,
            night=NightPlace(**json.loads(row.night)) if row.night else None,
        )
    except (ValueError, TypeError) as error:
        raise StoreError(
            f"run {row.run_id}: the header is damaged ({error}): restore the store from a backup"
        ) from error

"""Runs and summaries of a folder that `gainladder store export --parquet` has written, read by DuckDB."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from harness.errors import StoreError, StoreUnavailable, UsageError
from harness.lot.choice import Head, name_of
from harness.store.summary_row import summary_of_row
from harness.values import ATTEMPT, BOOK, GOLDEN_UNIT, NOT_REPAIRED, RunSummary, says_repaired

FILES = ("runs.parquet", "run_files.parquet", "summaries.parquet", "events.parquet")
_PAGE = 1000
_HEADS = """
SELECT r.run_id, r.unit, r.started_utc, r.night <> '', r."end",
    max(CASE WHEN f.role = 'job' THEN f.path END), max(CASE WHEN f.role = 'device' THEN f.path END),
    r.run_id IN (SELECT run_id FROM read_parquet($events) WHERE kind = $golden),
    max(a.text)
FROM read_parquet($runs) r LEFT JOIN read_parquet($files) f USING (run_id)
LEFT JOIN (SELECT run_id, text FROM read_parquet($events)
           WHERE kind = $attempt AND text NOT LIKE '%' || $unrepaired) a USING (run_id)
WHERE r.mode <> $book
GROUP BY ALL ORDER BY r.started_utc, r.run_id
"""
_SUMMARIES = """
SELECT s.run_id, s.at_utc, s.software, s.limits, s.verdict, s.complete, s.seconds, s.tested, s.failing, s.facts
FROM read_parquet($summaries) s JOIN read_parquet($runs) r USING (run_id)
WHERE r.started_utc >= $since ORDER BY r.started_utc, s.run_id
"""
_NAMES = ("run_id", "at_utc", "software", "limits", "verdict", "complete", "seconds", "tested", "failing", "facts")


class ExportedLot:
    """Of a folder."""

    def __init__(self, folder: Path) -> None:
        """Look whether the folder can be read.

        Raises:
            StoreUnavailable: DuckDB is not installed.
            UsageError: a file is missing.
        """
        if importlib.util.find_spec("duckdb") is None:
            raise StoreUnavailable("--parquet needs DuckDB, which is not installed: pip install 'gainladder[lot]'")
        missing = [name for name in FILES if not (folder / name).is_file()]
        if missing:
            raise UsageError(
                f"--parquet {folder}: no {', '.join(missing)} there; allowed is a folder that `gainladder store "
                "export --parquet` has written"
            )
        self._folder = folder

    def heads(self) -> list[Head]:
        """All runs, oldest first."""
        paths = {"runs": str(self._folder / FILES[0]), "files": str(self._folder / FILES[1]),
                 "events": str(self._folder / FILES[3]), "golden": GOLDEN_UNIT, "book": BOOK,
                 "attempt": ATTEMPT, "unrepaired": NOT_REPAIRED}  # fmt: skip
        return [
            Head(run_id, unit, at, night, end, name_of(job or ""), name_of(device or ""), golden,
                 says_repaired(told or ""))
            for run_id, unit, at, night, end, job, device, golden, told in self._rows(_HEADS, paths)
        ]

    def summaries(self, heads: Sequence[Head]) -> Iterator[tuple[Head, RunSummary | None]]:
        """The runs of some heads with their summaries."""
        paths = {"runs": str(self._folder / FILES[0]), "summaries": str(self._folder / FILES[2])}
        waiting = iter(heads)
        wanted = {head.run_id for head in heads}
        for row in self._rows(_SUMMARIES, {**paths, "since": heads[0].started_utc}):
            if row[0] not in wanted:
                continue
            for head in waiting:
                if head.run_id == row[0]:
                    yield head, summary_of_row(dict(zip(_NAMES, row, strict=True)), head.run_id)
                    break
                yield head, None
        for head in waiting:
            yield head, None

    def _rows(self, query: str, values: dict[str, str]) -> Iterator[tuple[Any, ...]]:
        import duckdb

        try:
            # Sorting goes to the disk before it takes the memory that a lot may have.
            with duckdb.connect(config={"memory_limit": "400MB", "threads": 2}) as connection:
                cursor = connection.execute(query, values)
                while rows := cursor.fetchmany(_PAGE):
                    yield from rows
        except duckdb.Error as error:
            raise StoreError(
                f"--parquet {self._folder}: cannot be read ({str(error).splitlines()[0]}): export it again"
            ) from error

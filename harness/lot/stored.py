"""Runs and summaries of a store, a file or a server."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sqlalchemy import func, select

from harness.lot.choice import Head, name_of
from harness.store import Store, noted
from harness.store.schema import EVENTS, RUN_FILES, RUNS, SUMMARIES, columns_at, since_of
from harness.store.summary_row import summary_of_row
from harness.values import ATTEMPT, BOOK, GOLDEN_UNIT, NOT_REPAIRED, RunSummary, says_repaired

_PAGE = 500


class StoredLot:
    """Of an open store."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._numbers: dict[str, int] = {}

    def heads(self) -> list[Head]:
        """All runs, oldest first."""
        version = self._store.version
        naming = select(RUN_FILES.c.run, RUN_FILES.c.role, RUN_FILES.c.path).where(
            RUN_FILES.c.role.in_(("job", "device"))
        )
        with self._store.viewing("listing the runs of a lot") as connection:
            names = {(row.run, row.role): row.path for row in connection.execute(naming)}
            rows = connection.execute(select(*columns_at(RUNS, version)).where(RUNS.c.mode != BOOK)).all()
        golden = {run_id for run_id, _ in noted(self._store, GOLDEN_UNIT)}
        repaired = self._repaired()
        rows = sorted(rows, key=lambda row: (row.started_utc, row.number))
        self._numbers = {row.run_id: row.number for row in rows}
        short: dict[str, str] = {"": ""}
        for path in set(names.values()):
            short[path] = name_of(path)
        return [
            Head(
                row.run_id, row.unit, row.started_utc, bool(row.night), row.end,
                short[names.get((row.number, "job"), "")], short[names.get((row.number, "device"), "")],
                row.run_id in golden, row.run_id in repaired,
            )
            for row in rows
        ]  # fmt: skip

    def software(self, since: str, until: str) -> dict[str, int]:
        """Versions of the software that recorded runs begun from one moment to another, and how many each."""
        query = select(RUNS.c.software, func.count()).where(
            RUNS.c.started_utc >= since, RUNS.c.started_utc < until, RUNS.c.mode != BOOK
        )
        with self._store.viewing("counting versions of the software") as connection:
            return {row[0]: int(row[1]) for row in connection.execute(query.group_by(RUNS.c.software))}

    def _repaired(self) -> frozenset[str]:
        """Runs that began behind a repair; nearly all attempts say that there was none, and are not fetched."""
        told = select(RUNS.c.run_id, EVENTS.c.text).join(RUNS, RUNS.c.number == EVENTS.c.run)
        told = told.where(EVENTS.c.kind == ATTEMPT, EVENTS.c.text.not_like(f"%{NOT_REPAIRED}"))
        with self._store.viewing("looking for repairs") as connection:
            rows = connection.execute(told).all()
        return frozenset(row.run_id for row in rows if says_repaired(row.text))

    def summaries(self, heads: Sequence[Head]) -> Iterator[tuple[Head, RunSummary | None]]:
        """The runs of some heads with their summaries, a page at a time."""
        there = self._store.version >= since_of(SUMMARIES)
        for page in _pages(heads):
            numbers = {self._numbers[head.run_id]: head for head in page}
            query = select(SUMMARIES).where(SUMMARIES.c.run.in_(numbers))
            rows = {}
            if there:
                with self._store.viewing("reading the summaries of a lot") as connection:
                    rows = {row.run: row._asdict() for row in connection.execute(query)}
            for number, head in numbers.items():
                yield head, summary_of_row(rows[number], head.run_id) if number in rows else None


def _pages(heads: Sequence[Head]) -> Iterator[Sequence[Head]]:
    for begin in range(0, len(heads), _PAGE):
        yield heads[begin : begin + _PAGE]

"""What a person sees while a sweep runs: bar, time left, running count of outcomes; on stderr."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable, Iterator

from harness.values import Outcome, Reading, ReadingStatus, Rung

Tick = Callable[[int, Reading, Outcome], None]


@contextlib.contextmanager
def progress_bar(rungs: tuple[Rung, ...]) -> Iterator[Tick]:
    """A live bar on a terminal, a line each tenth elsewhere; both with the time left and the outcomes so far."""
    counts = dict.fromkeys(Outcome, 0)
    retried = 0

    def words() -> str:
        said = "  ".join(f"{outcome} {count}" for outcome, count in counts.items() if count or outcome is Outcome.PASS)
        return said + (f"  (extra tries {retried})" if retried else "")

    def count(reading: Reading, outcome: Outcome) -> None:
        nonlocal retried
        counts[outcome] += 1
        retried += reading.attempt

    if not sys.stderr.isatty():
        tenth = max(1, len(rungs) // 10)
        started_s = time.monotonic()

        def plain(done: int, reading: Reading, outcome: Outcome) -> None:
            count(reading, outcome)
            if done % tenth == 0 or done == len(rungs):
                bar = "#" * (20 * done // len(rungs))
                left_s = (time.monotonic() - started_s) * (len(rungs) - done) / done
                text = f"[{bar:<20}] {done}/{len(rungs)}  {left_s:.0f} s left  {words()}"
                print(text, file=sys.stderr, flush=True)  # noqa: T201

        yield plain
        return

    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    bar_columns = (
        TextColumn("{task.fields[place]:<20}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(),
        TextColumn("{task.fields[counts]}"),
    )  # fmt: skip
    with Progress(*bar_columns, console=Console(stderr=True), transient=False) as bar:
        task = bar.add_task("sweep", total=len(rungs), place="", counts="")

        def live(done: int, reading: Reading, outcome: Outcome) -> None:
            count(reading, outcome)
            place = rungs[done - 1].prediction.label
            mark = "" if reading.status is ReadingStatus.VALID else " !"
            bar.update(task, completed=done, place=place + mark, counts=words())

        yield live

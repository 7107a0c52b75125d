"""What waits to be handed on, over all runs of a store, and another try."""

from __future__ import annotations

from dataclasses import dataclass

from harness.app.export.hand_on import hand_on
from harness.app.output import say
from harness.app.run import judged
from harness.app.run_lock import owning
from harness.app.setup import setup_of_run
from harness.config import Export
from harness.errors import GainladderError
from harness.store import Clock, Store, noted
from harness.values import EXPORT, ExportState, export_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """One run."""

    run_id: str
    state: ExportState
    since_utc: str
    """Of its last line."""

    def __str__(self) -> str:
        why = self.state.text or "never tried: the process ended before"
        tries = f"{self.state.tries} tries, last {self.since_utc[:19]}Z"
        return f"{self.run_id}  {', '.join(self.state.left)}  {tries}: {why}"


def waiting(store: Store) -> tuple[Waiting, ...]:
    """All runs of which something waits, oldest first."""
    last = dict(noted(store, EXPORT))
    found = []
    for run_id, event in last.items():
        state = export_of(event)
        if state is not None and state.left:
            found.append(Waiting(run_id=run_id, state=state, since_utc=event.at_utc))
    return tuple(found)


def try_again(store: Store, clock: Clock, *, wanted: Export | None = None) -> tuple[int, int]:
    """Hand on what waits, by the job in each record or as `wanted` says; how many runs are done, and how many wait.

    A command that fails in one run is tried in the next ones too: the reason may be the unit's.
    """
    done = left = 0
    for one in waiting(store):
        try:
            # Two that try at once would call the command twice.
            with owning(f"export of {one.run_id}"):
                state = _again(store, one.run_id, wanted, clock)
        except GainladderError as error:
            say(f"{one.run_id}: {error}")
            left += 1
            continue
        done, left = (done, left + 1) if state.left else (done + 1, left)
        if state.left:
            say(f"{one.run_id}: {state.text}")
    return done, left


def _again(store: Store, run_id: str, wanted: Export | None, clock: Clock) -> ExportState:
    header = store.header(run_id)
    by = wanted or setup_of_run(header).job.export
    state = next((export_of(event) for event in reversed(store.events(run_id)) if event.kind == EXPORT), None)
    if by is None or state is None or not state.left:
        return ExportState(done=(), left=(), tries=0, text="")
    if wanted is not None:
        # Another job may name other files and a command of its own: what it does not have no longer waits.
        names = (*wanted.files, *(("command",) if wanted.command else ()))
        left = tuple(name for name in names if name not in state.done)
        state = ExportState(done=state.done, left=left, tries=state.tries, text=state.text)
    return hand_on(store, run_id, by, state, judged(store, run_id), clock)

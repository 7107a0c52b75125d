"""How far a run has come, looked at from outside: by its record alone, which nothing here writes to."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from harness.app.run import judge_of
from harness.app.run_lock import is_under_way
from harness.app.setup import setup_of_run
from harness.store import Store, targets, waiting_for
from harness.values import Event, Outcome, Purpose

LOOK_S = 0.5
"""Between two looks at the record."""
DIED = "died"
"""How a run ended that left no end in the record: its process is gone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One look at a run."""

    run_id: str
    end: str
    """Empty while it is under way; finished, interrupted, stopped, or died."""
    done: int
    """Planned readings that are final."""
    planned: int
    attempts: int
    """Readings in the record, tries and anchors included."""
    outcomes: Mapping[Outcome, int]
    """Provisional, one for each planned reading."""
    label: str
    """The setting read last, for people; empty before the first."""
    elapsed_s: float
    """From the first reading to the last one, by the run's own monotonic clock."""
    left_s: float | None
    """At the pace so far; None before there is any."""
    events: tuple[Event, ...]
    """Lines of the journal since the look before."""
    waiting: int = 0
    """Readings in the store that a server it is forwarded to has not confirmed."""


def looks(
    store: Store, run_id: str, *, sleep: Callable[[float], None], under_way: Callable[[str], bool] = is_under_way
) -> Iterator[Look]:
    """A look whenever something has changed, until the run has ended; the last one says how."""
    header = store.header(run_id)
    setup = setup_of_run(header)
    judge = judge_of(setup, waveforms=False)
    labels = {rung.setting: rung.prediction.label for rung in setup.rungs}
    outcomes = dict.fromkeys(Outcome, 0)
    done, index, seen, label = 0, -1, 0, ""
    first_s = last_s = 0.0
    changed = True
    while True:
        # Asked before the record is read: a run that ends in between is seen whole at the next look.
        alive = under_way(run_id)
        end = store.info(run_id).end
        for reading in store.readings(run_id, after=index):
            first_s, last_s = (reading.started_s if index < 0 else first_s), reading.started_s + reading.duration_s
            index, label, changed = reading.index, labels.get(reading.setting, ""), True
            outcome = judge.take(reading)
            if reading.final and reading.purpose is Purpose.LADDER:
                done += 1
                outcomes[outcome] += 1
        events = store.events(run_id)[seen:]
        seen += len(events)
        end = end or ("" if alive else DIED)
        # A run that was resumed after a reboot has a clock that began anew.
        elapsed_s = max(last_s - first_s, 0.0)
        if changed or events or end:
            yield Look(
                run_id=run_id, end=end, done=done, planned=header.planned, attempts=index + 1, outcomes=dict(outcomes),
                label=label, elapsed_s=elapsed_s, events=events, waiting=_waiting(store),
                left_s=elapsed_s * max(header.planned - done, 0) / done if done else None,
            )  # fmt: skip
        if end:
            return
        changed = False
        sleep(LOOK_S)


def _waiting(store: Store) -> int:
    return sum(waiting_for(store, target).readings for target in targets(store))


def line_of(look: Look) -> str:
    """One look for a person."""
    bar = "#" * (20 * min(look.done, look.planned) // max(look.planned, 1))
    counts = "  ".join(f"{outcome} {count}" for outcome, count in look.outcomes.items() if count)
    left = "" if look.left_s is None or look.end else f"  {look.left_s:.0f} s left"
    extra = look.attempts - look.done
    more = f"  (extra tries and anchors {extra})" if extra > 0 else ""
    away = f"  ({look.waiting} readings wait to be forwarded)" if look.waiting else ""
    return f"[{bar:<20}] {look.done}/{look.planned}  {look.label}{left}  {counts}{more}{away}".rstrip()


def json_of(look: Look) -> dict[str, object]:
    """One look for a machine."""
    return {
        "run": look.run_id, "end": look.end, "done": look.done, "planned": look.planned, "attempts": look.attempts,
        "outcomes": {str(outcome): count for outcome, count in look.outcomes.items()}, "setting": look.label,
        "elapsed_s": look.elapsed_s, "left_s": look.left_s, "waiting": look.waiting,
        "events": [{"at_utc": e.at_utc, "at_s": e.at_s, "kind": e.kind, "text": e.text} for e in look.events],
    }  # fmt: skip

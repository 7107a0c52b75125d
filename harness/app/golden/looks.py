"""Golden checks in a store: found by serial number and station."""

from __future__ import annotations

import datetime as dt

from harness.app.setup import Setup
from harness.judge.golden import golden_says
from harness.judge.lockout import GoldenState
from harness.store import Clock, Store, add_note, noted
from harness.values import (
    GOLDEN_CHECK,
    GOLDEN_SAYS,
    GoldenLook,
    golden_of,
    golden_says_text,
    shared_factor_of,
)

DEFAULT_HOURS = 12.0
"""How long a golden check tells anything, for a job without [production]."""


def looks(store: Store) -> tuple[GoldenLook, ...]:
    """Every golden check, oldest first."""
    found = (golden_of(run_id, event) for run_id, event in noted(store, GOLDEN_CHECK))
    return tuple(look for look in found if look is not None)


def history(store: Store, setup: Setup, unit: str) -> tuple[GoldenLook, ...]:
    """The checks of one unit by one job on one station, oldest first."""
    place = unit, station_of(setup), setup.job.name
    return tuple(look for look in looks(store) if (look.unit, look.station, look.job) == place)


def newest(store: Store, setup: Setup) -> GoldenLook | None:
    """The last check on a station, of whichever golden unit."""
    station = station_of(setup)
    return next((look for look in reversed(looks(store)) if look.station == station), None)


def station_of(setup: Setup) -> str:
    """What a station is known by: the name in its bench file."""
    return setup.bench.file.name


def golden_state(store: Store, setup: Setup) -> GoldenState | None:
    """The last check on a station, as the locks want it."""
    look = newest(store, setup)
    if look is None:
        return None
    return GoldenState(unit=look.unit, outcome=look.outcome, at=dt.datetime.fromisoformat(look.at_utc))


def tell_shared(store: Store, setup: Setup, run_id: str, clock: Clock) -> None:
    """Where all channels of a run share a factor, let the last golden check say whose it is, in the run's journal."""
    ratio = shared_factor_of(store.events(run_id))
    look = newest(store, setup)
    if ratio is None or look is None or look.run_id == run_id:
        return
    age = dt.datetime.fromisoformat(clock.utc()) - dt.datetime.fromisoformat(look.at_utc)
    rules = setup.job.production
    most_h = DEFAULT_HOURS if rules is None else rules.golden_hours
    said = golden_says(ratio, look, age_h=age.total_seconds() / 3600.0, most_h=most_h)
    if said is not None:
        add_note(store, run_id, GOLDEN_SAYS, golden_says_text(*said), clock)

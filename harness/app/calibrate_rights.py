"""Who may write constants into a device, and the lines that say so in the journal of the run."""

from __future__ import annotations

import dataclasses

from harness.app.calibrate_run import CalibratedRun
from harness.app.golden.looks import station_of
from harness.app.people import Who, require, whoever
from harness.drivers import RealClock
from harness.store import Store, add_note
from harness.values import CONSTANTS, Action, action_text


def require_writing(store: Store, run: CalibratedRun, said: str, *, job_path: str = "") -> Who:
    """Who is about to write, noted in the run before a bench is touched.

    ConfigError: the people file cannot be read; `job_path` says where the run's job is now. LockedOut: by it they may
    not; that is in the book of the station.
    """
    setup = dataclasses.replace(run.setup, path=job_path or run.setup.path)
    who = whoever(setup, said)
    require(store, setup, who, RealClock(), about=run.header.unit, acts=("constants",))
    note_writing(store, run, who, f"writing of {len(run.calibration.constants)} constants begins")
    return who


def note_writing(store: Store, run: CalibratedRun, who: Who, text: str) -> None:
    """Write into the run's journal what became of its constants."""
    action = Action(
        station=station_of(run.setup), who=who.name, role=who.role_name, about=run.header.unit, text=text
    )
    add_note(store, run.header.run_id, CONSTANTS, action_text(action), RealClock())

"""What a command that took readings says at its end."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from harness import report
from harness.app.export.hand_on import after_unit
from harness.app.golden.looks import tell_shared
from harness.app.output import result, result_json, say
from harness.app.production import note_verdict
from harness.app.retention import drop_by_rule
from harness.app.run import judged, verdict_line, write_report
from harness.app.setup import setup_of_run
from harness.app.summing import summarised
from harness.drivers import RealClock
from harness.errors import ExitCode, StationFault
from harness.judge import exit_code
from harness.store import Store, keep_summary


def conclude(
    store: Store,
    run_id: str,
    station: StationFault | None,
    folder: Path,
    *,
    as_json: bool,
    verdict_noted: Callable[[], None] | None = None,
) -> int:
    """Judge a run from its record, write its page, say both; the exit code.

    `verdict_noted` is called once the verdict is in the record: who waits for it need not wait for page and exports.
    """
    setup = setup_of_run(store.header(run_id))
    tell_shared(store, setup, run_id, RealClock())
    header, decided = judged(store, run_id)
    keep_summary(store, summarised(store, header, decided))
    counted = note_verdict(store, run_id, decided, RealClock())
    if verdict_noted is not None:
        verdict_noted()
    page = write_report(store, header, decided, folder)
    after_unit(store, setup.job.export, (header, decided), RealClock())
    # After the page: it shows what only the raw data tell.
    dropped = drop_by_rule(store, setup, run_id, RealClock())
    if dropped:
        say(dropped)
    if station is not None:
        say(f"STATION FAULT {station.fault}: {station}")
    if as_json:
        result_json(report.summary(header, decided, report_path=str(page)) | ({"attempt": counted} if counted else {}))
    else:
        result(verdict_line(header, decided))
        if counted:
            result(counted)
        result(f"report {page}")
    return int(ExitCode.INVALID if station is not None else exit_code(decided.verdict))

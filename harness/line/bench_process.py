"""The process of one try: `python -m harness.line.bench_process FOLDER`. Only it touches instruments.

It says how far it has come in its folder. SIGTERM ends it like Ctrl-C ends a sweep, source off; killed, the watchdog of
its source does. It ends by itself when the page is away for long, or does not want the try any more.
"""

from __future__ import annotations

import signal
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

from harness.app.ending import conclude
from harness.app.forward_beside import Plant, forwarding_beside
from harness.app.output import say
from harness.app.people import whoever
from harness.app.production import Asked, admit
from harness.app.run import RunRequest, new_header, record_run, write_report
from harness.app.setup import Setup, read_setup
from harness.app.signals import interruptible
from harness.config import LineFile, parse
from harness.drivers import RealClock, ResourceLock
from harness.errors import BenchError, ExitCode, GainladderError, LockedOut, StationFault
from harness.line.due import not_due
from harness.line.folder import Place, Try
from harness.line.orphan import Guard
from harness.line.outcome import ended_content, golden_content, locks_content
from harness.line.paths import Paths
from harness.store import Store, open_store
from harness.values import GOLDEN_UNIT

GO_S = 0.05
"""Between two looks whether the operator has connected the unit."""
Order = dict[str, Any]


def main(folder: str) -> int:
    """Do what the folder of a try orders; an exit code as of a sweep."""
    one = Try(Path(folder))
    lock = ResourceLock(one.lock)
    try:
        with interruptible():
            order = one.ordered()
            if order is None:
                return int(ExitCode.INTERRUPTED)
            guard = Guard(Place(Path(folder).parent), one, time.monotonic)
            guard.start()
            try:
                return _guarded(one, order)
            finally:
                guard.over()
    except KeyboardInterrupt:
        say("stopped; the source is off")
        one.tell("stopped")
        return int(ExitCode.INTERRUPTED)
    finally:
        lock.release()


def _guarded(one: Try, order: Order) -> int:
    try:
        return _work(one, order)
    except LockedOut as error:
        say(str(error))
        one.tell("locked", locks=locks_content(error))
        return int(error.exit_code)
    except GainladderError as error:
        say(f"{type(error).__name__}: {error}")
        _refuse(one, "bench" if isinstance(error, BenchError) else "files", str(error))
        return int(error.exit_code)
    except Exception as error:
        traceback.print_exc()
        _refuse(one, "internal", f"{type(error).__name__}: {error}")
        return int(ExitCode.INTERNAL)


def _refuse(one: Try, why: str, detail: str) -> None:
    """Trouble with page or exports behind a verdict does not undo it: it stands in the words of the process."""
    if one.told().get("phase") != "ended":
        one.tell("refused", why=why, detail=detail)


def _work(one: Try, order: Order) -> int:
    one.tell("preparing")
    unit, operator, golden = str(order["unit"]), str(order["operator"]), bool(order["golden"])
    line = parse(LineFile, order["line_text"], file=order["line"])
    paths = Paths.of(line, order["line"], store=order["store"], reports=order["reports"])
    setup = read_setup(paths.job, unit=unit)
    paths.pages.mkdir(parents=True, exist_ok=True)
    asked = Asked(operator=operator)
    with open_store(paths.store) as store, forwarding_beside(store, paths.store, setup.job.forward) as plant:
        if not golden:
            refused = not_due(line, order["line"], unit, setup.job.name, store)
            if refused is not None:
                one.tell("refused", why=refused.why, detail=refused.detail)
                return int(ExitCode.LOCKED)
        admit(store, setup, unit, asked, RealClock(), golden=golden)
        one.tell("admitted")
        while not one.may_go:
            time.sleep(GO_S)
        began_s = time.monotonic()
        one.tell("opening")
        # Asked anew: minutes may have passed at the picture.
        notes = admit(store, setup, unit, asked, RealClock(), golden=golden)
        if golden:
            notes = ((GOLDEN_UNIT, unit), *notes)
        request = RunRequest(unit=unit, operator=whoever(setup, operator).name, faults=tuple(order["faults"]))
        return _measure(
            one, store, setup, request, notes, paths, plant, golden=golden, began_s=began_s, seed=order["seed"]
        )  # fmt: skip


def _measure(
    one: Try,
    store: Store,
    setup: Setup,
    request: RunRequest,
    notes: tuple[tuple[str, str], ...],
    paths: Paths,
    plant: Plant,
    *,
    golden: bool,
    began_s: float,
    seed: int | None,
) -> int:
    from harness.app.bench_open import open_bench

    def took() -> float:
        return round(time.monotonic() - began_s, 1)

    transport = setup.job.transport
    with open_bench(
        setup.bench, setup.device, transport=transport, seed=seed, faults=request.faults, unit=request.unit
    ) as opened:
        plant.reachable = opened.reaches_plant
        header = new_header(setup, opened, request)
        one.tell("begun", run_id=header.run_id, planned=header.planned, at_s=time.time())
        broken: BenchError | None = None
        station: StationFault | None = None
        try:
            station = record_run(setup, opened, store, header, notes=notes)
        except BenchError as error:
            broken = error
    if broken is not None:
        # Recorded as far as it went, so the end of a run; told once the source is off.
        say(f"{type(broken).__name__}: {broken}")
        one.tell("ended", kind="station", detail=str(broken), run_id=header.run_id, took_s=took())
        return int(broken.exit_code)
    # The source is off and all readings are there: a stop that comes now would only cost the verdict.
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_IGN)
    if golden:
        return _golden(one, store, setup, header.run_id, station, paths, took)

    def told() -> None:
        one.tell("ended", **ended_content(store, header.run_id, station), run_id=header.run_id, took_s=took())

    # The operator takes the unit out while page and exports are made.
    return conclude(store, header.run_id, station, paths.pages, as_json=False, verdict_noted=told)


def _golden(
    one: Try,
    store: Store,
    setup: Setup,
    run_id: str,
    station: StationFault | None,
    paths: Paths,
    took: Callable[[], float],
) -> int:
    from harness.app.golden.check import conclude_check
    from harness.judge import exit_code

    checked = conclude_check(store, setup, run_id, station, RealClock(), restart="")
    write_report(store, checked.header, checked.result, paths.pages)
    one.tell("ended", **golden_content(checked.look.outcome, checked.why), run_id=run_id, took_s=took())
    return int(exit_code(checked.look.outcome))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))

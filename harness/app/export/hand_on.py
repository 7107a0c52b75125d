"""One unit's results to its files and its command; what could not be waits in the journal of the run."""

from __future__ import annotations

from pathlib import Path

from harness import report
from harness.app.export.command import call, words_of
from harness.app.output import say, write_file
from harness.app.run import safe_name
from harness.config import Export
from harness.errors import GainladderError
from harness.store import Clock, Store, add_note
from harness.values import COMMAND, EXPORT, ExportState, RunHeader, RunResult, export_text


def expect(store: Store, run_id: str, wanted: Export, clock: Clock) -> ExportState:
    """Let the record say what is to be handed on, before any of it is tried."""
    command = (COMMAND,) if wanted.command else ()
    state = ExportState(done=(), left=(*wanted.files, *command), tries=0, text="")
    add_note(store, run_id, EXPORT, export_text(state), clock)
    return state


def hand_on(
    store: Store, run_id: str, wanted: Export, state: ExportState, decided: tuple[RunHeader, RunResult], clock: Clock
) -> ExportState:
    """Try what is left; what was done and what still waits is in the record on return."""
    header, result = decided
    done = list(state.done)
    left: list[str] = []
    why: list[str] = []
    for what in state.left:
        failure = _one(what, wanted, header, result) if not (what == COMMAND and left) else "waits for its files"
        if failure:
            left.append(what)
            why.append(f"{what}: {failure}")
        else:
            done.append(what)
    now = ExportState(done=tuple(done), left=tuple(left), tries=state.tries + 1, text="; ".join(why))
    add_note(store, run_id, EXPORT, export_text(now), clock)
    return now


def after_unit(store: Store, wanted: Export | None, decided: tuple[RunHeader, RunResult], clock: Clock) -> None:
    """Hand a unit on, whatever comes of it: its verdict stands, and nobody waits longer than the command may take."""
    if wanted is None:
        return
    run_id = decided[0].run_id
    try:
        state = hand_on(store, run_id, wanted, expect(store, run_id, wanted, clock), decided, clock)
    except GainladderError as error:
        say(f"results are not handed on: {error}; `gainladder export` does it later")
        return
    if state.left:
        say(f"not handed on: {state.text}; `gainladder export` tries again")


def paths_of(wanted: Export, header: RunHeader) -> dict[str, Path]:
    """The file of each form."""
    stem = f"{safe_name(header.unit)}-{header.run_id}"
    ending = {"csv": "csv", "json": "json", "junit": "xml"}
    return {form: Path(wanted.folder) / f"{stem}.{ending[form]}" for form in wanted.files}


def _one(what: str, wanted: Export, header: RunHeader, result: RunResult) -> str:
    """Why it failed; empty where it did not."""
    paths = paths_of(wanted, header)
    if what == COMMAND:
        values = {form: str(path) for form, path in paths.items()}
        values |= {"unit": header.unit, "run": header.run_id, "verdict": str(result.verdict), "folder": wanted.folder}
        return call(words_of(wanted.command, values), timeout_s=wanted.timeout_s)
    try:
        path = paths[what]
        path.parent.mkdir(parents=True, exist_ok=True)
        make = {"csv": report.csv_text, "json": report.json_text, "junit": report.junit_text}[what]
        write_file(path, make(header, result))
        if what == "csv":
            write_file(path.with_name(path.name + "-metadata.json"), report.csvw_text(header, result, file=path.name))
    except (GainladderError, OSError, KeyError) as error:
        return str(error)
    return ""

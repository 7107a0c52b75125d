"""Routing: is this unit due at this place? Asked before anything is connected."""

from __future__ import annotations

import csv
import subprocess
from dataclasses import dataclass
from pathlib import Path

from harness.app.files import beside
from harness.config import LineFile
from harness.errors import UsageError
from harness.store import Store, noted
from harness.values import ATTEMPT, VERDICT, Outcome, attempt_of, ended_as_of

COLUMNS = ("serial", "job", "previous")
PASSED = "passed"
"""What the column `previous` says of a unit whose step before went well."""
_SHOWN = 200
"""Characters of a command's word that are shown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotDue:
    """Why a unit is not measured here."""

    why: str
    """Key of a text for the operator."""
    detail: str = ""
    """For the engineer."""


def not_due(line: LineFile, path: str, unit: str, job: str, store: Store) -> NotDue | None:
    """Why a unit is not due for a job by the line file at `path`; None where it is.

    UsageError: the routing file cannot be read or lacks a column.
    """
    routing = line.routing
    if not routing.again and _passed_last(store, unit, job):
        return NotDue(why="passed-already", detail=f"its last run by the job {job} passed")
    if routing.file:
        found = _by_file(beside(path, routing.file), unit, job)
        if found is not None:
            return found
    return _by_command(routing.command, routing.timeout_s, unit, job) if routing.command else None


def _passed_last(store: Store, unit: str, job: str) -> bool:
    lines = noted(store, ATTEMPT, VERDICT)
    ends = {run_id: ended_as_of((event,)) for run_id, event in lines if event.kind == VERDICT}
    runs = [
        run_id
        for run_id, event in lines
        if (attempt := attempt_of((event,))) is not None and (attempt.unit, attempt.job) == (unit, job)
    ]
    end = ends.get(runs[-1]) if runs else None
    return end is not None and end.outcome is Outcome.PASS


def _by_file(path: str, unit: str, job: str) -> NotDue | None:
    allowed = f"allowed: CSV with the columns {', '.join(COLUMNS)}; mend the file or routing.file"
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"routing file {path}: cannot be read ({error}); {allowed}") from error
    rows = csv.DictReader(text.splitlines())
    missing = [name for name in COLUMNS if name not in (rows.fieldnames or ())]
    if missing:
        raise UsageError(f"routing file {path}: no column {', '.join(missing)}; {allowed}")
    found = [row for row in rows if row["serial"] == unit]
    if not found:
        return NotDue(why="unknown-unit", detail=f"{path} has no row of {unit}")
    here = [row for row in found if row["job"] == job]
    if not here:
        jobs = ", ".join(sorted({row["job"] or "none" for row in found}))
        return NotDue(why="other-job", detail=f"{path}: {unit} is due for {jobs}, here is {job}")
    if here[-1]["previous"] != PASSED:
        return NotDue(why="step-before", detail=f"{path}: previous of {unit} is {here[-1]['previous'] or 'empty'}")
    return None


def _by_command(command: tuple[str, ...], timeout_s: float, unit: str, job: str) -> NotDue | None:
    """Whatever is no clear yes is a no: a plant system that is away releases nothing."""
    try:
        done = subprocess.run(
            [*command, unit, job],
            stdin=subprocess.DEVNULL, capture_output=True, text=True, errors="replace", timeout=timeout_s, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return NotDue(why="routing-silent", detail=f"{command[0]}: no answer within {timeout_s:g} s")
    except OSError as error:
        return NotDue(why="routing-silent", detail=f"{command[0]}: cannot be started ({error.strerror})")
    if done.returncode == 0:
        return None
    said = (done.stdout.strip() or done.stderr.strip() or f"exit code {done.returncode}").splitlines()[0]
    return NotDue(why="not-due", detail=said[:_SHOWN])

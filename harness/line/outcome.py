"""How a run ended, from its record, for the page."""

from __future__ import annotations

from typing import Any

from harness.app.run import judged
from harness.errors import LockedOut, StationFault
from harness.judge.lockout import LOCKS
from harness.line.state import Kind
from harness.store import Store
from harness.values import Outcome, attempt_of, ended_as_of

_KINDS = {
    Outcome.PASS: Kind.PASS,
    Outcome.FAIL: Kind.FAIL,
    Outcome.INCONCLUSIVE: Kind.UNDECIDED,
    Outcome.INVALID: Kind.STATION,
}
_GOLDEN = {
    Outcome.PASS: Kind.GOLDEN_SOUND,
    Outcome.FAIL: Kind.GOLDEN_OFF,
    Outcome.INCONCLUSIVE: Kind.GOLDEN_BUILDING,
    Outcome.INVALID: Kind.STATION,
}


def ended_content(store: Store, run_id: str, station: StationFault | None) -> dict[str, Any]:
    """Kind, first failing item, setting, attempts, words for the engineer; of a run that is judged and noted."""
    events = store.events(run_id)
    attempt, ended = attempt_of(events), ended_as_of(events)
    outcome = Outcome.INVALID if station is not None or ended is None else ended.outcome
    kind = _KINDS[outcome]
    if kind is Kind.PASS and attempt is not None and attempt.failed_before:
        kind = Kind.RETEST_PASS
    item, _, where = ("" if ended is None else ended.place).partition(" ")
    detail = ""
    if station is not None:
        detail = f"{station.fault}: {station}"
    elif kind is Kind.STATION:
        detail = _reason(store, run_id)
    return {
        "kind": str(kind), "item": item, "where": where, "detail": detail,
        "attempt": 0 if attempt is None else attempt.number, "most": 0 if attempt is None else attempt.most,
    }  # fmt: skip


def golden_content(outcome: Outcome, why: str) -> dict[str, Any]:
    """The same of a golden check; `why` is for the engineer."""
    return {"kind": str(_GOLDEN[outcome]), "detail": why}


def locks_content(error: LockedOut) -> list[dict[str, str]]:
    """The locks that hold, in plain text."""
    details = dict(zip(error.codes, error.details, strict=False))
    return [
        {
            "code": code,
            "text": LOCKS[code].text if code in LOCKS else str(error),
            "detail": details.get(code, ""),
            "lift": LOCKS[code].lift if code in LOCKS else "",
        }
        for code in error.codes
    ]


def _reason(store: Store, run_id: str) -> str:
    """Judged once more: rare, and nothing else says it."""
    _, result = judged(store, run_id)
    return next((j.reason for j in result.judgements if j.outcome is Outcome.INVALID and j.reason), "")

"""The rows that a session showed, held against the record."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from harness.app.suite.claim import Range, SuiteClaim
from harness.app.suite.decided import Run, decide
from harness.values import Outcome

SHOWN_AS = {
    Outcome.PASS: "passed",
    Outcome.FAIL: "failed",
    Outcome.INCONCLUSIVE: "skipped",
    Outcome.INVALID: "error",
}
"""How a test that holds an outcome ends."""


def differences(shown: Mapping[SuiteClaim, str], record: Run, wanted: Collection[Range]) -> tuple[str, ...]:
    """Where tests ended otherwise than the record says; `shown` holds passed, failed, skipped or error by claim."""
    said = []
    for claim, ended in shown.items():
        outcome = decide(claim, record, wanted).outcome
        if ended != SHOWN_AS[outcome]:
            said.append(f"{claim.name}: shown as {ended}, the record says {outcome}")
    return tuple(said)

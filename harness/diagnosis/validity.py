"""What invalid readings point to: instruments, links, host."""

from __future__ import annotations

from collections import Counter
from typing import Final

from harness.diagnosis.catalogue import KNOWN
from harness.diagnosis.visit import Case
from harness.values import Candidate

POINTS_TO: Final[dict[str, tuple[str, ...]]] = {
    "ReadTimeout": ("reply-missing", "reply-late"),
    "WriteTimeout": ("link-deaf",),
    "LinkLost": ("link-closed-by-peer",),
    "LinkClosed": ("link-closed-by-peer",),
    "OpenFailed": ("link-closed-by-peer", "port-renamed"),
    "BadReply": ("block-truncated", "block-header-wrong", "reply-garbled"),
    "InstrumentReported": ("command-rejected", "error-queue-overflow"),
    "ReadBackDiffers": ("stale-record", "setting-coerced", "averaging-left-on", "autorange-on"),
    "WrongInstrument": ("wrong-instrument",),
    "not-plain": ("averaging-left-on",),
    "not-finite": ("not-a-number-value", "infinity-value"),
    "no-signal": ("byte-order-wrong", "preamble-stale"),
    "host-asleep": ("host-asleep", "clock-stepped"),
    "no-record": ("reply-missing",),
    "stale-record": ("stale-record",),
    "capture": ("capture-incomplete",),
}
"""First word of the reason of an invalid reading, and the faults that leave it."""


def of_invalid(case: Case) -> tuple[Candidate, ...]:
    """Which faults of instruments and links would leave the invalid readings of a run.

    Args:
        case: the run.
    Returns:
        candidates, those of the commonest reason first; none when all readings are valid.
    Source:
        reasons of the harness's own errors.
    """
    reasons = Counter(visit.trouble for visit in case.visits if visit.trouble)
    if case.captured and any(not visit.sound for visit in case.visits):
        reasons["capture"] += sum(not visit.sound for visit in case.visits)
    found: dict[str, Candidate] = {}
    for reason, count in reasons.most_common():
        names = POINTS_TO.get(reason, ())
        for name in names:
            known = KNOWN[name]
            found.setdefault(
                name,
                Candidate(
                    fault=name,
                    why=f"{count} readings with {reason}",
                    test=known.test,
                    id=known.id,
                    predicts=known.shows,
                    look=known.look,
                    ambiguous=tuple(other for other in names if other != name),
                ),
            )
    return tuple(found.values())

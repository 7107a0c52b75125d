"""Which further readings tell the remaining candidates apart, cheapest first."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from harness.values import Candidate, Purpose

SEPARATING: Final[tuple[tuple[Purpose, frozenset[str]], ...]] = (
    (
        Purpose.QUIET,
        frozenset(
            {"load-resistor-missing", "load-resistor-wrong", "pregain-bit-stuck", "relay-stuck-on", "input-offset",
             "output-offset", "excess-noise", "mains-or-supply-line", "oscillation", "source-load-mis-set",
             "terminator-wrong", "reference-wrong", "converter-reference-wrong"}
        ),
    ),
    (
        Purpose.TWO_LEVEL,
        frozenset(
            {"output-compression", "supply-rail-low", "leaky-clamp", "bit-weight-wrong", "major-carry-step",
             "load-resistor-missing", "pregain-ratio-wrong", "converter-reference-wrong"}
        ),
    ),
    (
        Purpose.SECOND_FREQUENCY,
        frozenset(
            {"attenuator-resistor-wrong", "attenuator-compensation-wrong", "bandwidth-falls-with-gain", "pad-wrong",
             "relay-not-picking", "relay-stuck-on"}
        ),
    ),
    (
        Purpose.CROSSTALK,
        frozenset({"channel-crosstalk", "latches-crossed", "latch-broadcast", "cables-swapped"}),
    ),
    (
        Purpose.REPEAT,
        frozenset(
            {"intermittent-joint", "register-reset-mid-run", "setup-hold-marginal", "logic-level-weak",
             "relay-contact-film", "relay-settles-late", "settle-too-short", "slow-settling", "word-table-row-wrong",
             "scale-row-wrong", "latch-one-frame-late", "extra-clock-edge", "fixture-worn"}
        ),
    ),
)  # fmt: skip
"""Purposes, cheapest first, and the faults among which a reading of that purpose decides."""


def follow_up(candidates: Iterable[Candidate], *, unexplained: bool) -> tuple[Purpose, ...]:
    """Which further readings would tell candidates apart.

    Args:
        candidates: of a run.
        unexplained: whether none of them explains the readings: then whatever the ladder is blind to is looked at.
    Returns:
        purposes, cheapest first; none where one candidate is left that explains everything.
    Source:
        extra tests of the trade (common practice, no source).
    """
    shown = tuple(candidates)
    names = {candidate.fault for candidate in shown} | {other for one in shown for other in one.ambiguous}
    if unexplained:
        return tuple(purpose for purpose, _ in SEPARATING)
    if len(names) < 2:
        return ()
    return tuple(purpose for purpose, faults in SEPARATING if names & faults)

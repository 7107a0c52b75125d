"""What is different from the night before."""

from __future__ import annotations

from collections.abc import Sequence

from harness.values import NightFailure, NightRunRow

MOVED_RATIO = 0.1
"""A worst residual that moved by less of its limit is the same."""


def differences(
    runs: Sequence[NightRunRow],
    failures: Sequence[NightFailure],
    before_runs: Sequence[NightRunRow],
    before_failures: Sequence[NightFailure],
) -> tuple[str, ...]:
    """What of a night is not as in the one before.

    Args:
        runs: of the night.
        failures: of the night.
        before_runs: of the night before.
        before_failures: of the night before.
    Returns:
        a line for each difference: new and vanished failures, then corners whose worst residual moved.
    Source:
        none: a comparison of two lists.
    """
    said: list[str] = []
    now = {(f.unit, f.label) for f in failures}
    before = {(f.unit, f.label) for f in before_failures}
    said += [f"{unit} {label}: fails, did not before" for unit, label in sorted(now - before)]
    said += [f"{unit} {label}: failed before, does not now" for unit, label in sorted(before - now)]
    known = {(row.unit, row.corner, row.cycle): row for row in before_runs}
    for row in runs:
        other = known.get((row.unit, row.corner, row.cycle))
        if other is None or row.worst_ratio is None or other.worst_ratio is None:
            continue
        if abs(abs(row.worst_ratio) - abs(other.worst_ratio)) > MOVED_RATIO:
            said.append(
                f"{row.unit}, {row.corner}, cycle {row.cycle + 1}: worst residual at {abs(row.worst_ratio):.2f} of its "
                f"limit, {abs(other.worst_ratio):.2f} before"
            )
    return tuple(said)

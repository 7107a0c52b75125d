"""What did not pass, in few lines: like claims of one channel together, with the worst of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from harness.report import words
from harness.report.labels import range_name
from harness.values import Judgement, Outcome, RunResult

_Key = tuple[Outcome, str, int]


def failures(result: RunResult) -> tuple[str, ...]:
    """What did not pass, for a terminal.

    Args:
        result: of a run.
    Returns:
        one line for each outcome, kind of claim and channel, FAIL first, else in the order in which they first occur:
        how many of how many, in which ranges, and the reason of the worst, or of the first where the claim has no
        number. What is said of the whole run, and what stands alone, is its reason as it is. A step counts in the range
        of its upper setting.
    """
    groups: dict[_Key, list[Judgement]] = {}
    lines: dict[_Key | int, tuple[Outcome, str]] = {}
    made: Counter[tuple[str, int]] = Counter()
    for position, claim in enumerate(result.judgements):
        if claim.setting is not None:
            made[claim.item, claim.setting.channel] += 1
        if not claim.reason:
            continue
        if claim.setting is None:
            lines[position] = (claim.outcome, claim.reason)
            continue
        key = (claim.outcome, claim.item, claim.setting.channel)
        groups.setdefault(key, []).append(claim)
        lines.setdefault(key, (claim.outcome, ""))
    for key, group in groups.items():
        lines[key] = (key[0], _line(key, group, made[key[1], key[2]], result))
    ranked = sorted(lines.values(), key=lambda line: words.SEVERITY.index(line[0]))
    return tuple(f"{outcome}  {text}" for outcome, text in ranked)


def _line(key: _Key, group: Sequence[Judgement], made: int, result: RunResult) -> str:
    _, item, channel = key
    if len(group) == 1:
        return group[0].reason
    numbered = [claim for claim in group if claim.margin is not None]
    worst = min(numbered, key=lambda claim: claim.margin or 0.0) if numbered else group[0]
    ranges = Counter(range_name(claim.setting.coarse, result) for claim in group if claim.setting is not None)
    places = ", ".join(f"{name} {count}" for name, count in ranges.items())
    which = "worst" if numbered else "first"
    return f"ch{channel} {item}: {len(group)} of {made} ({places}); {which}: {worst.reason}"

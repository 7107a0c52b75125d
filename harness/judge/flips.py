"""What other limits would change in a run: which claims and settings come out otherwise."""

from __future__ import annotations

from dataclasses import dataclass

from harness.values import Judgement, Outcome, RunResult, Setting

Key = tuple[str, Setting | None, Setting | None, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Flip:
    """One claim that comes out otherwise."""

    item: str
    setting: Setting | None
    other: Setting | None
    before: Outcome | None
    """None: the limits before required nothing here."""
    after: Outcome | None
    """None: the limits after require nothing here."""
    measured: float | None
    unit: str
    was: tuple[float | None, float | None]
    """Low and high limit before."""
    now: tuple[float | None, float | None]
    """Low and high limit after."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flips:
    """What changes in one run."""

    before: Outcome
    after: Outcome
    claims: tuple[Flip, ...]
    settings: tuple[tuple[str, Outcome, Outcome], ...]
    """Label of each setting whose own outcome changes, with both outcomes."""

    @property
    def any(self) -> bool:
        """Whether anything changes."""
        return bool(self.claims) or self.before is not self.after


def flips(before: RunResult, after: RunResult) -> Flips:
    """What comes out otherwise between two judgements of the same readings.

    Args:
        before: by the limits of the run.
        after: by other limits.
    Returns:
        verdicts, claims whose outcome differs (also those that only one of the two makes, unless they pass), and
        settings whose outcome differs, in the order of the run.
    Source:
        none: a comparison of records.
    """
    old, new = _by_place(before), _by_place(after)
    claims = []
    for key in dict.fromkeys((*old, *new)):
        was, now = old.get(key), new.get(key)
        outcomes = (was.outcome if was else None, now.outcome if now else None)
        if outcomes[0] is outcomes[1] or set(outcomes) == {None, Outcome.PASS}:
            continue
        either = now or was
        claims.append(
            Flip(
                item=key[0],
                setting=key[1],
                other=key[2],
                before=outcomes[0],
                after=outcomes[1],
                measured=either.measured if either else None,
                unit=either.unit if either else "",
                was=(was.low, was.high) if was else (None, None),
                now=(now.low, now.high) if now else (None, None),
            )
        )
    outcomes_before = {row.setting: row.outcome for row in before.settings}
    return Flips(
        before=before.verdict,
        after=after.verdict,
        claims=tuple(claims),
        settings=tuple(
            (row.label, outcomes_before[row.setting], row.outcome)
            for row in after.settings
            if row.setting in outcomes_before and outcomes_before[row.setting] is not row.outcome
        ),
    )


def _by_place(result: RunResult) -> dict[Key, Judgement]:
    """Claims by item and place; several of one kind at one place, such as parameters, by their order."""
    found: dict[Key, Judgement] = {}
    for claim in result.judgements:
        place = (claim.item, claim.setting, claim.other)
        count = 0
        while (*place, count) in found:
            count += 1
        found[(*place, count)] = claim
    return found

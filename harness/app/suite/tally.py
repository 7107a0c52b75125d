"""What the session's claims came to, gathered from parallel workers too."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from harness.app.suite.decided import Decided
from harness.values import Outcome


@dataclass(slots=True)
class Tally:
    """Counts claims; a session is green only when each of them passed."""

    ran: int = 0
    outcomes: set[Outcome] = field(default_factory=set)

    @property
    def all_pass(self) -> bool:
        """Whether claims were decided, and each of them passed."""
        return self.outcomes == {Outcome.PASS}

    def add(self, decided: Decided) -> None:
        """Count one claim."""
        self.ran += 1
        if decided.counted:
            self.outcomes.add(decided.outcome)

    def as_sent(self) -> dict[str, Any]:
        """In plain types, for the way from a parallel worker to the session."""
        return {"ran": self.ran, "outcomes": sorted(outcome.value for outcome in self.outcomes)}

    def add_sent(self, sent: Mapping[str, Any]) -> None:
        """Count what a parallel worker sent; nothing from one without claims."""
        self.ran += sent.get("ran", 0)
        self.outcomes.update(Outcome(word) for word in sent.get("outcomes", ()))

"""No uncertainty, where none can be stated yet."""

from __future__ import annotations

from collections.abc import Sequence

from harness.values import Setting


class NoDoubt:
    """No uncertainty at all: a progress line cannot wait for the budget of the whole run."""

    def gain_expanded_percent(self, setting: Setting) -> float:
        """0 percent."""
        return 0.0

    def own_expanded_percent(self, setting: Setting) -> float:
        """0 percent."""
        return 0.0

    def step_expanded_percent(self, lower: Setting, upper: Setting) -> float:
        """0 percent."""
        return 0.0

    def match_expanded_percent(self, groups: Sequence[Sequence[Setting]]) -> Sequence[float]:
        """0 percent each."""
        return (0.0,) * len(groups)

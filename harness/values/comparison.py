"""Two runs held against each other, setting by setting."""

from __future__ import annotations

from dataclasses import dataclass

from harness.values.judgement import Outcome
from harness.values.setting import Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingChange:
    """One setting that both runs planned."""

    setting: Setting
    label: str
    later: Outcome
    earlier: Outcome
    later_percent: float | None
    """Residual against the law; None where it is not known."""
    earlier_percent: float | None
    change_percent: float | None
    """100·ln of the gain now over the gain before; None unless both are known."""
    expanded_percent: float | None
    """Expanded uncertainty of the change, k = 2; None where a run states none."""
    moved: bool
    """The change is known to be more than its uncertainty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunComparison:
    """What has changed from an earlier run to a later one."""

    changes: tuple[SettingChange, ...]
    """Settings that both planned, in the order of the later run."""
    only_now: int
    """Settings that only the later run planned."""
    only_before: int
    same_source: bool
    """Both runs used the same source, so that what is common to all readings cancels in a change."""

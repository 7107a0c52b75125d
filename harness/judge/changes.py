"""What has changed from one run to another."""

from __future__ import annotations

import math

from harness.values import RunComparison, RunResult, Setting, SettingChange, SettingResult


def compare_runs(now: RunResult, before: RunResult, *, same_source: bool) -> RunComparison:
    """What has changed, setting by setting.

    Args:
        now: the later run.
        before: the earlier run.
        same_source: whether both used the same source: then what is common to all readings of a run cancels, and the
            uncertainty of a change holds the own parts of both alone.
    Returns:
        every setting that both planned, with the change of its gain and whether that is more than its uncertainty.
    Source:
        GUM 5.1.2, uncorrelated inputs: the uncertainty of a ratio of two gains is the root of the sum of squares.
    """
    known = {row.setting: row for row in before.settings}
    mine = {row.setting for row in now.settings}
    return RunComparison(
        changes=tuple(
            _change(row, known[row.setting], same_source=same_source) for row in now.settings if row.setting in known
        ),
        only_now=len(mine - known.keys()),
        only_before=len(known.keys() - mine),
        same_source=same_source,
    )


def _change(now: SettingResult, before: SettingResult, *, same_source: bool) -> SettingChange:
    setting: Setting = now.setting
    change = expanded = None
    if now.measured_codes_per_v is not None and before.measured_codes_per_v is not None:
        change = 100.0 * math.log(now.measured_codes_per_v / before.measured_codes_per_v)
    parts = [row.own_percent if same_source else row.expanded_percent for row in (now, before)]
    if parts[0] is not None and parts[1] is not None:
        expanded = math.hypot(parts[0], parts[1])
    return SettingChange(
        setting=setting,
        label=now.label,
        later=now.outcome,
        earlier=before.outcome,
        later_percent=now.residual_percent,
        earlier_percent=before.residual_percent,
        change_percent=change,
        expanded_percent=expanded,
        moved=change is not None and expanded is not None and abs(change) > expanded,
    )

"""Names of settings, steps and ranges, for people."""

from __future__ import annotations

from collections.abc import Mapping

from harness.values import ParameterResult, RunResult, Setting, StepResult

WHOLE_CHANNEL = ("parameter", "bus-timing", "missing-codes")
"""Items that belong to a channel and to none of its ranges."""


def labels_of(result: RunResult) -> Mapping[Setting, str]:
    """What each setting of a run is called.

    Args:
        result: of a run.
    Returns:
        label by setting; a setting without a row is not in it.
    """
    return {row.setting: row.label for row in result.settings}


def label_of(setting: Setting, labels: Mapping[Setting, str], result: RunResult) -> str:
    """What one setting is called, even where it has no row.

    Args:
        setting: any setting.
        labels: from `labels_of`.
        result: of the run, for the names of ranges and fine positions.
    Returns:
        its label, else one made of channel, range and fine position.
    """
    known = labels.get(setting)
    if known is not None:
        return known
    return f"ch{setting.channel} {range_name(setting.coarse, result)} {fine_name(setting.fine, result)}"


def step_label(step: StepResult, labels: Mapping[Setting, str], result: RunResult) -> str:
    """What a step is called.

    Args:
        step: of the run.
        labels: from `labels_of`.
        result: of the run.
    Returns:
        such as `ch1 2V 100 % to ch1 2V 97 %`.
    """
    return f"{label_of(step.lower, labels, result)} to {label_of(step.upper, labels, result)}"


def parameter_label(row: ParameterResult) -> str:
    """What a fitted parameter is called.

    Args:
        row: of the run.
    Returns:
        such as `ch2 attenuator 1:10`.
    """
    return f"ch{row.channel} {row.name}"


def range_name(coarse: int, result: RunResult) -> str:
    """What a range is called.

    Args:
        coarse: 0-based index.
        result: of the run.
    Returns:
        its name, else its index in words.
    """
    return result.coarse_names[coarse] if 0 <= coarse < len(result.coarse_names) else f"range {coarse}"


def fine_name(fine: int, result: RunResult) -> str:
    """What a fine position is called.

    Args:
        fine: 0-based index.
        result: of the run.
    Returns:
        its name, else its index in words.
    """
    return result.fine_names[fine] if 0 <= fine < len(result.fine_names) else f"fine {fine}"

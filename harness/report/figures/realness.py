"""Coarse × fine map of what each setting turned out to be."""

from __future__ import annotations

from harness.report.figures.grid import Grid, grids
from harness.values import Realness, RunResult, SettingResult

LETTERS = {
    Realness.HARDWARE: "H",
    Realness.ARITHMETIC: "A",
    Realness.MIXED: "M",
    Realness.UNPROVEN: "U",
    Realness.FAULT: "F",
}


def realness_grids(result: RunResult) -> tuple[Grid, ...]:
    """The maps of a run.

    Args:
        result: of a run.
    Returns:
        one grid a channel; the class is the realness, the letter its initial.
    """
    return grids(result, _paint)


def _paint(row: SettingResult) -> tuple[str, str, str, str]:
    ratio = "" if row.arithmetic_ratio == 1.0 else f" ×{row.arithmetic_ratio:.4g}"
    return str(row.realness), LETTERS[row.realness], "", f"{row.label}: {row.realness}{ratio}"

"""Coarse × fine map of residual against limit: blocks show relays and pre-gain, columns show codes."""

from __future__ import annotations

from harness.report.figures.canvas import Edges
from harness.report.figures.grid import Grid, grids
from harness.report.words import MINUS, decimal, percent
from harness.values import Outcome, RunResult, SettingResult

EDGES = (0.1, 0.3, 0.5, 0.75, 1.0)
"""Shares of the limit at which the colour deepens; above the last a residual is beyond the limit."""

SIGNED_FROM = 3
"""From this depth a cell carries its sign, so that grey print keeps it."""


def heat_grids(result: RunResult) -> tuple[Grid, ...]:
    """The maps of a run.

    Args:
        result: of a run.
    Returns:
        one grid a channel; classes `n5` to `n1`, `z`, `p1` to `p5` from far below to far above; `none` for no residual.
    """
    return grids(result, lambda row: _paint(row, result.gain_limit_percent))


def share_of_limit(residual_percent: float, limit_percent: Edges) -> float:
    """How much of its limit a residual takes up, for the colour.

    Args:
        residual_percent: percent.
        limit_percent: low and high limit, percent; None where there is none.
    Returns:
        signed share, 1 or -1 at the limit; the wider limit counts where the one on this side does not leave room;
        0 without any.
    """
    low, high = (edge or 0.0 for edge in limit_percent)
    side_percent = high if residual_percent > 0.0 else -low
    width_percent = side_percent if side_percent > 0.0 else max(abs(low), abs(high))
    return residual_percent / width_percent if width_percent > 0.0 else 0.0


def _paint(row: SettingResult, limit_percent: Edges) -> tuple[str, str, str, str]:
    mark = {Outcome.FAIL: "cross", Outcome.INVALID: "hatch"}.get(row.outcome, "")
    title = f"{row.label}: {percent(row.residual_percent)}"
    if row.residual_percent is None:
        return "none", "", mark or "hatch", f"{title}, {row.outcome}"
    share = share_of_limit(row.residual_percent, limit_percent)
    depth = sum(abs(share) > edge for edge in EDGES)
    kind = "z" if depth == 0 else f"{'p' if share > 0.0 else 'n'}{depth}"
    sign = ("+" if share > 0.0 else MINUS) if depth >= SIGNED_FROM else ""
    of = "" if limit_percent == (None, None) else f", {decimal(share, signed=True)} of the limit"
    letter = "?" if row.outcome is Outcome.INCONCLUSIVE else "" if mark == "hatch" else sign
    return kind, letter, mark, f"{title}{of}, {row.outcome}"

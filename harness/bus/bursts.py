"""Bursts of pulses of one period: what makes a line the clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from harness.bus.edges import LineEdges, Times, line_edges
from harness.values import Capture

LineActivity = dict[str, LineEdges]

LEAST_PULSES = 6
"""Pulses in all captures together, below which nothing can be said about a line being the clock."""
STEADY = 0.15
"""Relative deviation from the period that still counts as the same period."""
PAUSE = 1.75
"""An interval longer than this many periods ends a burst."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bursts:
    """The clock's pulses, grouped."""

    clock: LineEdges
    pulses_ns: Times
    """Shape (k,), the leading edge of each pulse, ns."""
    starts_ns: Times
    """Shape (b,), first edge of each burst, ns."""
    ends_ns: Times
    """Shape (b,), last edge of each burst, ns."""

    def inside(self, line: LineEdges) -> npt.NDArray[np.bool_]:
        """Which edges of a line lie between the first and the last edge of a burst.

        Args:
            line: its edges.
        Returns:
            shape (j,).
        Source:
            none: comparison.
        """
        at = self.starts_ns.searchsorted(line.times_ns, side="right") - 1
        marks: npt.NDArray[np.bool_] = at >= 0
        marks[marks] = line.times_ns[marks] < self.ends_ns[at[marks]]
        return marks


def activity(capture: Capture, minimum_pulse_ns: float) -> LineActivity:
    """The edges of all lines.

    Args:
        capture: checked.
        minimum_pulse_ns: shorter pulses are glitches, ns.
    Returns:
        edges by line.
    Source:
        see `line_edges`.
    """
    return line_edges(capture, capture.lines, minimum_pulse_ns)


def bursts_of(seen: LineActivity, clock: str) -> Bursts:
    """The bursts of a clock line.

    Args:
        seen: edges by line.
        clock: name of the clock.
    Returns:
        its pulses, grouped: a pause of more than 1.75 periods ends a burst.
    Source:
        common practice, no source.
    """
    line = seen[clock]
    pulses_ns = line.active(rising=not line.initial)
    gaps_ns = np.diff(pulses_ns)
    period_ns = _period_ns(gaps_ns)
    breaks = np.flatnonzero(gaps_ns > PAUSE * period_ns) + 1
    firsts = np.append(0, breaks) if pulses_ns.size else breaks
    lasts = np.append(breaks, pulses_ns.size)[: firsts.size] - 1
    # A pulse is two edges: the burst ends with the trailing one of its last pulse.
    trailing = np.minimum(2 * lasts + 1, line.times_ns.size - 1)
    return Bursts(clock=line, pulses_ns=pulses_ns, starts_ns=pulses_ns[firsts], ends_ns=line.times_ns[trailing])


def clock_line(seen: list[LineActivity]) -> tuple[str, float, str]:
    """Which line is the clock.

    Args:
        seen: edges by line, capture by capture.
    Returns:
        its name, the share of its intervals that are one period, and the evidence; the name is empty when none stands
        out.
    Source:
        common practice: a clock has one period inside a frame; data has multiples of it, latches come once a frame.
    """
    scores: dict[str, tuple[float, float, int]] = {}
    for line in seen[0]:
        gaps = [np.diff(lines_seen[line].active(rising=not lines_seen[line].initial)) for lines_seen in seen]
        gaps_ns = np.concatenate(gaps)
        pulses = gaps_ns.size + sum(1 for part in gaps if part.size)
        if pulses < LEAST_PULSES:
            continue
        period_ns = _period_ns(gaps_ns)
        steady = np.abs(gaps_ns - period_ns) <= STEADY * period_ns
        scores[line] = (float(np.count_nonzero(steady)) / gaps_ns.size, period_ns, pulses)
    if not scores:
        return "", 0.0, f"no line has {LEAST_PULSES} pulses or more"
    # Latches of a steady refresh are steady as well, but slow: the clock is the fast one of the steady lines.
    steady_lines = {line: score for line, score in scores.items() if score[0] >= 0.5 and _bursts_fit(seen, line)}
    if not steady_lines:
        best = max(scores, key=lambda line: scores[line][0])
        return "", 0.0, f"the steadiest line, {best}, keeps one period in {scores[best][0]:.0%} of its pulses only"
    ranked = sorted(steady_lines, key=lambda line: steady_lines[line][1])
    share, period_ns, pulses = steady_lines[ranked[0]]
    if len(ranked) > 1 and steady_lines[ranked[1]][1] < 1.5 * period_ns:
        return "", 0.0, f"{ranked[0]} and {ranked[1]} both pulse with about one period of {period_ns:.0f} ns"
    text = f"{share:.0%} of {pulses} pulses of {ranked[0]} are {period_ns:.0f} ns apart, the fastest steady period"
    return ranked[0], share, text


def _bursts_fit(seen: list[LineActivity], line: str) -> bool:
    """Whether the pulses come several at a time."""
    bursts = [bursts_of(lines_seen, line) for lines_seen in seen]
    pulses, groups = sum(b.pulses_ns.size for b in bursts), sum(b.starts_ns.size for b in bursts)
    return pulses >= 3 * max(groups, 1)


def _period_ns(gaps_ns: Times) -> float:
    """The most common short interval: the median of those within a factor of two of the tenth percentile."""
    if gaps_ns.size == 0:
        return 0.0
    short_ns = float(np.percentile(gaps_ns, 10.0))
    return float(np.median(gaps_ns[gaps_ns <= 2.0 * short_ns]))

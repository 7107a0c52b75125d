"""Captures of a run as one file for other tools, and for `decode`: a value change dump, or a table of changes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from harness.values import Capture

GAP_NS = 1_000_000
"""Between captures that follow each other at once: longer than any frame."""
IDENTIFIERS = "!\"#$%&'()*+,-./"


def joined(captures: Iterable[tuple[float, Capture]]) -> Iterator[tuple[int, Capture]]:
    """Where captures, each with times of its own, lie on one axis of time.

    Args:
        captures: when each was armed, s, in order; lines are the same in all.
    Returns:
        an offset for each, ns: the time since the first one, or later if that would overlap.
    """
    began_s: float | None = None
    free_ns = 0
    for at_s, capture in captures:
        began_s = at_s if began_s is None else began_s
        offset_ns = max(round((at_s - began_s) * 1e9), free_ns)
        if capture.times_ns.size:
            free_ns = offset_ns + int(capture.times_ns[-1]) + GAP_NS
        yield offset_ns, capture


def vcd_pieces(captures: Iterable[tuple[float, Capture]], *, software: str) -> Iterator[str]:
    """Captures as one value change dump, piece by piece.

    Args:
        captures: when each was armed, s, in order.
        software: what wrote it.
    Returns:
        text; nothing at all without a capture. Times are ns from the first arming.
    """
    before: int | None = None
    for offset_ns, capture in joined(captures):
        if before is None:
            yield _vcd_head(capture, software)
            before = capture.initial
        rows = []
        for time_ns, changed, level in _changes(capture, offset_ns, before):
            bits = [k for k in range(len(capture.lines)) if changed >> k & 1]
            rows.append(f"#{time_ns}\n" + "".join(f"{level >> k & 1}{IDENTIFIERS[k]}\n" for k in bits))
            before = level
        yield "".join(rows)


def csv_pieces(captures: Iterable[tuple[float, Capture]]) -> Iterator[str]:
    """Captures as one table of changes, piece by piece.

    Args:
        captures: when each was armed, s, in order.
    Returns:
        text: a head `time_ns,LINE,...`, the levels at the start, then a row a change; nothing without a capture.
    """
    before: int | None = None
    for offset_ns, capture in joined(captures):
        count = len(capture.lines)
        rows = []
        if before is None:
            before = capture.initial
            rows.append(",".join(("time_ns", *capture.lines)) + "\n")
            rows.append(_csv_row(0, before, count))
        for time_ns, _, level in _changes(capture, offset_ns, before):
            rows.append(_csv_row(time_ns, level, count))
            before = level
        yield "".join(rows)


def _vcd_head(capture: Capture, software: str) -> str:
    names = list(zip(IDENTIFIERS, capture.lines, strict=False))
    declared = "".join(f"$var wire 1 {mark} {name} $end\n" for mark, name in names)
    start = "".join(f"{capture.initial >> k & 1}{mark}\n" for k, (mark, _) in enumerate(names))
    return (
        f"$version gainladder {software} $end\n$timescale 1 ns $end\n$scope module bus $end\n{declared}"
        f"$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n{start}$end\n"
    )


def _csv_row(time_ns: int, level: int, count: int) -> str:
    return f"{time_ns}," + ",".join(str(level >> k & 1) for k in range(count)) + "\n"


def _changes(capture: Capture, offset_ns: int, before: int) -> Iterator[tuple[int, int, int]]:
    """Time, changed lines and levels; events of one time as one, and lines that moved between captures at its start."""
    times_ns, levels = capture.times_ns, capture.levels
    if capture.initial != before:
        yield offset_ns, capture.initial ^ before, capture.initial
        before = capture.initial
    last = np.append(times_ns[1:] != times_ns[:-1], True) if times_ns.size else np.zeros(0, dtype=np.bool_)
    for time_ns, level in zip(times_ns[last].tolist(), levels[last].tolist(), strict=True):
        if level != before:
            yield offset_ns + time_ns, level ^ before, level
            before = level

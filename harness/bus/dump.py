"""From the text of a value change dump (VCD) to a capture."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from harness.bus.wiring import BusWiring
from harness.errors import CaptureError
from harness.values import Capture

States = npt.NDArray[np.int8]

NOT_KNOWN = -1
STATE_OF = {"0": 0, "1": 1, "l": 0, "h": 1}
"""VCD values with a level; every other one (x, z, u, w, -) has none."""
FEMTOSECONDS = {"s": 10**15, "ms": 10**12, "us": 10**9, "ns": 10**6, "ps": 10**3, "fs": 1}
LATEST_NS = 2**62


class _Text:
    """A text as the byte stream that the VCD reader asks for; it lives in memory only."""

    def __init__(self, text: str) -> None:
        self._rest = memoryview(text.encode("ascii", "replace"))

    def readinto(self, buffer: bytearray) -> int:
        """Fill the buffer as far as the text reaches."""
        piece, self._rest = self._rest[: len(buffer)], self._rest[len(buffer) :]
        buffer[: len(piece)] = piece
        return len(piece)


def read_vcd(text: str, *, wiring: BusWiring) -> Capture:
    """What a value change dump says of the lines of a bus.

    All changes at one time make one event; times finer than a nanosecond are cut to whole ones. A level of x or z is
    unknown and keeps the level before it. Clock and latches are taken to stand at their first known level from the
    beginning, so that no edge is invented. A line is found by its name or by its path with dots; a hyphen in a name of
    the wiring also matches an underscore, since VCD names have no hyphens.

    Args:
        text: the dump.
        wiring: names of the lines to look for.
    Returns:
        the events of the lines of the wiring, in its order of lines, from time 0 of the dump.
    Raises:
        CaptureError: not a dump, no time scale, a line missing, ambiguous or wider than one bit, time runs backwards.
    Source:
        IEEE Std 1364-2005 clause 18 (value change dump).
    """
    kinds, tokens = _tokens(text)
    columns: dict[str, list[int]] = {}
    declared: list[tuple[str, Any]] = []
    scope: list[str] = []
    unit_fs = 0
    times_ns, rows = [0], [[NOT_KNOWN] * len(wiring.lines)]
    for token in tokens:
        kind, data = token.kind, token.data
        if kind is kinds.CHANGE_SCALAR or kind is kinds.CHANGE_VECTOR:
            for column in columns.get(data.id_code, ()):
                rows[-1][column] = STATE_OF.get(str(data.value).lower(), NOT_KNOWN)
        elif kind is kinds.CHANGE_TIME:
            _advance(times_ns, rows, data * unit_fs // FEMTOSECONDS["ns"])
        elif kind is kinds.SCOPE:
            scope.append(data.ident)
        elif kind is kinds.UPSCOPE:
            del scope[-1:]
        elif kind is kinds.TIMESCALE:
            unit_fs = int(data.magnitude) * FEMTOSECONDS[data.unit.value]
        elif kind is kinds.VAR:
            declared.append((".".join([*scope, data.ref_str]), data))
        elif kind is kinds.ENDDEFINITIONS:
            columns = _columns(declared, wiring, unit_fs)
    if not columns:
        raise CaptureError("VCD: the definitions never end; allowed is a dump with $enddefinitions: is the file whole?")
    return _capture(np.array(times_ns, dtype=np.int64), np.array(rows, dtype=np.int8), wiring)


def _tokens(text: str) -> tuple[Any, Iterator[Any]]:
    """The kinds of tokens, and the tokens; errors of the reader become ours."""
    from vcd.reader import TokenKind, VCDParseError, tokenize

    def translated() -> Iterator[Any]:
        stream: Any = _Text(text)
        try:
            yield from tokenize(stream)
        except (VCDParseError, ValueError) as error:
            raise CaptureError(f"VCD: {error} (line:column); allowed is a value change dump after IEEE 1364") from error

    return TokenKind, translated()


def _advance(times_ns: list[int], rows: list[list[int]], time_ns: int) -> None:
    """Begin the event at a new time, with the levels as they stand."""
    if not times_ns[-1] <= time_ns < LATEST_NS:
        raise CaptureError(
            f"VCD: time {time_ns} ns after {times_ns[-1]} ns; "
            f"allowed are times that never decrease and stay below {LATEST_NS} ns: is the file damaged?"
        )
    if time_ns > times_ns[-1]:
        times_ns.append(time_ns)
        rows.append(list(rows[-1]))


def _columns(declared: list[tuple[str, Any]], wiring: BusWiring, unit_fs: int) -> dict[str, list[int]]:
    """Identifier codes of the dump to positions in `wiring.lines`."""
    if unit_fs == 0:
        raise CaptureError("VCD: no $timescale; allowed is one such as 1 ns: without it times mean nothing")
    columns: dict[str, list[int]] = {}
    for position, line in enumerate(wiring.lines):
        wanted = {line, line.replace("-", "_")}
        found = {var.id_code: var.size for path, var in declared if {path, var.reference, var.ref_str} & wanted}
        if list(found.values()) != [1]:
            names = ", ".join(path for path, _ in declared) or "none"
            sizes = "no signal" if not found else f"{len(found)} signals of {list(found.values())} bits"
            raise CaptureError(f"VCD: line {line} is {sizes}; allowed is one of 1 bit; signals of the dump: {names}")
        columns.setdefault(next(iter(found)), []).append(position)
    return columns


def _capture(times_ns: npt.NDArray[np.int64], states: States, wiring: BusWiring) -> Capture:
    unknown = states < 0
    for column, line in enumerate(wiring.lines):
        known = np.flatnonzero(~unknown[:, column])
        first = int(known[0]) if known.size else 0
        if line != wiring.data and known.size:
            unknown[:first, column] = False
        states[:first, column] = states[first, column]
        # An unknown level keeps the last known one, so that it makes no edge.
        last_known = np.maximum.accumulate(np.where(states[:, column] >= 0, np.arange(states.shape[0]), 0))
        states[:, column] = np.maximum(states[last_known, column], 0)
    weights = 1 << np.arange(len(wiring.lines))
    levels, doubtful = (states @ weights).astype(np.uint8), (unknown @ weights).astype(np.uint8)
    # Times at which only other signals of the dump changed are no events of this bus.
    event = np.append(True, (levels[1:] != levels[:-1]) | (doubtful[1:] != doubtful[:-1]))
    return Capture(
        times_ns=times_ns[event],
        levels=levels[event],
        initial=int(levels[0]),
        lines=wiring.lines,
        unknown=doubtful[event] if unknown.any() else None,
    )

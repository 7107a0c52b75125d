"""From a value change dump (VCD) to a capture, whole or piece by piece."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Protocol

import numpy as np

from harness.bus.known_levels import KnownLevels
from harness.bus.piece import NO_LEVELS, NO_TICKS, Piece
from harness.bus.wiring import BusWiring
from harness.errors import CaptureError
from harness.values import Capture

STATE_OF = {"0": 0, "1": 1, "l": 0, "h": 1}
"""VCD values with a level; every other one (x, z, u, w, -) has none."""
FEMTOSECONDS = {"s": 10**15, "ms": 10**12, "us": 10**9, "ns": 10**6, "ps": 10**3, "fs": 1}
LATEST_NS = 2**62
EVENTS_A_PIECE = 65_536


class ByteStream(Protocol):
    """What the VCD reader asks for: a file opened for bytes, or a text in memory."""

    def readinto(self, buffer: bytearray, /) -> int | None:
        """Fill the buffer as far as the content reaches."""


class _Text:
    """A text as a byte stream; it lives in memory only."""

    def __init__(self, text: str) -> None:
        self._rest = memoryview(text.encode("ascii", "replace"))

    def readinto(self, buffer: bytearray, /) -> int:
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
    reader = VcdReader(_Text(text), lines=wiring.lines, data=wiring.data)
    pieces = list(reader.pieces())
    unknown = None
    if any(piece.unknown is not None for piece in pieces):
        unknown = np.concatenate(
            [np.zeros_like(piece.levels) if piece.unknown is None else piece.unknown for piece in pieces]
        )
    return Capture(
        times_ns=np.concatenate([NO_TICKS, *(piece.ticks for piece in pieces)]),
        levels=np.concatenate([NO_LEVELS, *(piece.levels for piece in pieces)]),
        initial=reader.initial,
        lines=reader.lines,
        unknown=unknown,
    )


class VcdReader:
    """A dump piece by piece, by the rules of `read_vcd`; without names of lines it takes all signals of one bit."""

    def __init__(self, stream: ByteStream, *, lines: tuple[str, ...] | None = None, data: str | None = None) -> None:
        self.lines = lines or ()
        self._wanted, self._data = lines, data
        self._stream = stream
        self._levels = KnownLevels(0, None)

    @property
    def initial(self) -> int:
        """Levels before the first event, once the first piece came."""
        return self._levels.initial

    def pieces(self) -> Iterator[Piece]:
        """All events; a tick is 1 ns.

        Returns:
            pieces of at most 65536 events.
        Raises:
            CaptureError: as `read_vcd`; the message names line and column where there is one.
        Source:
            IEEE Std 1364-2005 clause 18 (value change dump).
        """
        kinds, tokens = _tokens(self._stream)
        columns, unit_fs = self._definitions(kinds, tokens)
        data = self.lines.index(self._data) if self._data in self.lines else None
        self._levels = KnownLevels(len(self.lines), data)
        now_ns, levels, unknown = 0, 0, (1 << len(self.lines)) - 1
        events: list[tuple[int, int, int]] = []
        kept: tuple[int, int] | None = None
        trouble: CaptureError | None = None
        while True:
            try:
                token = next(tokens, None)
            except CaptureError as error:
                token, trouble = None, error
            if token is None:
                break
            kind, content = token.kind, token.data
            if kind is kinds.CHANGE_SCALAR or kind is kinds.CHANGE_VECTOR:
                if (bits := columns.get(content.id_code)) is not None:
                    state = STATE_OF.get(str(content.value).lower())
                    levels = levels | bits if state else levels & ~bits
                    unknown = unknown | bits if state is None else unknown & ~bits
            elif kind is kinds.CHANGE_TIME:
                time_ns = content * unit_fs // FEMTOSECONDS["ns"]
                if not now_ns <= time_ns < LATEST_NS:
                    trouble = _backwards(time_ns, now_ns, token.span.start)
                    break
                if time_ns == now_ns:
                    continue
                # Times at which only other signals of the dump changed are no events of this bus.
                if kept != (levels, unknown):
                    kept = levels, unknown
                    events.append((now_ns, levels, unknown))
                now_ns = time_ns
                if len(events) >= EVENTS_A_PIECE:
                    yield self._piece(events, now_ns)
                    events = []
        if kept != (levels, unknown):
            events.append((now_ns, levels, unknown))
        # What stands before the trouble is sound.
        yield self._piece(events, now_ns)
        if trouble is not None:
            raise trouble

    def _piece(self, events: list[tuple[int, int, int]], known_to: int) -> Piece:
        table = np.array(events, dtype=np.int64).reshape(-1, 3)
        levels, unknown = self._levels.take(table[:, 1].astype(np.uint8), table[:, 2].astype(np.uint8))
        moved = np.append(True, levels[1:] != levels[:-1])[: levels.size]
        if unknown is not None:
            moved[1:] |= unknown[1:] != unknown[:-1]
            unknown = unknown[moved]
        return Piece(ticks=table[moved, 0], levels=levels[moved], known_to=known_to, unknown=unknown, distinct=True)

    def _definitions(self, kinds: Any, tokens: Iterator[Any]) -> tuple[dict[str, int], int]:
        """Bits by identifier code, and the unit of time in femtoseconds."""
        declared: list[tuple[str, Any]] = []
        scope: list[str] = []
        unit_fs = 0
        for token in tokens:
            kind, content = token.kind, token.data
            if kind is kinds.SCOPE:
                scope.append(content.ident)
            elif kind is kinds.UPSCOPE:
                del scope[-1:]
            elif kind is kinds.TIMESCALE:
                unit_fs = int(content.magnitude) * FEMTOSECONDS[content.unit.value]
            elif kind is kinds.VAR:
                declared.append((".".join([*scope, content.ref_str]), content))
            elif kind is kinds.ENDDEFINITIONS:
                break
        else:
            raise CaptureError(
                "VCD: the definitions never end; allowed is a dump with $enddefinitions: is the file whole?"
            )
        if unit_fs == 0:
            raise CaptureError("VCD: no $timescale; allowed is one such as 1 ns: without it times mean nothing")
        if self._wanted is None:
            self.lines = _all_lines(declared)
        return _columns(declared, self.lines), unit_fs


def _tokens(stream: ByteStream) -> tuple[Any, Iterator[Any]]:
    """The kinds of tokens, and the tokens; errors of the reader become ours."""
    from vcd.reader import TokenKind, VCDParseError, tokenize

    def translated() -> Iterator[Any]:
        source: Any = stream
        at = "1:1"
        try:
            for token in tokenize(source):
                at = _place(token.span.end)
                yield token
        except VCDParseError as error:
            raise _not_vcd(_place(error.loc), str(error).partition(": ")[2]) from error
        except ValueError as error:
            raise _not_vcd(at, str(error)) from error

    return TokenKind, translated()


def _place(at: Any) -> str:
    """Line and column, both from 1; the reader counts columns from 2 in all lines but the first."""
    return f"{at.line}:{max(at.column - (at.line > 1), 1)}"


def _not_vcd(place: str, got: str) -> CaptureError:
    return CaptureError(f"VCD: {place}: {got} (line:column); allowed is a value change dump after IEEE 1364")


def _backwards(time_ns: int, now_ns: int, at: Any) -> CaptureError:
    return CaptureError(
        f"VCD: {_place(at)} (line:column): time {time_ns} ns after {now_ns} ns; "
        f"allowed are times that never decrease and stay below {LATEST_NS} ns: is the file damaged?"
    )


def _all_lines(declared: list[tuple[str, Any]]) -> tuple[str, ...]:
    """Paths of the signals of one bit, each signal once."""
    codes: dict[str, str] = {}
    for path, var in declared:
        if var.size == 1:
            codes.setdefault(var.id_code, path)
    if not 1 <= len(codes) <= 8:
        raise CaptureError(f"VCD: {len(codes)} signals of one bit; allowed are 1 to 8: name the bus lines in a wiring")
    return tuple(codes.values())


def _columns(declared: list[tuple[str, Any]], lines: tuple[str, ...]) -> dict[str, int]:
    """Identifier codes of the dump to bits of the capture."""
    columns: dict[str, int] = {}
    for position, line in enumerate(lines):
        wanted = {line, line.replace("-", "_")}
        found = {var.id_code: var.size for path, var in declared if {path, var.reference, var.ref_str} & wanted}
        if list(found.values()) != [1]:
            names = ", ".join(path for path, _ in declared) or "none"
            sizes = "no signal" if not found else f"{len(found)} signals of {list(found.values())} bits"
            raise CaptureError(f"VCD: line {line} is {sizes}; allowed is one of 1 bit; signals of the dump: {names}")
        code = next(iter(found))
        columns[code] = columns.get(code, 0) | 1 << position
    return columns

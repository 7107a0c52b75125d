"""The bus adapter's driver: arm, fetch, load a word; the protocol is in harness/bus/README.md."""

from __future__ import annotations

import struct
import zlib

import numpy as np

from harness.bench import Clock, Link
from harness.config import Bus, InstrumentFile, InstrumentSlot
from harness.drivers.block import read_block
from harness.drivers.instrument import InstrumentDriver
from harness.errors import BadReply, BenchError
from harness.values import Capture

MAGIC, SUMMED = b"GLC1", b"GLC2"
"""Without and with a CRC-32 at the end: on a serial line a bit error would be a wrong word."""
SUM_BYTES = 4
HEAD = struct.Struct("<4sIII")
LONGEST_WORD_BITS = 64


class AdapterDriver(InstrumentDriver):
    """The adapter by its instrument file."""

    def __init__(self, link: Link, profile: InstrumentFile, slot: InstrumentSlot, bus: Bus, clock: Clock) -> None:
        super().__init__(link, profile, slot, clock)
        self._bus = bus

    def arm(self) -> None:
        """Listen from now on."""
        self._acknowledged(self._commands.question("arm"))

    def fetch(self) -> Capture:
        """What was seen since `arm`."""
        question = self._commands.question("fetch")
        payload, entry = self._block_and_entry(question)
        if len(payload) < HEAD.size or payload[:4] not in (MAGIC, SUMMED):
            got = f"{len(payload)} bytes beginning with {payload[:4]!r}"
            raise self._wrong(question, got, f"{MAGIC!r} or {SUMMED!r} and a head")
        if payload[:4] == SUMMED:
            payload, told = payload[:-SUM_BYTES], int.from_bytes(payload[-SUM_BYTES:], "little")
            if len(payload) < HEAD.size or zlib.crc32(payload) != told:
                got = f"{len(payload) + SUM_BYTES} bytes with check sum {zlib.crc32(payload):08x}"
                raise self._wrong(question, got, f"the check sum {told:08x} at their end")
        _, dropped, initial, count = HEAD.unpack_from(payload)
        if len(payload) != HEAD.size + 8 * count:
            raise self._wrong(question, f"{len(payload)} bytes", f"{HEAD.size + 8 * count} bytes for {count} events")
        events = np.frombuffer(payload, dtype="<u8", offset=HEAD.size)
        capture = Capture(
            times_ns=(events >> np.uint64(8)).astype(np.int64),
            levels=(events & np.uint64(0xFF)).astype(np.uint8),
            initial=initial,
            lines=self._bus.lines,
            dropped=dropped,
        )
        self._check_errors((question,), first=entry)
        return capture

    def load_word(self, latch: str, bits: int, value: int) -> None:
        """Shift a word out, first bit most significant, and pulse the latch."""
        latches = [member.latch for member in self._bus.on_bus]
        if latch not in latches:
            raise BenchError(f"no such latch: {latch!r}; allowed: {', '.join(latches)}", **self._place("load_word"))
        if not 1 <= bits <= LONGEST_WORD_BITS:
            raise BenchError(f"a word of {bits} bits; allowed: 1 to {LONGEST_WORD_BITS}", **self._place("load_word"))
        if not 0 <= value < 2**bits:
            raise BenchError(f"word {value}; allowed: 0 to {2**bits - 1} in {bits} bits", **self._place("load_word"))
        self._acknowledged(self._commands.question("load_word", latch=latch, bits=bits, word=f"{value:X}"))

    def _block_and_entry(self, question: str) -> tuple[bytes, str | None]:
        """A block, and the first entry of the error queue where that was asked with it."""
        if not self._profile.grouped:
            return self._query_block(question), None
        with self._exchange(question):
            self._link.write(self._bytes(question, self._commands.question("error_query")))
            return read_block(self._link), self._text(self._link.read_line())

    def _answer_and_entry(self, command: str) -> tuple[str, str | None]:
        """An answer, and the first entry of the error queue where that was asked with it."""
        if not self._profile.grouped:
            return self._query(command), None
        with self._exchange(command):
            self._link.write(self._bytes(command, self._commands.question("error_query")))
            return self._text(self._link.read_line()), self._text(self._link.read_line())

    def _acknowledged(self, command: str) -> None:
        reply, entry = self._answer_and_entry(command)
        self._check_errors((command,), first=entry)
        if reply != "OK":
            raise self._bad_reply(command, reply, "OK")

    def _wrong(self, question: str, got: str, allowed: str) -> BadReply:
        return BadReply(f"the capture is of the wrong form: {got}; allowed: {allowed}", **self._place(question))

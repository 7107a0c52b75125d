"""The simulated bus adapter; its protocol is in harness/bus/README.md."""

from __future__ import annotations

import struct
import zlib
from typing import TYPE_CHECKING

import numpy as np

from harness.bench import Clock
from harness.simulated.block import definite_block
from harness.simulated.bus import Bus
from harness.simulated.bus_traffic import Burst, Frame
from harness.simulated.error_list import Refusal
from harness.simulated.instrument import Instrument
from harness.simulated.parameters import AdapterTruth
from harness.simulated.tree import Leaf

if TYPE_CHECKING:
    from harness.simulated.device import SimulatedDevice

_LONGEST_WORD = 32


class SimulatedAdapter(Instrument):
    """Listens at the device's end of the bus; answers every command, `ERR` where it refuses."""

    def __init__(self, truth: AdapterTruth, clock: Clock, *, bus: Bus, device: SimulatedDevice) -> None:
        super().__init__(truth, clock)
        self._usual_capacity = self._capacity = truth.capacity
        self._bus = bus
        self._device = device
        self._armed_ns: int | None = None
        self._stopped_ns: int | None = None
        self._initial = 0
        self._bursts: list[Burst] = []
        bus.listeners.append(self._hear)
        self.tree.add("ARM", Leaf(run=lambda _, __: self._arm()))
        self.tree.query("FETCH", lambda _: self._fetch())
        self.tree.query("LINES", lambda _: str(self._bus.levels))
        self.tree.add("LOAD", Leaf(run=lambda _, parameters: self._load(parameters[0]), run_takes=(1, 1)))

    def reset(self) -> None:
        """Stop listening, forget."""
        self._armed_ns = self._stopped_ns = None
        self._bursts.clear()

    def keep_events(self, most: int | None) -> None:
        """How many events of a capture are kept; None for as many as usual."""
        self._capacity = self._usual_capacity if most is None else most

    def nudge(self, *, reset: bool) -> None:
        """What a pulse on a control line does: reset the gain devices, or clock them once."""
        self._device.pulsed(reset=reset)

    def _refuse(self, refusal: Refusal) -> None:
        super()._refuse(refusal)
        self._answers.append("ERR")

    def _hear(self, burst: Burst) -> None:
        if self._armed_ns is not None and self._stopped_ns is None:
            self._bursts.append(burst)

    def _arm(self) -> str:
        self._bursts.clear()
        self._armed_ns, self._stopped_ns = round(self.now_s * 1e9), None
        self._initial = self._bus.levels
        return "OK"

    def _fetch(self) -> bytes:
        if self._armed_ns is None:
            raise Refusal(-230, "not armed: ARM first")
        if self._stopped_ns is None:
            self._stopped_ns = round(self.now_s * 1e9)
        times_ns = np.concatenate([np.empty(0, np.int64), *(burst.times_ns for burst in self._bursts)])
        levels = np.concatenate([np.empty(0, np.uint8), *(burst.levels for burst in self._bursts)])
        heard = (times_ns >= self._armed_ns) & (times_ns <= self._stopped_ns)
        times_ns, levels = times_ns[heard] - self._armed_ns, levels[heard]
        kept = min(len(times_ns), self._capacity)
        events = (times_ns[:kept].astype("<u8") << np.uint64(8)) | levels[:kept]
        head = struct.pack("<4sIII", b"GLC2", len(times_ns) - kept, self._initial, kept)
        payload = head + events.astype("<u8").tobytes()
        return definite_block(payload + struct.pack("<I", zlib.crc32(payload)))

    def _load(self, parameters: str) -> str:
        fields = parameters.split()
        if len(fields) != 3:
            raise Refusal(-109 if len(fields) < 3 else -108, f"LOAD {parameters}")
        latch, bits_text, word_text = fields
        line = self._bus.line(latch)
        if line is None:
            raise Refusal(-224, f"latch {latch}, allowed {', '.join(self._bus.truth.lines[2:])}")
        try:
            bits, word = int(bits_text), int(word_text, 16)
        except ValueError:
            raise Refusal(-121, f"LOAD {parameters}") from None
        if not (1 <= bits <= _LONGEST_WORD and 0 <= word < 2**bits):
            raise Refusal(-222, f"LOAD {parameters}")
        # Answered once the word is on its way, as a board does that hands it to a shift unit of its own.
        self._device.control_path.send([Frame(line=line, bits=bits, value=word)], now_s=self.now_s)
        return "OK"

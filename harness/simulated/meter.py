"""The simulated reference meter: the true level at the source's terminals, with an error of its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

from harness.bench import Clock
from harness.simulated.cable import Cable
from harness.simulated.fault import Fault
from harness.simulated.instrument import Instrument
from harness.simulated.parameters import MeterTruth
from harness.simulated.streams import within
from harness.simulated.value import shown

_LEAST_V = 1.0e-9
"""Below this it shows nothing."""


class SimulatedMeter(Instrument):
    """A meter for sines, in volts rms; it ranges by itself."""

    def __init__(
        self, truth: MeterTruth, clock: Clock, *, seed: int, cable: Cable, faults: Sequence[Fault] = ()
    ) -> None:
        super().__init__(truth, clock)
        self._truth = truth
        self._cable = cable
        self._faults = tuple(faults)
        self._common_ratio = 1.0 + within(seed, "meter/common", truth.common_percent / 100.0)
        self._range_ratio = lru_cache(64)(
            lambda decade: 1.0 + within(seed, f"meter/range {decade}", truth.range_percent / 100.0)
        )
        self.tree.word("FUNCtion", ("AC",), get=lambda: "AC", put=lambda _: None)
        self.tree.query("READ", lambda _: self._read())

    def _read(self) -> str:
        self.wait()
        level_v = abs(self._cable.signal().level_v.at(self.now_s)) * self._cable.terminal_ratio / math.sqrt(2.0)
        self.now_s += self._truth.read_s
        if level_v < _LEAST_V:
            return "0"
        drift = math.prod(fault.meter_ratio() for fault in self._faults if fault.begun)
        ratio = drift * self._common_ratio * self._range_ratio(math.floor(math.log10(level_v) + 1e-9))
        return shown(float(f"{level_v * ratio:.{self._truth.digits - 1}e}"))

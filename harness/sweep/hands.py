"""The hands on the bench: they know what is set now, and move it in the safe order."""

from __future__ import annotations

from harness.errors import BenchError, MeasureError
from harness.sweep.bench import Bench
from harness.sweep.plan import SweepPlan
from harness.values import Capture, Rung, Setting, Waveform


class Hands:
    """Sets the bench for a rung. After any failure call `recover` before the next rung."""

    def __init__(self, bench: Bench, plan: SweepPlan) -> None:
        self._bench = bench
        self._plan = plan
        self._channel: int | None = None
        self._coarse: int | None = None
        self._on = False
        self.level_vpk = 0.0
        """Level read back; 0 when nothing is set."""
        self.frequency_hz = 0.0
        self.capture: Capture | None = None
        self.capture_reason = "the bench has no adapter"

    def prepare(self) -> None:
        """Everything off, then source and device ready for the first rung."""
        self._forget()
        self._bench.source.prepare()
        self._bench.device.prepare()
        self.frequency_hz = self._bench.source.set_frequency(self._plan.device.acquisition.frequency_hz)

    def recover(self) -> None:
        """After a failure: source off first, both links sound again, the whole state set anew."""
        self._forget()
        self._bench.source.safe_off()
        self._bench.source.resynchronise()
        self._bench.device.resynchronise()
        self.prepare()

    def off(self) -> None:
        """Source off."""
        self._on = False
        self._bench.source.output_off()

    def select(self, setting: Setting) -> tuple[tuple[str, str], ...]:
        """Set the device; the source is off before a relay moves, and the channel left behind is parked."""
        moves_relay = (setting.channel, setting.coarse) != (self._channel, self._coarse)
        if moves_relay:
            self.off()
            if self._channel not in (None, setting.channel):
                self._bench.device.select(Setting(channel=self._channel or 1, coarse=0, fine=0))
            self._coarse = None
        started_s = self._bench.clock.now_s()
        self._listen()
        read_back = self._bench.device.select(setting)
        self._channel, self._coarse = setting.channel, setting.coarse
        settle = self._plan.device.settle
        self._wait_since(started_s, settle.coarse_s if moves_relay else settle.fine_s)
        self._hear()
        return read_back

    def drive(self, level_vpk: float) -> None:
        """Set a level, then the output on; waits for the device to follow."""
        if self._on and level_vpk == self.level_vpk:
            return
        started_s = self._bench.clock.now_s()
        self.level_vpk = self._bench.source.set_level(level_vpk)
        if not self._on:
            self._bench.source.output_on()
            self._on = True
        self._wait_since(started_s, self._plan.device.settle.fine_s)

    def lower_before(self, rung: Rung, level_vpk: float) -> None:
        """Lower the level before the gain rises."""
        if self._on and level_vpk < self.level_vpk and rung.setting.coarse == self._coarse:
            self.level_vpk = self._bench.source.set_level(level_vpk)

    def acquire(self, channel: int) -> Waveform:
        """One plain record."""
        return self._bench.device.acquire(channel)

    def _forget(self) -> None:
        self._channel = self._coarse = None
        self._on = False
        self.level_vpk = 0.0

    def _wait_since(self, started_s: float, seconds: float) -> None:
        left_s = seconds - (self._bench.clock.now_s() - started_s)
        if left_s > 0.0:
            self._bench.clock.sleep(left_s)

    def _listen(self) -> None:
        self.capture = None
        adapter = self._bench.adapter
        if adapter is None:
            return
        self.capture_reason = ""
        try:
            adapter.arm()
        except BenchError as error:
            self._deaf(error)

    def _hear(self) -> None:
        adapter = self._bench.adapter
        if adapter is None or self.capture_reason:
            return
        try:
            self.capture = adapter.fetch()
        except (BenchError, MeasureError) as error:
            self._deaf(error)

    def _deaf(self, error: Exception) -> None:
        """Words are missing; the gain is still measured. The adapter gets one chance to be sound for the next rung."""
        self.capture_reason = f"{type(error).__name__}: {error}"
        adapter = self._bench.adapter
        if adapter is not None:
            try:
                adapter.resynchronise()
            except BenchError as again:
                self.capture_reason += f"; then {type(again).__name__}: {again}"

"""The hands on the bench: they know what is set now, and move it in the safe order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from harness.bench import Meanwhile, idle
from harness.errors import ReadBackDiffers, StationFault
from harness.sweep.bench import Bench
from harness.sweep.ear import Ear
from harness.sweep.neighbour import Neighbour
from harness.sweep.plan import SweepPlan
from harness.values import Capture, Setting, Waveform


@dataclass(slots=True, kw_only=True)
class Selected:
    """What became of a change of setting."""

    read_back: tuple[tuple[str, str], ...]
    capture: Capture | None = None
    capture_reason: str = ""
    """Empty; or why the capture is missing."""
    awaited: bool = False
    """The adapter has not been asked yet what it heard."""


NOT_HEARD = "the adapter was not asked: the reading ended before its record"


def unheard() -> Selected:
    """Stands for a change of setting that has not been completed."""
    return Selected(read_back=(), capture_reason="the setting was not reached")


def _untold(kind: str, text: str) -> None:
    """For hands without a journal."""


class Hands:
    """Sets the bench for a rung. After any failure call `recover` before anything else."""

    def __init__(self, bench: Bench, plan: SweepPlan, note: Callable[[str, str], None] = _untold) -> None:
        """Take the bench, the plan, and what writes a line into the run's journal."""
        self._bench = bench
        self._plan = plan
        self._note = note
        self._channel: int | None = None
        self._coarse: int | None = None
        self._on = False
        self._steady = False
        self._loaded = False  # the level has been set since the source was last switched off
        self._ear = Ear(bench.adapter, note)
        self._asked_hz = self._asked_vpk = 0.0
        self.neighbour = Neighbour(bench, plan, disturb=self._ear.disturb)
        self.level_vpk = 0.0
        """Level read back; 0 when nothing is set."""
        self.frequency_hz = 0.0
        """Read back; 0 when unknown."""
        self.meter_vpk: float | None = None
        """What the meter reads at this level; None without one, or before it has read."""

    @property
    def true_level_vpk(self) -> float:
        """The level that the source would be set to for what the meter reads; without a meter, what it reads back."""
        return self.level_vpk if self.meter_vpk is None else self.meter_vpk / self._plan.terminal_ratio

    def prepare(self) -> None:
        """Everything off, then source and device ready for the first rung."""
        self._forget()
        self._alive()
        self._bench.source.prepare()
        self._bench.device.prepare()
        if self._bench.meter is not None:
            self._bench.meter.prepare()
        self.tune(0.0)

    def recover(self) -> None:
        """After a failure: source off first, both links sound again, the whole state set anew."""
        self._forget()
        self._alive()
        self._bench.source.safe_off()
        self.neighbour.recover()
        # The power of an instrument may have to be cycled: that takes longer than any sign of life may stay away.
        self.rest()
        self._note("link", f"source: {self._bench.source.resynchronise()}")
        self._note("link", f"device: {self._bench.device.resynchronise()}")
        if self._bench.meter is not None:
            self._note("link", f"meter: {self._bench.meter.resynchronise()}")
        self.prepare()

    def off(self) -> None:
        """Source off."""
        self._on = self._loaded = False
        self._bench.source.output_off()

    def switched_off(self) -> None:
        """Every source has been switched off by other hands."""
        self._on = self._loaded = False
        self.neighbour.switched_off()

    def rest(self) -> None:
        """Every source is off: nobody need wait for a sign of life."""
        if self._bench.heartbeat is not None and not self.neighbour.driving:
            self._bench.heartbeat.rest()

    def _alive(self) -> None:
        if self._bench.heartbeat is not None:
            self._bench.heartbeat.beat()

    def tune(self, frequency_hz: float) -> None:
        """Set the source's frequency unless it is that already; 0 is the device file's test frequency."""
        self._sine()
        wanted_hz = frequency_hz or self._plan.device.acquisition.frequency_hz
        if wanted_hz == self._asked_hz:
            return
        started_s = self._bench.clock.now_s()
        self.frequency_hz = self._bench.source.set_frequency(wanted_hz)
        self._asked_hz = wanted_hz
        self.meter_vpk = None
        if self._on:
            self._wait_since(started_s, self._plan.device.settle.fine_s)

    def steady(self, level_v: float) -> float:
        """A steady level, V, as read back; the output is off where the sine ends, on then. Waits for the device.

        The next `tune` leads back to sines. No meter reads it.
        """
        self._alive()
        if not self._steady:
            self.off()
            self._steady = True
        started_s = self._bench.clock.now_s()
        self.meter_vpk, self._loaded = None, False
        read_v = self._bench.source.set_steady(level_v)
        self.level_vpk = abs(read_v)
        if not self._on:
            self._bench.source.output_on()
            self._on = True
        self._wait_since(started_s, self._plan.device.settle.fine_s)
        return read_v

    def _sine(self) -> None:
        """Back from steady levels, the output off."""
        if not self._steady:
            return
        self._on = self._loaded = False
        self._bench.source.prepare()
        self._steady = False
        self.level_vpk = self._asked_hz = 0.0

    def silence(self) -> None:
        """Source off; waits for the device to follow."""
        started_s = self._bench.clock.now_s()
        if self._on:
            self.off()
        self._loaded = False
        self.level_vpk, self.meter_vpk = 0.0, None
        self._wait_since(started_s, self._plan.device.settle.fine_s)

    def lower(self, setting: Setting, level_vpk: float) -> None:
        """Lower the level before the gain rises; a change of range or channel switches off instead."""
        here = (setting.channel, setting.coarse) == (self._channel, self._coarse)
        # A level that stays may read back above what was asked for: of few digits, or by the error of another unit.
        stays = self._loaded and level_vpk == self._asked_vpk
        if here and self._on and not stays and level_vpk < self.level_vpk:
            self._set_level(level_vpk)

    def select(self, setting: Setting, *, listen: bool = True, level_vpk: float | None = None) -> Selected:
        """Set the device; the source is off before a relay moves, and the channel left behind is parked.

        While relays move the source is told `level_vpk`, the level to come, with its output off. What the adapter heard
        is fetched by `hear` or during the next record.
        """
        self._alive()
        moves_relay = (setting.channel, setting.coarse) != (self._channel, self._coarse)
        if moves_relay:
            self.off()
            if self._channel is not None and self._channel != setting.channel:
                self._ear.disturb()
                self._bench.device.select(Setting(channel=self._channel, coarse=0, fine=0))
        started_s = self._bench.clock.now_s()
        if not listen:
            self._ear.disturb()
        reason = self._ear.listen() if listen else "nobody listened"
        if moves_relay and level_vpk is not None:
            level_to_come_vpk = level_vpk
            read_back = self._bench.device.select(setting, lambda: self._set_level(level_to_come_vpk))
        else:
            read_back = self._bench.device.select(setting)
        self._channel, self._coarse = setting.channel, setting.coarse
        settle = self._plan.device.settle
        self._wait_since(started_s, settle.coarse_s if moves_relay else settle.fine_s)
        return Selected(read_back=read_back, capture_reason=reason or NOT_HEARD, awaited=not reason)

    def hear(self, selected: Selected) -> None:
        """Fetch what the adapter heard of a change of setting, unless that has been done."""
        if selected.awaited:
            selected.awaited = False
            selected.capture, selected.capture_reason = self._ear.heard()

    def drive(self, level_vpk: float) -> None:
        """Set a level, then the output on; waits for the device to follow.

        StationFault, the source off, when a reference meter reads more than device and bench bear.
        """
        # Against what was asked for: a source of few digits reads back something else.
        loaded = self._loaded and level_vpk == self._asked_vpk
        if not (self._on and loaded):
            self._alive()
            started_s = self._bench.clock.now_s()
            if not loaded:
                self._set_level(level_vpk)
            if not self._on:
                self._bench.source.output_on()
                self._on = True
            self._wait_since(started_s, self._plan.device.settle.fine_s)
        if self._bench.meter is not None and self.meter_vpk is None:
            self.meter_vpk = self._bench.meter.read_level()
            self._bearable()

    def _bearable(self) -> None:
        """StationFault, the source off, when the meter reads more than device and bench bear."""
        if self.true_level_vpk <= self._plan.alarm_vpk:
            return
        asked_vpk, meter_vpk = self.level_vpk, self.meter_vpk
        self.off()
        raise StationFault(
            f"the reference meter reads {meter_vpk:.4g} V peak at the source's terminals, where {asked_vpk:.4g} V peak "
            f"were asked for and device and bench bear {self._plan.alarm_vpk * self._plan.terminal_ratio:.4g} V peak, "
            "accuracy included; the source is off: check its load setting, its unit, and the meter",
            fault="source-load-mis-set",
            also=("unit-mix-up", "reference-meter-drifted"),
            instrument="source",
        )

    def wait(self, seconds: float) -> None:
        """Leave all as it is for so long."""
        self._alive()
        self._bench.clock.sleep(seconds)

    def acquire(self, channel: int, selected: Selected | None = None, meanwhile: Meanwhile = idle) -> Waveform:
        """One plain record. While it is taken the adapter tells what it heard and listens anew, then `meanwhile`."""
        self._alive()

        held: list[BaseException] = []

        def beside() -> None:
            # Raised only once the device has answered: its link is sound then, and nobody need mend it.
            try:
                if selected is not None and selected.awaited:
                    self.hear(selected)
                    self._ear.listen(ahead=True)
                meanwhile()
            except BaseException as error:
                held.append(error)

        try:
            wave = self._bench.device.acquire(channel, beside)
        finally:
            if held:
                raise held[0]
        if wave.mode != "sample":
            raise ReadBackDiffers(
                f"the device acquires in mode {wave.mode!r}; allowed is plain sample mode: it is prepared again",
                instrument="device",
            )
        return wave

    def _forget(self) -> None:
        self._channel = self._coarse = None
        self._on = self._steady = self._loaded = False
        self._ear.disturb()
        self.level_vpk = self.frequency_hz = self._asked_hz = 0.0
        self.meter_vpk = None

    def _set_level(self, level_vpk: float) -> None:
        self.meter_vpk = None
        self._loaded = False
        self.level_vpk = self._bench.source.set_level(level_vpk)
        self._asked_vpk, self._loaded = level_vpk, True

    def _wait_since(self, started_s: float, seconds: float) -> None:
        left_s = seconds - (self._bench.clock.now_s() - started_s)
        if left_s > 0.0:
            self._bench.clock.sleep(left_s)

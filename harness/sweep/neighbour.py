"""The source of another channel: on only while readings ask for it, with that channel's range set beforehand."""

from __future__ import annotations

from collections.abc import Callable

from harness.sweep.bench import Bench
from harness.sweep.plan import SweepPlan
from harness.values import Aggressor, Setting


class Neighbour:
    """Drives the channel beside. After any failure call `recover` before anything else."""

    def __init__(self, bench: Bench, plan: SweepPlan, *, disturb: Callable[[], None]) -> None:
        """Take the bench, the plan, and what is called before the bus carries a word of this channel."""
        self._bench = bench
        self._disturb = disturb
        self._plan = plan
        self._doing: Aggressor | None = None
        self._used = False
        self.level_vpk = 0.0
        """Level read back; 0 when off."""
        self.frequency_hz = 0.0
        """Read back; 0 when off."""

    @property
    def driving(self) -> bool:
        """Whether its source may be on."""
        return self._doing is not None

    def provoke(self, aggressor: Aggressor | None) -> None:
        """Drive the other channel as asked, or not at all; nothing is sent when it is so already.

        A bench without that source drives nothing, and the reading says so by a level of 0.
        """
        if aggressor == self._doing:
            return
        self.calm()
        source = self._bench.aggressor
        if aggressor is None or source is None:
            return
        self._used = True
        source.prepare()
        started_s = self._bench.clock.now_s()
        self._disturb()
        self._bench.device.select(aggressor.prediction.setting)
        self._wait_since(started_s, self._plan.device.settle.coarse_s)
        self._doing = aggressor
        if self._bench.heartbeat is not None:
            self._bench.heartbeat.beat()
        self.frequency_hz = source.set_frequency(aggressor.frequency_hz)
        self.level_vpk = source.set_level(aggressor.drive_vpk)
        source.output_on()

    def calm(self) -> None:
        """Off, and its channel parked at its least sensitive setting."""
        before = self._doing
        if before is None or self._bench.aggressor is None:
            return
        self._forget()
        self._bench.aggressor.output_off()
        self._disturb()
        self._bench.device.select(Setting(before.prediction.setting.channel, 0, 0))

    def switched_off(self) -> None:
        """Its source has been switched off by other hands."""
        self._forget()

    def recover(self) -> None:
        """After a failure: off first, its link sound again."""
        self._forget()
        if self._used and self._bench.aggressor is not None:
            self._bench.aggressor.safe_off()
            self._bench.aggressor.resynchronise()

    def _forget(self) -> None:
        self._doing = None
        self.level_vpk = self.frequency_hz = 0.0

    def _wait_since(self, started_s: float, seconds: float) -> None:
        left_s = seconds - (self._bench.clock.now_s() - started_s)
        if left_s > 0.0:
            self._bench.clock.sleep(left_s)

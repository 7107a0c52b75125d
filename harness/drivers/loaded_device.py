"""The driver of a bare gain stage: its words are loaded through the adapter, an instrument reads its output."""

from __future__ import annotations

from collections.abc import Mapping

from harness.bench import Adapter, Clock, Link, Meanwhile, idle
from harness.config import DeviceFile, InstrumentFile, InstrumentSlot
from harness.drivers.acquisition import AcquisitionDriver
from harness.errors import BenchError
from harness.values import ControlWord, Setting


class LoadedDeviceDriver(AcquisitionDriver):
    """The device under test without commands for its gain. The adapter is lent: who opened it closes it."""

    def __init__(
        self,
        link: Link,
        profile: InstrumentFile,
        slot: InstrumentSlot,
        device: DeviceFile,
        clock: Clock,
        *,
        adapter: Adapter,
        words: Mapping[Setting, ControlWord],
    ) -> None:
        """Take the word of every setting, as the gain law has it."""
        super().__init__(link, profile, slot, device, clock)
        self._adapter = adapter
        self._words = words

    def prepare(self) -> None:
        """Plain samples, record length and rate; every channel least sensitive."""
        self._prepare_acquisition()
        for channel in range(1, self._device.channels + 1):
            self.select(Setting(channel, 0, 0))

    def select(self, setting: Setting, meanwhile: Meanwhile = idle) -> tuple[tuple[str, str], ...]:
        """Load the word, also when it is loaded already: nothing but a capture can say that it still is.

        Returns the word as sent; whether it arrived is seen by who captures the bus.
        """
        self._check_known(setting)
        word = self._words.get(setting)
        if word is None or not word.bits:
            raise BenchError(
                f"no control word is known for {setting}; the device file needs a [bus] with a latch for its channel",
                **self._place("select"),
            )
        self._adapter.load_word(word.latch, word.bits, word.value)
        meanwhile()
        return (("word", str(word)),)

    def resynchronise(self) -> str:
        """Make both links sound: a failed load leaves that of the adapter suspect."""
        return f"{super().resynchronise()}; adapter {self._adapter.resynchronise()}"

"""The driver of a device with commands of its own: settings by coarse and fine index, read back."""

from __future__ import annotations

import math

from harness.bench import Clock, Link, Meanwhile, idle
from harness.config import DeviceFile, InstrumentFile, InstrumentSlot
from harness.config.instrument_file import CONSTANT, SETTING
from harness.drivers.acquisition import READ_BACK_TOLERANCE, AcquisitionDriver
from harness.drivers.constant import HeldConstant, read_constant
from harness.drivers.profile import number_text
from harness.errors import BenchError, ConfigError, Problem, ReadBackDiffers
from harness.values import Setting

NOTHING = 1e-9
"""What a position of 0 dB may read back as."""
NOTHING_CODE = 1e-6
"""How far an offset of a constant may read back from the one sent."""


class DeviceDriver(AcquisitionDriver):
    """The device under test by its instrument and device files."""

    def __init__(
        self, link: Link, profile: InstrumentFile, slot: InstrumentSlot, device: DeviceFile, clock: Clock
    ) -> None:
        """ConfigError when the profile has no commands that make a setting."""
        super().__init__(link, profile, slot, device, clock)
        if not set(SETTING) <= set(profile.commands):
            allowed = f'{", ".join(SETTING)}, or set_by = "adapter" in the device file {device.name}'
            raise ConfigError((Problem(file=profile.name, key="commands", got="no setting", allowed=allowed),))
        self._percents = device.fine.percents()
        self._positions = device.fine.positions()
        self._coarse: dict[int, int] = {}  # last coarse of each channel, as far as known

    def prepare(self) -> None:
        """Plain samples, record length and rate; every channel least sensitive."""
        self._prepare_acquisition()
        for channel in range(1, self._device.channels + 1):
            self.select(Setting(channel, 0, 0))

    def select(self, setting: Setting, meanwhile: Meanwhile = idle) -> tuple[tuple[str, str], ...]:
        """Set coarse, where it changed, and fine; wait, with `meanwhile` done meanwhile; read both back."""
        self._check_known(setting)
        known, self._coarse = self._coarse, {}  # unknown again should anything fail
        channel = setting.channel
        coarse, fine = self._coarse_words(setting.coarse), self._fine_words(setting.fine)
        fine_messages = self._commands.messages("select_fine", channel=channel, **_texts(fine))
        coarse_messages: tuple[str, ...] = ()
        if known.get(channel) != setting.coarse:
            coarse_messages = self._commands.messages("select_coarse", channel=channel, **_texts(coarse))
        questions = [self._commands.question(verb, channel=channel) for verb in ("coarse_query", "fine_query")]
        coarse_text, fine_text = self._carry_out(
            coarse_messages, fine_messages, then=questions, meanwhile=meanwhile
        )
        self._check_read_back(questions[0], coarse_text, self._used("select_coarse", coarse))
        self._check_read_back(questions[1], fine_text, self._used("select_fine", fine))
        self._coarse = {**known, channel: setting.coarse}
        return (("coarse", coarse_text), ("fine", fine_text))

    @property
    def holds_constants(self) -> bool:
        """Whether the profile says how the device keeps correction constants."""
        return set(CONSTANT) <= set(self._profile.commands)

    def read_constant(self, channel: int, coarse: int) -> HeldConstant:
        """The correction constant that the device holds for a range."""
        self._check_holds(Setting(channel, coarse, 0))
        question = self._commands.question("constant_query", channel=channel, **_texts(self._coarse_words(coarse)))
        reply = self._query(question)
        held = read_constant(reply, self._commands.placeholders("constant"))
        if held is None:
            allowed = ", ".join(sorted(self._commands.placeholders("constant") & {"gain_ratio", "offset_code"}))
            raise self._bad_reply(question, reply, f"finite numbers for {allowed}")
        return held

    def write_constant(self, channel: int, coarse: int, *, gain_ratio: float, offset_code: float) -> HeldConstant:
        """Replace the correction constant of a range; what the device then holds, read back.

        ReadBackDiffers when it holds another one; InstrumentReported when it refuses. Other constants stay.
        """
        self._check_holds(Setting(channel, coarse, 0))
        words: dict[str, float | str] = {"gain_ratio": gain_ratio, "offset_code": offset_code}
        words.update(self._coarse_words(coarse))
        self._carry_out(self._commands.messages("constant", channel=channel, **_texts(words)))
        held = self.read_constant(channel, coarse)
        right = math.isclose(held.gain_ratio, gain_ratio, rel_tol=READ_BACK_TOLERANCE)
        if held.offset_code is not None:
            right = right and math.isclose(
                held.offset_code, offset_code, rel_tol=READ_BACK_TOLERANCE, abs_tol=NOTHING_CODE
            )
        if not right:
            raise ReadBackDiffers(
                f"wrote gain ratio {number_text(gain_ratio)} and offset {number_text(offset_code)}, reads back {held}",
                **self._place("constant"),
            )
        return held

    def _check_holds(self, setting: Setting) -> None:
        if not self.holds_constants:
            raise BenchError(
                f"holds no constants as far as its profile says; it lacks {' and '.join(CONSTANT)}",
                **self._place("constant"),
            )
        self._check_known(setting)

    def _coarse_words(self, coarse: int) -> dict[str, float | str]:
        """What the placeholders of a range stand for."""
        entry = self._device.coarse[coarse]
        named = entry.full_scale_vpp if entry.value is None else entry.value
        return {"coarse": named, "full_scale_vpp": entry.full_scale_vpp}

    def _fine_words(self, fine: int) -> dict[str, float | str]:
        return {"fine": self._positions[fine], "percent": self._percents[fine]}

    def _used(self, verb: str, words: dict[str, float | str]) -> float | str:
        """What the command told the device, and so what it must answer."""
        names = self._commands.placeholders(verb)
        return next((value for name, value in words.items() if name in names), next(iter(words.values())))

    def _check_read_back(self, question: str, reply: str, wanted: float | str) -> None:
        if isinstance(wanted, str):
            if reply.strip('"').upper() != wanted.upper():
                raise ReadBackDiffers(f"set {wanted}, reads back {reply}", **self._place(question))
            return
        try:
            got = float(reply)
        except ValueError:
            raise self._bad_reply(question, reply, "a number") from None
        if not math.isclose(got, wanted, rel_tol=READ_BACK_TOLERANCE, abs_tol=NOTHING):
            raise ReadBackDiffers(f"set {number_text(wanted)}, reads back {reply}", **self._place(question))

    def _forget(self) -> None:
        super()._forget()
        self._coarse = {}


def _texts(words: dict[str, float | str]) -> dict[str, str]:
    return {name: value if isinstance(value, str) else number_text(value) for name, value in words.items()}

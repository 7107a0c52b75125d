"""What drivers of a device share, whoever sets its gain: plain records as raw codes with their scale."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence

import numpy as np

from harness.bench import Clock, Link, Meanwhile, idle
from harness.config import DeviceFile, InstrumentFile, InstrumentSlot
from harness.drivers.instrument import InstrumentDriver, in_one
from harness.drivers.profile import number_text
from harness.errors import BadReply, BenchError, ReadBackDiffers
from harness.values import Codes, Setting, Waveform

READ_BACK_TOLERANCE = 1e-6
PLAIN_MODES = ("SAMP", "SAMPLE", "NORM", "NORMAL")
"""Names that instruments have for plain samples."""
CODE_TYPES = {"int16-little": "<i2", "int16-big": ">i2"}


class AcquisitionDriver(InstrumentDriver):
    """The device under test as the instrument that takes its records."""

    def __init__(
        self, link: Link, profile: InstrumentFile, slot: InstrumentSlot, device: DeviceFile, clock: Clock
    ) -> None:
        super().__init__(link, profile, slot, clock)
        self._device = device
        self._sequence: int | None = None

    def _prepare_acquisition(self) -> None:
        """Plain samples, record length and rate, read back."""
        self._forget()
        wanted = self._device.acquisition
        self._carry_out(
            self._commands.messages("prepare", samples=wanted.samples, rate_hz=number_text(wanted.sample_rate_hz))
        )
        mode = _mode_of(self._query(self._commands.question("mode_query")))
        if mode != "sample":
            raise ReadBackDiffers(f"set plain samples, reads back {mode!r}", **self._place("mode_query"))
        question = self._commands.question("rate_query")
        self._right_rate_hz(question, self._query(question))

    def acquire(self, channel: int, meanwhile: Meanwhile = idle) -> Waveform:
        """One record, with the counter that proves it new; `meanwhile` is done while it is taken."""
        self._check_known(Setting(channel, 0, 0))
        counted_before = self._sequence if self._sequence is not None else self._sequence_number()
        self._sequence = None
        messages = self._commands.messages("acquire", channel=channel)
        acquisition = self._device.acquisition
        questions = [
            self._commands.question(verb) for verb in ("sequence_query", "scale_query", "rate_query", "mode_query")
        ]
        codes: Codes | None = None
        with self._patience(acquisition.samples / acquisition.sample_rate_hz):
            before = self._send_ahead(messages)
            if self._profile.record_together:
                (counted, scale, rate, mode), codes = self._with_codes(messages, questions, meanwhile, before)
            else:
                counted, scale, rate, mode = self._settled(messages, questions, meanwhile, before=before)
        sequence = self._whole(questions[0], counted)
        if sequence == counted_before:
            raise ReadBackDiffers(
                f"stale record: the acquisition counter still stands at {sequence}",
                **self._place(self._commands.question("sequence_query")),
            )
        waveform = Waveform(
            scale_v_per_code=self._finite(questions[1], scale),
            sample_rate_hz=self._right_rate_hz(questions[2], rate),
            mode=_mode_of(mode),
            sequence=sequence,
            codes=self._codes() if codes is None else codes,
        )
        self._sequence = sequence
        return waveform

    def _with_codes(
        self, messages: tuple[str, ...], questions: Sequence[str], meanwhile: Meanwhile, before: Sequence[str]
    ) -> tuple[list[str], Codes]:
        """The end of an acquisition, the answers behind it, and the codes: all in one answer."""
        codes_query = self._commands.question("codes_query")
        asked = (*self._ending(), *questions)
        message = in_one((*asked, codes_query))
        text, payload = self._query_answers_and_block(message, meanwhile, before=before)
        answers = self._ended(messages, message, text, len(asked))
        if payload is None:
            raise self._bad_reply(message, text, "the block of codes at its end")
        return answers, self._as_codes(codes_query, payload)

    def _codes(self) -> Codes:
        question = self._commands.question("codes_query")
        return self._as_codes(question, self._query_block(question))

    def _as_codes(self, question: str, payload: bytes) -> Codes:
        wanted = self._device.acquisition.samples
        if len(payload) != 2 * wanted:
            raise BadReply(
                f"got {len(payload)} bytes of codes; allowed: {wanted} samples of 2 bytes", **self._place(question)
            )
        codes = np.frombuffer(payload, dtype=CODE_TYPES[self._profile.code_type]).astype(np.int16)
        low_code, high_code = self._device.converter.record_codes
        if codes.min() < low_code or codes.max() > high_code:
            # Bytes in the wrong order, or a record that is none: no level can mend it.
            raise BadReply(
                f"got codes from {codes.min()} to {codes.max()}; allowed: {low_code} to {high_code}, "
                "the codes of the converter and of its products: is code_type right?",
                **self._place(question),
            )
        return codes

    def _right_rate_hz(self, question: str, reply: str) -> float:
        rate_hz = self._finite(question, reply)
        wanted_hz = self._device.acquisition.sample_rate_hz
        if not abs(rate_hz - wanted_hz) <= READ_BACK_TOLERANCE * wanted_hz:
            raise ReadBackDiffers(f"set {wanted_hz:g} Hz, reads back {rate_hz:g} Hz", **self._place(question))
        return rate_hz

    def _sequence_number(self) -> int:
        question = self._commands.question("sequence_query")
        return self._whole(question, self._query(question))

    def _whole(self, question: str, reply: str) -> int:
        try:
            return int(reply)
        except ValueError:
            raise self._bad_reply(question, reply, "a whole number") from None

    def _check_known(self, setting: Setting) -> None:
        limits = (
            ("channel", setting.channel, 1, self._device.channels),
            ("coarse", setting.coarse, 0, len(self._device.coarse) - 1),
            ("fine", setting.fine, 0, self._device.fine.count - 1),
        )
        for name, got, low, high in limits:
            if not low <= got <= high:
                raise BenchError(f"no such {name}: {got}; allowed: {low} to {high}", **self._place("select"))

    @contextlib.contextmanager
    def _patience(self, extra_s: float) -> Iterator[None]:
        """Lengthen the link's deadline by the time a record takes, where the link has one that can be set."""
        usual_s = getattr(self._link, "patience_s", None)
        if usual_s is None:
            yield
            return
        setattr(self._link, "patience_s", usual_s + extra_s)  # noqa: B010 - no part of the Link contract
        try:
            yield
        finally:
            setattr(self._link, "patience_s", usual_s)  # noqa: B010

    def _forget(self) -> None:
        self._sequence = None


def _mode_of(reply: str) -> str:
    return "sample" if reply.upper() in PLAIN_MODES else reply.lower()

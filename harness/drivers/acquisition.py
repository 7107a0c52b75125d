"""What drivers of a device share, whoever sets its gain: plain records as raw codes with their scale."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from harness.bench import Clock, Link, Meanwhile, idle
from harness.config import DeviceFile, InstrumentFile, InstrumentSlot
from harness.drivers.instrument import InstrumentDriver, in_one
from harness.drivers.profile import number_text
from harness.errors import BadReply, BenchError, ReadBackDiffers
from harness.values import Codes, Setting, Waveform, common_spacing

READ_BACK_TOLERANCE = 1e-6
MOST_APART = 64
"""Codes of a record that arithmetic has made lie no further apart."""
SAME_SCALE = 1e-3
"""A displayed scale this near to a part of the spacing goes into it."""
MOST_CODE = 1_000_000
"""Beyond every converter."""
PLAIN_MODES = ("SAMP", "SAMPLE", "NORM", "NORMAL")
"""Names that instruments have for plain samples."""
CODE_TYPES = {"int16-little": "<i2", "int16-big": ">i2", "volts-little": "<f4", "volts-big": ">f4"}
Samples = npt.NDArray[np.int16] | npt.NDArray[np.float32]
"""Of a record as they came: raw codes, or scaled volts."""


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
        samples: Samples | None = None
        with self._patience(acquisition.samples / acquisition.sample_rate_hz):
            before = self._send_ahead(messages)
            if self._profile.record_together:
                (counted, scale, rate, mode), samples = self._with_codes(messages, questions, meanwhile, before)
            else:
                counted, scale, rate, mode = self._settled(messages, questions, meanwhile, before=before)
        sequence = self._whole(questions[0], counted)
        if sequence == counted_before:
            raise ReadBackDiffers(
                f"stale record: the acquisition counter still stands at {sequence}",
                **self._place(self._commands.question("sequence_query")),
            )
        displayed_v = self._finite(questions[1], scale)
        codes, scale_v_per_code = self._as_codes(self._samples() if samples is None else samples, displayed_v)
        waveform = Waveform(
            scale_v_per_code=scale_v_per_code,
            sample_rate_hz=self._right_rate_hz(questions[2], rate),
            mode=_mode_of(mode),
            sequence=sequence,
            codes=codes,
        )
        self._sequence = sequence
        return waveform

    def _with_codes(
        self, messages: tuple[str, ...], questions: Sequence[str], meanwhile: Meanwhile, before: Sequence[str]
    ) -> tuple[list[str], Samples]:
        """The end of an acquisition, the answers behind it, and the samples: all in one answer."""
        codes_query = self._commands.question("codes_query")
        asked = (*self._ending(), *questions)
        message = in_one((*asked, codes_query))
        text, payload = self._query_answers_and_block(message, meanwhile, before=before)
        answers = self._ended(messages, message, text, len(asked))
        if payload is None:
            raise self._bad_reply(message, text, "the block of codes at its end")
        return answers, self._unpacked(codes_query, payload)

    def _samples(self) -> Samples:
        question = self._commands.question("codes_query")
        return self._unpacked(question, self._query_block(question))

    def _unpacked(self, question: str, payload: bytes) -> Samples:
        wanted, kind = self._device.acquisition.samples, np.dtype(CODE_TYPES[self._profile.code_type])
        if len(payload) != kind.itemsize * wanted:
            each = f"{wanted} samples of {kind.itemsize} bytes"
            raise BadReply(f"got {len(payload)} bytes of codes; allowed: {each}", **self._place(question))
        samples: Samples = np.frombuffer(payload, dtype=kind)
        return samples

    def _as_codes(self, samples: Samples, displayed_v: float) -> tuple[Codes, float]:
        """The codes of a record with the volts of each: those displayed, or those that scaled volts have in common."""
        question = self._commands.question("codes_query")
        if self._profile.in_volts:
            codes, scale_v_per_code = self._behind_volts(question, samples.astype(np.float64), displayed_v)
        else:
            codes, scale_v_per_code = samples.astype(np.int64), displayed_v
        low_code, high_code = self._device.converter.record_codes
        if codes.min() < low_code or codes.max() > high_code:
            # Bytes in the wrong order, or a record that is none: no level can mend it.
            raise BadReply(
                f"got codes from {codes.min()} to {codes.max()}; allowed: {low_code} to {high_code}, "
                "the codes of the converter and of its products: is code_type right?",
                **self._place(question),
            )
        return codes.astype(np.int16), scale_v_per_code

    def _behind_volts(
        self, question: str, values_v: npt.NDArray[np.float64], displayed_v: float
    ) -> tuple[npt.NDArray[np.int64], float]:
        """By the spacing of the values; a record that hardly moves has none to be seen and takes the displayed one."""
        if not np.isfinite(values_v).all():
            raise BadReply("got values that are no numbers; allowed: finite volts", **self._place(question))
        found = common_spacing(values_v)
        if found.few and displayed_v > 0.0:
            return np.rint(np.clip(values_v / displayed_v, -MOST_CODE, MOST_CODE)).astype(np.int64), displayed_v
        if found.step is None:
            raise BadReply(
                f"got scaled volts without a code spacing: {found.proof}; allowed: plain samples of a converter: "
                "switch averaging and interpolation off",
                **self._place(question),
            )
        # A record that uses only every second code shows it where the displayed scale goes into its spacing.
        apart = max(round(found.step / displayed_v), 1) if displayed_v > 0.0 else 1
        if apart > MOST_APART or abs(found.step / displayed_v / apart - 1.0) > SAME_SCALE:
            apart = 1
        return found.codes(values_v) * apart, found.step / apart

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

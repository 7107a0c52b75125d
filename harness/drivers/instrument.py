"""What all drivers share: asking, waiting, the error queue, the identity, and making a suspect link sound again."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator, Sequence

from harness.bench import Clock, Link, Meanwhile, idle
from harness.config import InstrumentFile, InstrumentSlot
from harness.drivers.block import read_answers_and_block, read_block
from harness.drivers.power import cycle_power
from harness.drivers.profile import Commands
from harness.errors import BadReply, BenchError, InstrumentReported, LinkClosed, LinkLost, WrongInstrument
from harness.values import Identity

MOST_ENTRIES = 50
"""A queue that still holds errors after so many does not empty: something is wrong with the answers."""
TRIES = 3
BACK_OFF_S = (0.0, 0.2, 1.0)
"""Waited before each try to resynchronise: an instrument that has just dropped a connection needs a moment."""
BOOT_LOOK_S = 0.5
"""Between two looks whether an instrument has started."""
NOT_A_NUMBER = 9.9e36
"""SCPI sends 9.91E37 for NaN and 9.9E37 for infinity; nothing on a bench comes near."""


class InstrumentDriver:
    """One instrument on one link. A link that failed is suspect and refused until `resynchronise`."""

    def __init__(self, link: Link, profile: InstrumentFile, slot: InstrumentSlot, clock: Clock) -> None:
        self._link = link
        self._profile = profile
        self._slot = slot
        self._clock = clock
        self._commands = Commands(profile)
        self._name = profile.name
        self._suspect = ""  # the command after which the link is suspect

    def identify(self) -> Identity:
        """Ask who answers."""
        question = self._commands.question("identify")
        reply = self._query(question)
        fields = [field.strip() for field in reply.split(",", 3)]
        if len(fields) < 4:
            raise self._bad_reply(question, reply, "maker,model,serial,firmware")
        identity = Identity(manufacturer=fields[0], model=fields[1], serial=fields[2], firmware=fields[3])
        expected = self._profile.identity
        wanted = f"{expected.manufacturer} {expected.model}"
        right = (identity.manufacturer, identity.model) == (expected.manufacturer, expected.model)
        if self._slot.serial:
            wanted += f", serial {self._slot.serial}"
            right = right and identity.serial == self._slot.serial
        if not right:
            raise WrongInstrument(
                f"{identity} answers; the bench file wants {wanted}: check address and cabling", **self._place(question)
            )
        return identity

    def drain_errors(self) -> tuple[str, ...]:
        """Empty the error queue, oldest entry first."""
        return tuple(f"{code}, {text}" for code, text in self._drained())

    def resynchronise(self) -> str:
        """Clear or reopen, identify, drain the error queue; three tries, then its power is cycled if it may be."""
        self._forget()
        failure: BenchError | None = None
        for attempt in range(TRIES):
            if BACK_OFF_S[attempt]:
                self._clock.sleep(BACK_OFF_S[attempt])
            try:
                return f"{self._sound_again(gently=attempt == 0)}, try {attempt + 1}"
            except LinkClosed:
                raise
            except BenchError as error:
                failure = error
                self._suspect = self._suspect or "resynchronise"
        if isinstance(failure, WrongInstrument):
            raise failure
        after = ""
        if self._slot.power_cycle:
            try:
                return self._powered_anew()
            except WrongInstrument:
                raise
            except BenchError as error:
                failure, after = error, " and after its power was cycled"
        raise LinkLost(
            f"does not answer soundly after {TRIES} tries{after}; last: {failure}. Check power and cables",
            **self._place("resynchronise"),
        ) from failure

    def _sound_again(self, *, gently: bool) -> str:
        """One try; what was done."""
        before = self._link.address
        done = self._renew(gently=gently)
        self._suspect = ""
        self.identify()
        self._drained()
        return done if self._link.address == before else f"found at {self._link.address}, was at {before}"

    def _powered_anew(self) -> str:
        """Cycle the power, then ask until it has started or its time is up."""
        cycle_power(self._slot.power_cycle, address=self._link.address)
        until_s = self._clock.now_s() + self._slot.boot_s
        while True:
            try:
                return f"power cycled, {self._sound_again(gently=False)}"
            except BenchError:
                self._suspect = self._suspect or "resynchronise"
                if self._clock.now_s() >= until_s:
                    raise
            self._clock.sleep(BOOT_LOOK_S)

    def close(self) -> None:
        """Close the link."""
        self._link.close()

    def _forget(self) -> None:
        """What had been set is unknown from now on."""

    def _renew(self, *, gently: bool) -> str:
        if gently:
            with contextlib.suppress(BenchError):
                self._link.clear()
                return "cleared"
        self._link.reopen()
        return "reopened"

    # ---- asking

    @contextlib.contextmanager
    def _exchange(self, command: str) -> Iterator[None]:
        """One command and its answer; unless it ends well, whatever ends it (Ctrl-C too), the link is suspect."""
        if self._suspect:
            raise LinkLost(
                f"the link is suspect since {self._suspect!r} failed: resynchronise first", **self._place(command)
            )
        self._suspect = command
        try:
            yield
        except BenchError as error:
            error.instrument = error.instrument or self._name
            error.command = error.command or command
            if isinstance(error, LinkClosed):
                self._suspect = ""
            raise
        self._suspect = ""

    def _send(self, command: str) -> None:
        with self._exchange(command):
            self._link.write(self._bytes(command))

    def _send_ahead(self, messages: Sequence[str]) -> tuple[str, ...]:
        """Send messages that are not answered; those that are to travel with the question behind them come back."""
        if self._profile.grouped and self._profile.together:
            return tuple(messages)
        for message in messages:
            self._send(message)
        return ()

    def _query(self, command: str, meanwhile: Meanwhile = idle, *, before: Sequence[str] = ()) -> str:
        """An answer, to what goes out with `before` in front; what is done `meanwhile` must leave this link alone."""
        with self._exchange(command):
            self._link.write(self._bytes(*before, command))
            meanwhile()
            return self._text(self._link.read_line())

    def _text(self, reply: bytes) -> str:
        try:
            return reply.decode("ascii").strip()
        except UnicodeDecodeError as error:
            raise BadReply(f"got {reply[:40]!r}; allowed: ASCII text", address=self._link.address) from error

    def _query_block(self, command: str, meanwhile: Meanwhile = idle) -> bytes:
        with self._exchange(command):
            self._link.write(self._bytes(command))
            meanwhile()
            return read_block(self._link)

    def _query_answers_and_block(
        self, command: str, meanwhile: Meanwhile, *, before: Sequence[str] = ()
    ) -> tuple[str, bytes | None]:
        """The answers of one line, and the block at its end; `before` goes out in front of the question."""
        with self._exchange(command):
            self._link.write(self._bytes(*before, command))
            meanwhile()
            text, payload = read_answers_and_block(self._link)
            return self._text(text), payload

    def _query_number(self, command: str) -> float:
        """A finite number; SCPI's stand-ins for NaN and infinity are refused."""
        return self._finite(command, self._query(command))

    def _finite(self, command: str, reply: str) -> float:
        value = _number(reply)
        if not abs(value) < NOT_A_NUMBER:  # NaN compares false
            raise self._bad_reply(command, reply, "a finite number")
        return value

    def _query_limitless(self, command: str) -> float:
        """A number that may be infinite, such as a load."""
        reply = self._query(command)
        value = _number(reply)
        if math.isnan(value):
            raise self._bad_reply(command, reply, "a number")
        return value

    # ---- command groups

    def _carry_out(
        self, *groups: tuple[str, ...], then: Sequence[str] = (), meanwhile: Meanwhile = idle
    ) -> list[str]:
        """Send every message, wait for operation complete, demand an empty error queue; then the answers asked for."""
        messages = tuple(message for group in groups for message in group)
        return self._settled(messages, then, meanwhile, before=self._send_ahead(messages))

    def _settled(
        self, messages: tuple[str, ...], then: Sequence[str] = (), meanwhile: Meanwhile = idle, *, before: Sequence[str]
    ) -> list[str]:
        """What ends a command group; its questions travel in one message where the profile allows, behind `before`."""
        if not self._profile.together:
            self._complete(meanwhile)
            self._check_errors(messages)
            return [self._query(question) for question in then]
        questions = (*self._ending(), *then)
        message = in_one(questions)
        return self._ended(messages, message, self._query(message, meanwhile, before=before), len(questions))

    def _ending(self) -> tuple[str, str]:
        """What every command group asks in the end."""
        return self._commands.question("complete_query"), self._commands.question("error_query")

    def _ended(self, messages: tuple[str, ...], asked: str, reply: str, questions: int) -> list[str]:
        """The answers behind those two, once these are right."""
        answers = split_answers(reply)
        if len(answers) != questions:
            raise self._bad_reply(asked, reply, f"{questions} answers with semicolons between")
        self._check_complete(self._commands.question("complete_query"), answers[0])
        self._check_errors(messages, first=answers[1])
        return answers[2:]

    def _complete(self, meanwhile: Meanwhile) -> None:
        question = self._commands.question("complete_query")
        self._check_complete(question, self._query(question, meanwhile))

    def _check_complete(self, question: str, reply: str) -> None:
        if reply not in ("1", "+1"):
            raise self._bad_reply(question, reply, "1")

    def _check_errors(self, messages: tuple[str, ...], *, first: str | None = None) -> None:
        """Demand an empty error queue; `first` is its first entry where that has been asked for already."""
        entries = self._drained(first)
        if entries:
            shown = "; ".join(f"{code}, {text}" for code, text in entries)
            raise InstrumentReported(
                f"the error queue held: {shown}",
                codes=tuple(code for code, _ in entries),
                **self._place("; ".join(messages)),
            )

    def _drained(self, first: str | None = None) -> tuple[tuple[int, str], ...]:
        question = self._commands.question("error_query")
        entries: list[tuple[int, str]] = []
        while len(entries) <= MOST_ENTRIES:
            reply, first = self._query(question) if first is None else first, None
            number, _, text = reply.partition(",")
            try:
                code = int(number)
            except ValueError:
                raise self._bad_reply(question, reply, 'code,"text"') from None
            if code == 0:
                return tuple(entries)
            entries.append((code, text.strip().strip('"')))
        raise self._bad_reply(question, f"{len(entries)} entries, the last {entries[-1]}", f"at most {MOST_ENTRIES}")

    # ---- errors

    def _bytes(self, *messages: str) -> bytes:
        return "".join(message + self._slot.termination for message in messages).encode()

    def _bad_reply(self, command: str, reply: str, allowed: str) -> BadReply:
        """The answer may belong to another question, so the link is suspect."""
        self._suspect = command
        return BadReply(f"got {reply!r}; allowed: {allowed}", **self._place(command))

    def _place(self, command: str) -> dict[str, str]:
        return {"instrument": self._name, "address": self._link.address, "command": command}


def in_one(questions: Sequence[str]) -> str:
    """Several questions as one message; each begins at the root of the command tree."""
    return ";".join(question if question.startswith(("*", ":")) else f":{question}" for question in questions)


def split_answers(reply: str) -> list[str]:
    """The answers to one message: cut at semicolons that stand outside of quotes."""
    whole = reply.split(";")
    if "'" not in reply and all(piece.count('"') % 2 == 0 for piece in whole):
        return [piece.strip() for piece in whole]
    pieces, quote = [""], ""
    for character in reply:
        if quote:
            quote = "" if character == quote else quote
        elif character in "\"'":
            quote = character
        elif character == ";":
            pieces.append("")
            continue
        pieces[-1] += character
    return [piece.strip() for piece in pieces]


def _number(reply: str) -> float:
    try:
        return float(reply)
    except ValueError:
        return math.nan

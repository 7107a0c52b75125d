"""What every simulated instrument is: bytes in, bytes out, with the common commands of IEEE 488.2."""

from __future__ import annotations

from harness.bench import Clock
from harness.simulated.error_list import Refusal
from harness.simulated.parameters import IdentityTruth
from harness.simulated.status import OPERATION_COMPLETE, Status
from harness.simulated.syntax import units
from harness.simulated.tree import Answer, Leaf, Tree
from harness.simulated.value import Number, Span

LONGEST_MESSAGE = 65_536


class Instrument:
    """A message-based instrument; every unit of a message is carried out at the instrument's own time `now_s`.

    Its own time runs ahead of the clock when a message makes it wait (*OPC?, *WAI, fetching); who carries the bytes
    holds the answer back until `free_at_s`, plus the latency of the reply.
    """

    def __init__(self, identity: IdentityTruth, clock: Clock, *, channels: int = 1) -> None:
        self.identity = identity
        self.latency_s = identity.latency_s
        self.status = Status()
        self.tree = Tree(suffix_max=channels)
        self._clock = clock
        self._free_at_s = clock.now_s()
        self._complete_at_s = self._free_at_s
        self._complete_asked = False
        self._answers: list[Answer] = []
        self.now_s = self._free_at_s
        self._common()

    @property
    def free_at_s(self) -> float:
        """When everything handled so far is answered and the next message may start, s."""
        return self._free_at_s

    def handle(self, message: bytes, *, arrived_s: float | None = None) -> bytes:
        """Carry out one or several messages, each ended by a line feed (the last may lack it); all their answers.

        They begin when they arrived, or now: what the simulation takes to compute is no time of the instrument.
        """
        return b"".join(self._line(line, arrived_s) for line in message.split(b"\n"))

    def status_byte(self, *, message_available: bool = False) -> int:
        """The status byte, for a serial poll."""
        self.now_s = max(self._clock.now_s(), self._free_at_s)
        self._note_completion()
        return self.status.byte(message_available=message_available)

    def occupy(self, seconds: float) -> None:
        """Something has begun that is complete only after some seconds."""
        self._complete_at_s = max(self._complete_at_s, self.now_s + seconds)

    def hurry(self, share: float) -> None:
        """Forget a share of what is left until everything is complete; what settles goes on as before."""
        left_s = self._complete_at_s - self._clock.now_s()
        if left_s > 0.0:
            self._complete_at_s -= share * left_s

    def wait(self) -> None:
        """Let the instrument's own time pass until nothing is under way."""
        self.now_s = max(self.now_s, self._complete_at_s)

    def reset(self) -> None:
        """*RST: to be filled in by each instrument; the error queue stays."""

    def _line(self, line: bytes, arrived_s: float | None) -> bytes:
        self.now_s = max(self._clock.now_s() if arrived_s is None else arrived_s, self._free_at_s)
        self._answers = []
        path = self.tree.start
        try:
            if len(line) > LONGEST_MESSAGE:
                raise Refusal(-363, f"{len(line)} bytes, at most {LONGEST_MESSAGE}")
            for text in units(line.rstrip(b"\r")):
                call, path = self.tree.find(text, path)
                try:
                    answer = call()
                except Refusal as refusal:
                    # A command that was understood but cannot be carried out does not stop the rest of the message.
                    if refusal.code > -200:
                        raise
                    self._refuse(refusal)
                else:
                    if answer is not None:
                        self._answers.append(answer)
        except Refusal as refusal:
            self._refuse(refusal)
        self._free_at_s = self.now_s
        pieces = [answer.encode() if isinstance(answer, str) else answer for answer in self._answers]
        self._answers = []
        return b";".join(pieces) + b"\n" if pieces else b""

    def _refuse(self, refusal: Refusal) -> None:
        self.status.report(refusal.code, refusal.detail)

    def _note_completion(self) -> None:
        if self._complete_asked and self.now_s >= self._complete_at_s:
            self._complete_asked = False
            self.status.events |= OPERATION_COMPLETE

    def _common(self) -> None:
        tree, status = self.tree, self.status
        tree.query("*IDN", lambda _: str(self.identity))
        tree.query("*TST", lambda _: "0")
        tree.query("*STB", lambda _: str(self._polled()))
        tree.query("*ESR", lambda _: str(self._events()))
        tree.add("*OPC", Leaf(run=lambda _, __: self._ask_completion(), ask=lambda _, __: self._complete()))
        tree.action("*WAI", self.wait)
        tree.action("*CLS", self._clear_status)
        tree.action("*RST", self._reset)
        byte = Span(low=0.0, high=255.0, default=0.0)
        for name, register in (("*ESE", "event_enable"), ("*SRE", "service_enable")):
            tree.number(
                name,
                Number(),
                lambda _: byte,
                get=lambda _, register=register: float(getattr(status, register)),  # type: ignore[misc]
                put=lambda _, value, register=register: setattr(status, register, round(value)),  # type: ignore[misc]
            )
        tree.query("SYSTem:ERRor[:NEXT]", lambda _: status.next_error())
        tree.query("SYSTem:ERRor:ALL", lambda _: status.all_errors())
        tree.query("SYSTem:ERRor:COUNt", lambda _: str(status.error_count))
        tree.query("SYSTem:VERSion", lambda _: "1999.0")

    def _polled(self) -> int:
        self._note_completion()
        return self.status.byte(message_available=bool(self._answers))

    def _events(self) -> int:
        self._note_completion()
        return self.status.take_events()

    def _ask_completion(self) -> None:
        self._complete_asked = True
        self._note_completion()

    def _complete(self) -> str:
        self.wait()
        return "1"

    def _clear_status(self) -> None:
        self._complete_asked = False
        self.status.clear()

    def _reset(self) -> None:
        self._complete_asked = False
        self.reset()

"""Questions that need no device file: which settings a device has, its converter, what its input bears."""

from __future__ import annotations

import math
from collections.abc import Sequence

from harness.bench import Clock, Link
from harness.config import InstrumentFile, InstrumentSlot
from harness.config.instrument_file import LISTS
from harness.drivers.instrument import NOT_A_NUMBER, InstrumentDriver
from harness.drivers.profile import number_text
from harness.values import Surveyed, SurveyedConverter, SurveyedInput

MOST_CHANNELS = 64
MOST_POSITIONS = 10_000


class SurveyDriver(InstrumentDriver):
    """A device that is asked and not told anything: no setting of it is changed."""

    def __init__(self, link: Link, profile: InstrumentFile, slot: InstrumentSlot, clock: Clock) -> None:
        super().__init__(link, profile, slot, clock)
        self._known = frozenset(profile.commands)

    def survey(self) -> Surveyed:
        """What the device says of itself, as far as its profile has questions.

        BadReply where an answer is malformed or empty, lists something twice, or differs from channel to channel;
        InstrumentReported where the device does not know a question.
        """
        lists = set(LISTS) <= self._known
        channels = self._channels() if lists else None
        every = range(1, (channels or 1) + 1)
        found = Surveyed(
            channels=channels,
            coarse=self._alike("coarse_list_query", every, texts=True) if lists else (),
            fine=tuple(map(float, self._alike("fine_list_query", every, texts=False))) if lists else (),
            coarse_is_scale="full_scale_vpp" in self._names("select_coarse"),
            fine_is_percent="percent" in self._names("select_fine"),
            converter=self._converter() if "converter_query" in self._known else None,
            input=self._input(every) if "input_limit_query" in self._known else None,
        )
        self._check_errors(tuple(verb for verb in (*LISTS, "converter_query", "input_limit_query")))
        return found

    def _names(self, verb: str) -> frozenset[str]:
        return self._commands.placeholders(verb) if verb in self._known else frozenset()

    def _channels(self) -> int:
        question = self._commands.question("channels_query")
        reply = self._query(question)
        if not (reply.isascii() and reply.isdigit() and 1 <= int(reply) <= MOST_CHANNELS):
            raise self._bad_reply(question, reply, f"a number of channels, 1 to {MOST_CHANNELS}")
        return int(reply)

    def _alike(self, verb: str, channels: Sequence[int], *, texts: bool) -> tuple[float | str, ...]:
        """The list that every channel answers."""
        first: tuple[float | str, ...] | None = None
        for channel in channels:
            question = self._commands.question(verb, channel=channel)
            reply = self._query(question)
            entries = self._entries(question, reply, texts=texts)
            if first is not None and entries != first:
                raise self._bad_reply(question, reply, f"the list of channel {channels[0]}: one that all channels have")
            first = entries
            if "channel" not in self._names(verb):
                break
        return first or ()

    def _entries(self, question: str, reply: str, *, texts: bool) -> tuple[float | str, ...]:
        kind = "numbers or quoted names" if texts else "finite numbers"
        allowed = f"{kind} with commas between, each once, 1 to {MOST_POSITIONS} of them"
        cells = split_list(reply)
        if len(cells) > MOST_POSITIONS:
            raise self._bad_reply(question, f"{len(cells)} entries", allowed)
        entries: list[float | str] = []
        known: set[str] = set()
        for cell in cells:
            quoted = len(cell) > 2 and cell[0] == cell[-1] and cell[0] in "\"'"
            entry: float | str = cell[1:-1] if quoted and texts else _finite(cell)
            if entry != entry:
                raise self._bad_reply(question, reply, f"{allowed}; {cell!r} is none")
            once = entry.upper() if isinstance(entry, str) else number_text(entry)
            if once in known:
                raise self._bad_reply(question, reply, f"{allowed}; {cell} comes twice")
            known.add(once)
            entries.append(entry)
        return tuple(entries)

    def _converter(self) -> SurveyedConverter:
        question = self._commands.question("converter_query")
        reply = self._query(question)
        numbers = [_finite(cell) for cell in split_list(reply)]
        whole = len(numbers) == 4 and all(number == round(number) for number in numbers[:3] if math.isfinite(number))
        if not whole or not all(map(math.isfinite, numbers)) or numbers[3] <= 0.0:
            raise self._bad_reply(question, reply, "bits, lowest code, highest code, codes a volt: three whole numbers")
        bits, low, high = (int(number) for number in numbers[:3])
        return SurveyedConverter(bits=bits, low_code=low, high_code=high, codes_per_v=numbers[3])

    def _input(self, channels: Sequence[int]) -> SurveyedInput:
        """Of the channel that bears least."""
        found: list[SurveyedInput] = []
        for channel in channels:
            question = self._commands.question("input_limit_query", channel=channel)
            reply = self._query(question)
            numbers = [_finite(cell) for cell in split_list(reply)]
            if len(numbers) != 2 or not all(number > 0.0 for number in numbers):
                raise self._bad_reply(question, reply, "impedance in ohm and limit in V peak, both above 0")
            found.append(SurveyedInput(impedance_ohm=numbers[0], max_vpk=numbers[1]))
            if found[-1].impedance_ohm != found[0].impedance_ohm:
                ohm = number_text(found[0].impedance_ohm)
                raise self._bad_reply(question, reply, f"the {ohm} ohm of channel {channels[0]}: all inputs alike")
        return min(found, key=lambda one: one.max_vpk)


def split_list(reply: str) -> list[str]:
    """The entries of an answer: cut at commas that stand outside of quotes."""
    pieces, quote = [""], ""
    for character in reply:
        if quote:
            quote = "" if character == quote else quote
        elif character in "\"'":
            quote = character
        elif character == ",":
            pieces.append("")
            continue
        pieces[-1] += character
    return [piece.strip() for piece in pieces]


def _finite(cell: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        return math.nan
    return value if abs(value) < NOT_A_NUMBER else math.nan

"""From our verbs to an instrument's commands: placeholders filled from the instrument file."""

from __future__ import annotations

import string

from harness.config import InstrumentFile
from harness.config.instrument_file import COMMON, VERBS
from harness.errors import ConfigError, Problem

_FIELDS: dict[str, tuple[str, ...]] = {
    "load": ("ohm",),
    "frequency": ("hz",),
    "level": ("level",),
    "steady": ("volts",),
    "select_coarse": ("channel", "full_scale_vpp", "coarse"),
    "coarse_query": ("channel",),
    "select_fine": ("channel", "percent", "fine"),
    "fine_query": ("channel",),
    "acquire": ("channel",),
    "load_word": ("latch", "bits", "word"),
    "temperature": ("celsius",),
    "voltage": ("volts",),
    "constant": ("channel", "full_scale_vpp", "coarse", "gain_ratio", "offset_code"),
    "constant_query": ("channel", "full_scale_vpp", "coarse"),
    "coarse_list_query": ("channel",),
    "fine_list_query": ("channel",),
    "input_limit_query": ("channel",),
}
_ANSWERED = ("identify", "arm", "fetch", "load_word")


class Commands:
    """The messages of one instrument model, checked once."""

    def __init__(self, profile: InstrumentFile) -> None:
        """Check every message of the profile.

        Raises:
            ConfigError: a placeholder that its verb does not fill, or several messages where one answer is awaited.
        """
        self._fixed: dict[str, tuple[str, ...]] = {}  # of verbs without placeholders: asked for in every reading
        self._messages = {verb: (text,) if isinstance(text, str) else text for verb, text in profile.commands.items()}
        problems = [
            Problem(file=profile.name, key=f"commands.{verb}", got=got, allowed=allowed)
            for verb in (*COMMON, *VERBS[profile.role])
            if verb in self._messages  # which verbs may be left out is known to the file's own check
            for got, allowed in _faults(profile.role, verb, self._messages[verb])
        ]
        if problems:
            raise ConfigError(tuple(problems))
        self._fixed = {verb: self.messages(verb) for verb in self._messages if not self.placeholders(verb)}

    def messages(self, verb: str, **fields: str | int) -> tuple[str, ...]:
        """The messages of a verb, in order, without terminators."""
        if not fields and verb in self._fixed:
            return self._fixed[verb]
        return tuple(message.format(**fields) for message in self._messages[verb])

    def question(self, verb: str, **fields: str | int) -> str:
        """The one message of a verb that is answered."""
        return self.messages(verb, **fields)[0]

    def placeholders(self, verb: str) -> frozenset[str]:
        """Names in braces that the messages of a verb hold."""
        formatter = string.Formatter()
        return frozenset(
            name for message in self._messages[verb] for _, name, _, _ in formatter.parse(message) if name is not None
        )


def fields_of(role: str, verb: str) -> tuple[str, ...]:
    """The placeholders that a verb fills."""
    if verb == "prepare":
        return ("samples", "rate_hz") if role == "device" else ()
    return _FIELDS.get(verb, ())


def number_text(value: float) -> str:
    """A number as sent: ten digits, no unit."""
    return f"{value:.10g}"


def _faults(role: str, verb: str, messages: tuple[str, ...]) -> list[tuple[str, str]]:
    faults = []
    if (verb.endswith("_query") or verb in _ANSWERED) and len(messages) != 1:
        faults.append((f"{len(messages)} messages", "one message, because one answer is awaited"))
    if not messages or not all(message.strip() for message in messages):
        faults.append(("an empty message", "a command"))
    if verb == "constant" and not any("{gain_ratio}" in message for message in messages):
        faults.append(("no {gain_ratio}", "a command that writes it"))
    allowed = fields_of(role, verb)
    shown = ", ".join(f"{{{name}}}" for name in allowed) or "no placeholder"
    for message in messages:
        try:
            parts = list(string.Formatter().parse(message))
        except ValueError as error:
            faults.append((f"{message!r} ({error})", shown))
            continue
        faults += [
            (f"{{{name}{':' + spec if spec else ''}}} in {message!r}", shown)
            for _, name, spec, conversion in parts
            if name is not None and (name not in allowed or spec or conversion)
        ]
    return faults

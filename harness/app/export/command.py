"""A program called for a unit: as a list of words without a shell, with an end to its time, its words kept short."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import tempfile
from collections.abc import Mapping, Sequence

LAST_WORDS = 300
"""Characters of its output that are told when it fails."""


def words_of(command: Sequence[str], values: Mapping[str, str]) -> list[str]:
    """The command with its placeholders filled; what is filled in is not looked at again."""
    return [_filled(argument, values) for argument in command]


def call(words: Sequence[str], *, timeout_s: float) -> str:
    """Run it; why it failed, empty where it ended with 0. What it had started ends with it when its time is over."""
    with tempfile.TemporaryFile() as said:
        try:
            # A group of its own: whoever it has started is ended with it, and Ctrl-C at the terminal is not its matter.
            process = subprocess.Popen(
                words, stdin=subprocess.DEVNULL, stdout=said, stderr=subprocess.STDOUT, start_new_session=True
            )
        except (OSError, ValueError) as error:
            return f"{words[0]}: cannot be started: {getattr(error, 'strerror', None) or error}"
        try:
            code = process.wait(timeout_s)
        except subprocess.TimeoutExpired:
            return f"{words[0]}: not ready after {timeout_s:g} s, ended{_last(said.fileno())}"
        finally:
            _end(process)
        return "" if code == 0 else f"{words[0]}: exit code {code}{_last(said.fileno())}"


def _end(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def _last(descriptor: int) -> str:
    size = os.fstat(descriptor).st_size
    text = os.pread(descriptor, LAST_WORDS, max(0, size - LAST_WORDS)).decode("utf-8", "replace").strip()
    return f": {' '.join(text.split())}" if text else ""


def _filled(argument: str, values: Mapping[str, str]) -> str:
    parts = argument.split("{")
    filled = [parts[0]]
    for part in parts[1:]:
        name, brace, rest = part.partition("}")
        filled.append(values[name] + rest if brace and name in values else "{" + part)
    return "".join(filled)

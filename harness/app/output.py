"""Where words go: people's words to stderr, results to stdout; and folders that must be writable before a run."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

from harness.errors import ReportError, UsageError


def say(text: str) -> None:
    """A line for a person."""
    print(text, file=sys.stderr, flush=True)  # noqa: T201 - this is where words go


def result(text: str) -> None:
    """A line of the command's result."""
    print(text, flush=True)  # noqa: T201


def result_json(content: Any) -> None:
    """One machine-readable object on stdout."""
    result(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False))


def ready_folder(folder: str) -> Path:
    """A folder that exists and can be written; UsageError before anything else has happened."""
    path = Path(folder)
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"{folder}: cannot be made: {error.strerror}; name another with --reports") from error
    if not os.access(path, os.W_OK | os.X_OK) or not _takes_a_file(path):
        raise UsageError(f"{folder}: not writable; mend its permissions or name another with --reports")
    return path


def _takes_a_file(folder: Path) -> bool:
    probe = folder / f".writable-{os.getpid()}"
    try:
        probe.write_text("")
        probe.unlink()
    except OSError:
        return False
    return True


def write_file(path: Path, text: str) -> None:
    """Write a whole file or nothing: under another name first, then renamed."""
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        beside.write_text(text, encoding="utf-8")
        os.replace(beside, path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise ReportError(
            f"{path}: cannot be written: {error.strerror}; the record is complete, see `gainladder report`"
        ) from error

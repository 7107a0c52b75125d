"""What a place remembers, and how its page and the processes of its bench talk: small files, each written whole.

    reports/line/<place>/
        session.json        the state of the page
        alive               touched every second while the page is served: a sign of life
        try-<ticket>/       one for each try
            order.json      what is to be done; gone when it is withdrawn
            go              the operator has connected the unit
            phase.json      how far the process has come
            said.txt        its words

Files, because they outlive whichever of the two processes dies first.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from harness.app.output import write_file

KEPT_TRIES = 20
"""Folders of tries that stay, for whoever looks for the words of a process."""


@dataclass(frozen=True, slots=True)
class Place:
    """The folder of a place."""

    path: Path

    @classmethod
    def of(cls, reports: str, name: str) -> Place:
        """The folder of a place of some name; nothing is made yet."""
        return cls(Path(reports) / "line" / (re.sub(r"[^A-Za-z0-9_-]+", "-", name).strip("-") or "place"))

    @property
    def session(self) -> Path:
        """The state of the page."""
        return self.path / "session.json"

    @property
    def alive(self) -> Path:
        """The sign of life."""
        return self.path / "alive"

    @property
    def lock(self) -> str:
        """What one page at a time holds."""
        return f"gainladder line {self.path.absolute()}"

    def try_of(self, ticket: int) -> Try:
        """The folder of a try."""
        return Try(self.path / f"try-{ticket}")

    def beat(self) -> None:
        """A sign of life."""
        self.alive.touch()

    def last_beat(self) -> int:
        """When the last one was: any number, another one after each; 0 before the first."""
        try:
            return self.alive.stat().st_mtime_ns
        except OSError:
            return 0

    def newest(self) -> int:
        """The ticket of the newest try that has a folder; 0 without one."""
        names = (folder.name.removeprefix("try-") for folder in self.path.glob("try-*"))
        return max((int(name) for name in names if name.isdecimal()), default=0)

    def withdraw_all_but(self, ticket: int) -> None:
        """No other try than this one is wanted; of old ones only the newest folders stay."""
        for folder in self.path.glob("try-*"):
            number = folder.name.removeprefix("try-")
            if not number.isdecimal() or int(number) == ticket:
                continue
            Try(folder).withdraw()
            if int(number) <= ticket - KEPT_TRIES:
                shutil.rmtree(folder, ignore_errors=True)


@dataclass(frozen=True, slots=True)
class Try:
    """The folder of one try."""

    path: Path

    @property
    def lock(self) -> str:
        """What the process of the try holds while it lives."""
        return f"gainladder line {self.path.absolute()}"

    @property
    def said(self) -> Path:
        """The words of the process."""
        return self.path / "said.txt"

    @property
    def wanted(self) -> bool:
        """Whether the try was not withdrawn."""
        return (self.path / "order.json").exists()

    @property
    def may_go(self) -> bool:
        """Whether the operator has connected the unit."""
        return (self.path / "go").exists()

    def order(self, content: Mapping[str, Any]) -> None:
        """Lay down what is to be done, in a fresh folder."""
        shutil.rmtree(self.path, ignore_errors=True)
        self.path.mkdir(parents=True)
        write_json(self.path / "order.json", content)

    def ordered(self) -> dict[str, Any] | None:
        """What is to be done; None where it was withdrawn."""
        return read_json(self.path / "order.json")

    def go(self) -> None:
        """Let the process open the bench."""
        (self.path / "go").touch()

    def withdraw(self) -> None:
        """The try is not wanted any more."""
        (self.path / "order.json").unlink(missing_ok=True)

    def tell(self, phase: str, **content: Any) -> None:
        """Say how far the process has come."""
        write_json(self.path / "phase.json", {"phase": phase, "pid": os.getpid(), **content})

    def told(self) -> dict[str, Any]:
        """How far the process has come; empty before its first word."""
        return read_json(self.path / "phase.json") or {}


def write_json(path: Path, content: Mapping[str, Any]) -> None:
    """Write a small file whole or not at all."""
    write_file(path, json.dumps(content, ensure_ascii=False, allow_nan=False))


def read_json(path: Path) -> dict[str, Any] | None:
    """A small file; None where there is none, or it is damaged: then it is as good as none."""
    with contextlib.suppress(OSError, ValueError):
        content = json.loads(path.read_text(encoding="utf-8"))
        if isinstance(content, dict):
            return content
    return None

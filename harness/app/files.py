"""Reads configuration files; the problems of all of them come at once."""

from __future__ import annotations

import posixpath
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from harness.config import parse
from harness.config.model import Versioned
from harness.config.parse import sha256_of
from harness.errors import ConfigError, Problem
from harness.values import ConfigFile

Model = TypeVar("Model", bound=Versioned)


@dataclass(slots=True)
class FileSet:
    """Files read so far, and what is wrong with them."""

    stored: dict[str, ConfigFile] = field(default_factory=dict)
    """By role; when a run is judged again these come from its record instead of the disk."""
    problems: list[Problem] = field(default_factory=list)
    from_record: bool = False

    def read(self, model: type[Model], role: str, path: str, *, named_by: str = "the command line") -> Model | None:
        """One file, typed; None when it is wrong, the problem then waits in `problems`."""
        if not self.from_record or role not in self.stored:
            text = self.text(path, named_by)
            if text is None:
                return None
            self.stored[role] = ConfigFile(role=role, path=shown(path), version=0, sha256=sha256_of(text), text=text)
        file = self.stored[role]
        try:
            content = parse(model, file.text, file=path)
        except ConfigError as error:
            self.problems.extend(error.problems)
            return None
        self.stored[role] = ConfigFile(
            role=role, path=file.path, version=content.version, sha256=file.sha256, text=file.text
        )
        return content

    def check(self) -> None:
        """ConfigError with every problem found so far, if any."""
        if self.problems:
            raise ConfigError(tuple(dict.fromkeys(self.problems)))

    def text(self, path: str, named_by: str) -> str | None:
        """A file as it stands; None when it cannot be read, the problem then waits in `problems`."""
        try:
            return Path(path).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
            self.problems.append(
                Problem(file=path, key=f"(named by {named_by})", got=reason, allowed="a readable TOML file")
            )
            return None


def beside(path: str, name: str) -> str:
    """A file named in another one, relative to it."""
    return name if posixpath.isabs(name) else posixpath.normpath(posixpath.join(posixpath.dirname(path), name))


def shown(path: str) -> str:
    """For the record: as the user named it, but an absolute path loses its folders, which are the machine's own."""
    return posixpath.basename(path) if posixpath.isabs(path) else posixpath.normpath(path)

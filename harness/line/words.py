"""The texts of the page, by language: files beside this one, or one of the plant's own."""

from __future__ import annotations

import string
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from harness.errors import ConfigError, Problem

FOLDER = Path(__file__).parent / "languages"
FIRST = "en"
"""The language whose keys and placeholders all others have."""


class Words:
    """Texts by key path."""

    def __init__(self, texts: Mapping[str, str], language: str = FIRST) -> None:
        """Take texts by key path, such as `title.badge`."""
        self.texts = texts
        self.language = language

    def say(self, key: str, **values: object) -> str:
        """The text of a key, filled in; the key itself where there is no such text: something must be shown."""
        text = self.texts.get(key)
        return key if text is None else text.format(**values)

    def known(self, key: str, other: str) -> str:
        """The text of a key without placeholders; `other` where there is none."""
        return self.texts.get(key, other)


def shipped() -> tuple[str, ...]:
    """The languages that come along."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.toml")))


def read_words(language: str) -> Words:
    """The texts of a language that comes along, or of a file.

    ConfigError: no such language; a file that cannot be read, lacks a text, has one too many, or other placeholders.
    """
    own = language.endswith(".toml")
    if not own and language not in shipped():
        allowed = f"one of {', '.join(shipped())}, or a .toml file"
        raise ConfigError((Problem(file="the line file", key="language", got=repr(language), allowed=allowed),))
    texts = _read(Path(language) if own else FOLDER / f"{language}.toml")
    if language != FIRST:
        problems = tuple(_differences(_read(FOLDER / f"{FIRST}.toml"), texts, language))
        if problems:
            raise ConfigError(problems)
    return Words(texts, texts["page.language"])


def placeholders(text: str) -> frozenset[str]:
    """Names in braces."""
    return frozenset(name for _, name, _, _ in string.Formatter().parse(text) if name is not None)


def _read(path: Path) -> dict[str, str]:
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        allowed = f"a TOML file with the keys of {FIRST}.toml"
        raise ConfigError((Problem(file=str(path), key="(text)", got=str(error), allowed=allowed),)) from error
    return dict(_flat(content, ""))


def _flat(content: Mapping[str, Any], before: str) -> Iterator[tuple[str, str]]:
    for key, value in content.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{before}{key}.")
        else:
            yield f"{before}{key}", str(value)


def _differences(first: Mapping[str, str], texts: Mapping[str, str], file: str) -> Iterator[Problem]:
    for key in first.keys() - texts.keys():
        yield Problem(file=file, key=key, got="nothing", allowed=f"a text that says: {first[key]}")
    for key in texts.keys() - first.keys():
        yield Problem(file=file, key=key, got="an unknown key", allowed=f"only the keys of {FIRST}.toml")
    for key in first.keys() & texts.keys():
        try:
            same = placeholders(texts[key]) == placeholders(first[key])
        except ValueError:
            same = False
        if not same:
            names = ", ".join(f"{{{name}}}" for name in sorted(placeholders(first[key]))) or "no braces"
            yield Problem(file=file, key=key, got=repr(texts[key]), allowed=f"a text with {names}")

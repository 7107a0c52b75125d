"""Text to a typed description; every problem of the text becomes a Problem with its key path."""

from __future__ import annotations

import hashlib
import tomllib
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from harness.errors import ConfigError, Problem

Model = TypeVar("Model", bound=BaseModel)


def sha256_of(text: str) -> str:
    """The hash under which a file is named in records and pages.

    Args:
        text: the file's text.
    Returns:
        64 hexadecimal digits.
    """
    return hashlib.sha256(text.encode()).hexdigest()


def parse(model: type[Model], text: str, *, file: str) -> Model:
    """Read one configuration file.

    Args:
        model: the class that describes this kind of file.
        text: TOML.
        file: the name to use in messages.
    Returns:
        the typed description.
    Raises:
        ConfigError: all problems of the text: not TOML, unknown or missing keys, wrong types, values out of range.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigError((Problem(file=file, key="(text)", got=str(error), allowed="TOML 1.0"),)) from error
    return validate(model, data, file=file)


def validate(model: type[Model], data: Any, *, file: str, at: tuple[str | int, ...] = ()) -> Model:
    """Read one table of a file that is TOML already.

    Args:
        model: the class that describes the table.
        data: the table.
        file: the name to use in messages.
        at: where in the file the table stands, keys and list positions from the root.
    Returns:
        the typed description.
    Raises:
        ConfigError: all problems of the table: unknown or missing keys, wrong types, values out of range.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise ConfigError(tuple(_problem(file, entry, model, at) for entry in error.errors())) from error


def _problem(file: str, entry: Any, model: type[BaseModel], at: tuple[str | int, ...]) -> Problem:
    kind = entry["type"]
    if kind == "extra_forbidden":
        got, allowed = "an unknown key", _known_keys(model, entry["loc"])
    elif kind == "missing":
        got, allowed = "nothing", "this key is required"
    else:
        got, allowed = _shown(entry["input"]), _allowed(entry)
    return Problem(file=file, key=key_path((*at, *entry["loc"])), got=got, allowed=allowed)


def key_path(location: tuple[str | int, ...]) -> str:
    """A key path as people write it.

    Args:
        location: keys and list positions from the root.
    Returns:
        such as `coarse[3].full_scale_vpp`.
    """
    text = ""
    for part in location:
        text += f"[{part}]" if isinstance(part, int) else (f".{part}" if text else part)
    return text or "(whole file)"


def _shown(value: Any) -> str:
    text = repr(value)
    return f"{text if len(text) <= 60 else text[:57] + '...'} ({type(value).__name__})"


def _allowed(entry: Any) -> str:
    message: str = entry["msg"]
    for prefix in ("Input should be a valid ", "Input should be ", "Value error, "):
        if message.startswith(prefix):
            return message[len(prefix) :]
    return message


def _known_keys(model: type[BaseModel], location: tuple[str | int, ...]) -> str:
    current: Any = model
    for part in location[:-1]:
        if isinstance(part, int):
            continue
        field = getattr(current, "model_fields", {}).get(part)
        current = _inner(field.annotation) if field is not None else None
    names = sorted(getattr(current, "model_fields", {}))
    return "one of " + ", ".join(names) if names else "no such key"


def _inner(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        found = _inner(argument)
        if found is not None:
            return found
    return None

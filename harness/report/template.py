"""The page's templates: files beside this module, everything escaped."""

from __future__ import annotations

from typing import Any

from harness.report.words import plain


def render(name: str, content: dict[str, Any]) -> str:
    """A template filled in.

    Args:
        name: file name in templates/.
        content: values by the names that the template uses.
    Returns:
        the text.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("harness.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_finalize,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template(name).render(content)


def _finalize(value: Any) -> Any:
    """Texts of instruments may hold what no page may; exact type, since markup is a str of its own kind."""
    if value is None:
        return ""
    return plain(value) if type(value) is str else value

"""A real browser for tests of pages: the system's Chromium, driven by playwright; nothing is downloaded."""

from __future__ import annotations

import importlib.util
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
MISSING = (
    "no Chromium on PATH: no page was opened in a browser"
    if CHROMIUM is None
    else "playwright is not installed (extra `test`): no page was opened in a browser"
    if importlib.util.find_spec("playwright") is None
    else ""
)
NEEDS_BROWSER = [pytest.mark.browser, pytest.mark.skipif(bool(MISSING), reason=MISSING or "there is one")]


@contextmanager
def chromium() -> Iterator[Any]:
    """A browser without a window, closed at the end."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def shown(browser: Any, file: Path, *, width: int = 1280, height: int = 800, scheme: str = "light") -> Iterator[Any]:
    """A file as a page; what it says to the console, and an error in it, fail the test."""
    with browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme) as context:
        page = context.new_page()
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: said.append(request.url) if request.url.startswith("http") else None)
        page.goto(file.as_uri())
        yield page
        assert said == []


def printed(page: Any) -> bytes:
    """The page on A4, as a PDF."""
    return bytes(page.pdf(format="A4", prefer_css_page_size=True))

"""The page in a real browser: no error, the verdict is there, the first screen does not scroll."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from types import SimpleNamespace

import pytest

from harness import report

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--window-size=1280,800",
    "--enable-logging=stderr",
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on PATH: the page was not opened in a browser"),
]

PROBE = (
    "<script>addEventListener('load', () => {"
    "const below = document.querySelector('header.first').getBoundingClientRect().bottom;"
    "const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;"
    "document.body.setAttribute('data-below', Math.round(below));"
    "document.body.setAttribute('data-wide', wide);"
    "console.log('probe-ran');});</script></body>"
)
"""Only the test adds a script, to measure the layout; the page has none."""


def opened(page: str, folder: Path) -> tuple[str, str]:
    """The DOM and the browser's log."""
    path = folder / "page.html"
    path.write_text(page, encoding="utf-8")
    command = [str(CHROMIUM), *FLAGS, f"--user-data-dir={folder / 'profile'}", "--dump-dom", path.as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=90, check=True)
    return done.stdout, done.stderr


@pytest.mark.parametrize(("name", "verdict"), [("failing", "FAIL"), ("mixed", "FAIL"), ("metrology", "FAIL")])
def test_opens_without_error_and_fits_the_first_screen(
    made: SimpleNamespace, tmp_path: Path, name: str, verdict: str
) -> None:
    page = report.html(made.header(), getattr(made, name), made.events())
    dom, log = opened(page.replace("</body>", PROBE), tmp_path)
    assert f'<span class="word">{verdict}</span>' in dom
    console = [line for line in log.splitlines() if "CONSOLE" in line]
    assert [line for line in console if "probe-ran" not in line] == []
    assert len(console) == 1, "the log shows what a page says, so silence means that there is no error"
    below = re.search(r'data-below="(\d+)"', dom)
    wide = re.search(r'data-wide="(-?\d+)"', dom)
    assert below
    assert wide
    assert int(below[1]) <= 800
    assert int(wide[1]) <= 0

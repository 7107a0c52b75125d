"""An operator at a real page: a scanner that types, fingers, and a server in a process of its own."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from harness.values.check_digits import mod_10

ROOT = Path(__file__).resolve().parents[2]
WIDTH, HEIGHT = 1366, 768
LEAST_PX = 64
WAIT_S = 90.0
FAULTS = """least => {
    const faults = [], root = document.documentElement;
    const name = part => part.id || part.tagName;
    if (root.scrollHeight > innerHeight || root.scrollWidth > innerWidth) faults.push("the page scrolls");
    for (const part of document.querySelectorAll("header, main, footer, #body, #lines, #locks, #buttons, #message")) {
        const box = part.getBoundingClientRect();
        if (box.bottom > innerHeight + 1 || box.right > innerWidth + 1) faults.push(name(part) + " is cut off");
        const over = Math.max(part.scrollHeight - part.clientHeight, part.scrollWidth - part.clientWidth);
        if (over > 2) faults.push(name(part) + " overflows by " + over);
    }
    const title = document.getElementById("title").getBoundingClientRect();
    const buttons = document.getElementById("buttons").getBoundingClientRect();
    if (title.right > buttons.left || title.left < 0) faults.push("the title is too long");
    for (const button of document.querySelectorAll("button")) {
        const box = button.getBoundingClientRect();
        if (Math.min(box.width, box.height) < least) faults.push(button.textContent + " is too small");
        if (button.scrollWidth > button.clientWidth + 1) faults.push(button.textContent + " is too long");
    }
    return faults;
}"""
"""What an operator would trip over."""


def serials(count: int) -> list[str]:
    """Serial numbers with their check digit."""
    found = []
    for number in range(count):
        stem = f"{20000 + number}"
        found.append(next(f"HR{stem}{digit}" for digit in "0123456789" if mod_10(stem + digit)))
    return found


class Server:
    """`gainladder line`, started and ended in every way."""

    def __init__(self, config: str, *options: str) -> None:
        self._command = [sys.executable, "-m", "harness.app.main", "line", config, *options]
        self._child: subprocess.Popen[str] | None = None
        self.url = ""

    def start(self) -> None:
        port = ["--port", self.url.rpartition(":")[2].strip("/")] if self.url else ["--port", "0"]
        self._child = subprocess.Popen(
            [*self._command, *port], stderr=subprocess.PIPE, text=True, cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        assert self._child.stderr is not None
        said = []
        for line in self._child.stderr:
            said.append(line)
            if "http://" in line:
                self.url = line[line.index("http://") :].strip()
                return
        raise AssertionError(f"the page did not start: {''.join(said)}")

    def kill(self) -> None:
        """As a crash or a pulled plug would."""
        self._end(signal.SIGKILL)

    def close(self) -> int:
        """As systemd or a closed terminal would; the exit code."""
        return self._end(signal.SIGTERM)

    def _end(self, number: int) -> int:
        child, self._child = self._child, None
        if child is None:
            return 0
        child.send_signal(number)
        with child:
            return child.wait(40)

    @contextlib.contextmanager
    def served(self) -> Iterator[Server]:
        self.start()
        try:
            yield self
        finally:
            self.close()

    def scan(self, text: str) -> None:
        self._post("scan", {"text": text})

    def press(self, button: str) -> None:
        self._post("press", {"button": button})

    def _post(self, path: str, content: dict[str, str]) -> None:
        headers = {"x-line": "1", "content-type": "application/json"}
        asked = urllib.request.Request(self.url + path, data=json.dumps(content).encode(), headers=headers)
        with urllib.request.urlopen(asked, timeout=10) as answer:
            assert answer.status == 200

    def state(self) -> dict[str, Any]:
        with urllib.request.urlopen(self.url + "state", timeout=10) as answer:
            return dict(json.load(answer))


class Operator:
    """Whoever stands before the page."""

    def __init__(self, browser: Any, url: str, shots: Path | None = None) -> None:
        self._browser = browser
        self._url = url
        self._shots = shots
        self._shot: set[str] = set()
        self.errors: list[str] = []
        self.open()

    def open(self) -> None:
        self._context = self._browser.new_context(viewport={"width": WIDTH, "height": HEIGHT}, has_touch=True)
        self.page = self._context.new_page()
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", self._console)
        self.page.goto(self._url)
        self.page.wait_for_selector("#title:not(:empty)")

    def _console(self, message: Any) -> None:
        # The browser itself tells of a page that is away for a while; that is what the shift does to it.
        if "net::ERR" not in message.text:
            self.errors.append(message.text)

    def close(self) -> None:
        self._context.close()

    def reload(self) -> None:
        self.page.reload()
        self.page.wait_for_selector("#title:not(:empty)")

    @property
    def screen(self) -> str:
        return str(self.page.evaluate("document.body.dataset.screen"))

    @property
    def title(self) -> str:
        return str(self.page.inner_text("#title"))

    def text(self, part: str) -> str:
        return str(self.page.inner_text(part))

    def scan(self, text: str) -> None:
        """A scanner is a keyboard that types fast; nothing has the focus."""
        self.page.evaluate("document.activeElement && document.activeElement.blur()")
        self.page.keyboard.type(text)
        self.page.keyboard.press("Enter")

    def touch(self, button: str) -> None:
        self.page.tap(f"button[data-button={button}]")

    def until(self, *screens: str, name: str = "") -> str:
        """Waits for one of these screens, and looks at it."""
        wanted = ", ".join(f"body[data-screen={screen}]" for screen in screens)
        try:
            self.page.wait_for_selector(wanted, timeout=WAIT_S * 1e3)
        except Exception as error:
            shown = self.page.inner_text("body").replace("\n", " / ")
            raise AssertionError(f"waited for {', '.join(screens)}; the screen is {self.screen}: {shown}") from error
        self.look(name or self.screen)
        return self.screen

    def look(self, name: str) -> None:
        """Nothing to scroll, nothing cut off, nothing too small for a glove; a picture of each kind of screen."""
        if self._shots is not None and name not in self._shot:
            self._shot.add(name)
            self.page.screenshot(path=str(self._shots / f"{name}.png"))
        faults = self.page.evaluate(FAULTS, LEAST_PX)
        assert faults == [], (name, faults)

    def connect(self, unit: str, *, by: str = "button") -> None:
        """Scan a unit, connect it, let it run."""
        self.scan(unit)
        self.until("connect")
        assert self.text("#unit").endswith(unit)
        self.touch("connected") if by == "button" else self.scan(unit) if by == "scan" else self.page.keyboard.press(
            "Enter"
        )

    def measure(self, unit: str, *, by: str = "button", name: str = "") -> str:
        """A whole unit; the word on the screen."""
        self.connect(unit, by=by)
        self.until("verdict", "trouble", "locked", name=name)
        return self.title


def wait_for(true: Any, within_s: float = WAIT_S) -> None:
    """Until something is so."""
    since_s = time.monotonic()
    while not true():
        assert time.monotonic() - since_s < within_s, "it did not come about"
        time.sleep(0.05)

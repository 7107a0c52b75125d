"""The page in a real browser: every screen fits in both languages, and a unit is scanned, connected, measured."""

from __future__ import annotations

import asyncio
import contextlib
import dataclasses
import shutil
import threading
from collections.abc import Iterator
from typing import Any

import pytest
import uvicorn

from harness.app.setup import read_setup
from harness.judge.lockout import LOCKS
from harness.line.picture import connection_of, draw
from harness.line.serve import bound
from harness.line.server import Access, application
from harness.line.state import HeldLock, Kind, Screen, State, Verdict
from harness.line.words import read_words, shipped
from harness.store import noted, open_store
from harness.values import VERDICT, ended_as_of
from tests.browser import NEEDS_BROWSER, chromium
from tests.line.conftest import OTHER, UNIT, write_place
from tests.line.operator import Operator, Server

pytestmark = NEEDS_BROWSER
LONG = (
    "machair source at TCPIP0::192.0.2.17::5025::SOCKET: no answer within 5 s after three tries, link opened anew twice"
)
BASE = State(operator="OP101", unit=UNIT, ticket=3, run_id="r", planned=132, done=40, left_s=7.3)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as opened:
        yield opened


def every_state() -> Iterator[State]:
    """Each screen with the most that it has to show."""
    for screen in Screen:
        yield dataclasses.replace(
            BASE, screen=screen, why="other-unit" if screen is Screen.CONNECT else "", detail=OTHER
        )
    for why in ("routing-silent", "bench", "passed-already"):
        yield dataclasses.replace(BASE, screen=Screen.TROUBLE, why=why, detail=LONG)
    for kind in Kind:
        for attempt in (1, 3):
            verdict = Verdict(
                kind=kind, item="realness", where="ch2 500mV 40 %", attempt=attempt, most=3, detail=LONG, took_s=31.0
            )
            yield dataclasses.replace(BASE, screen=Screen.VERDICT, verdict=verdict)
    held = [HeldLock(code=code, text="t", detail="3 in a row, HR100008: gain ch2 2V", lift="l") for code in LOCKS]
    for index in range(0, len(held), 2):
        yield dataclasses.replace(BASE, screen=Screen.LOCKED, locks=tuple(held[index : index + 2]))


@contextlib.contextmanager
def served(page_app: Any) -> Iterator[tuple[str, asyncio.AbstractEventLoop]]:
    """The page without its tasks, in a thread; its address and the loop that it is served from."""
    loop = asyncio.new_event_loop()
    server = uvicorn.Server(uvicorn.Config(page_app, log_level="error", lifespan="off", timeout_graceful_shutdown=1))
    with bound("127.0.0.1", 0) as sock:
        thread = threading.Thread(target=lambda: loop.run_until_complete(server.serve(sockets=[sock])), daemon=True)
        thread.start()
        try:
            yield f"http://127.0.0.1:{sock.getsockname()[1]}/", loop
        finally:
            server.should_exit = True
            thread.join(20)
            loop.close()


@pytest.mark.parametrize("language", shipped())
def test_every_screen_fits(bench, browser, language):
    """1366 by 768 without scrolling, nothing cut off, nothing smaller than a glove."""
    words, station = read_words(language), bench.station
    picture = draw(connection_of(read_setup("configs/jobs/ci.toml")), words)
    app, page = application(station, words, picture, Access(own=True))

    with served(app) as (url, loop):
        operator = Operator(browser, url)
        try:
            for state in every_state():
                count = station.count + 1
                loop.call_soon_threadsafe(station.become, state)
                operator.page.wait_for_selector(f"body[data-count='{count}']")
                assert operator.screen == str(state.screen)
                operator.look(f"{language}-{state.screen}-{state.verdict and state.verdict.kind}-{state.why}")
            assert operator.errors == []
        finally:
            operator.close()
            page.close()


def test_a_unit_from_scan_to_verdict(sound_place, browser, tmp_path):
    """With the page reloaded while the bench measures; the record says the same. The whole shift: tests.line.shift."""
    for name in ("line.sqlite", "line.sqlite-wal"):
        if (sound_place[0] / name).exists():
            shutil.copy(sound_place[0] / name, tmp_path / name)
    path = write_place(tmp_path)
    (tmp_path / "faults.toml").write_text(f'{UNIT} = ["relay-not-picking:2"]')
    server = Server(path, "--seed", "1", "--unit-faults", str(tmp_path / "faults.toml"))
    with server.served():
        operator = Operator(browser, server.url)
        operator.scan("OP101")
        operator.until("unit")
        operator.scan(UNIT)
        operator.until("connect")
        # Another unit, by a scanner that ends with two Enters: it must not start the one on the screen.
        operator.scan(OTHER)
        operator.page.keyboard.press("Enter")
        operator.page.wait_for_selector(f"#message:has-text('{OTHER}')")
        assert operator.screen == "connect"
        operator.touch("connected")
        operator.reload()
        operator.until("verdict")
        assert operator.title == "FAIL"
        assert "Try 1 of 3" in operator.text("#body")
        assert operator.errors == []
        operator.close()
    with open_store(str(tmp_path / "line.sqlite"), read_only=True) as store:
        ends = [(store.header(run).unit, str(ended_as_of((event,)).outcome)) for run, event in noted(store, VERDICT)]
    assert ends == [(UNIT, "FAIL")]

"""The page over HTTP: three files, a picture, the state as JSON and as a stream, scans and buttons."""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import json
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from harness.line.state import Button
from harness.line.station import Station
from harness.line.view import view_of
from harness.line.words import Words

PAGE = Path(__file__).parent / "page"
FILES = {
    "/": ("line.html", "text/html"),
    "/line.js": ("line.js", "text/javascript"),
    "/line.css": ("line.css", "text/css"),
}
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:; frame-ancestors 'none'; base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}
BEAT_S = 1.0
"""The stream says something so often at least: a page that hears nothing for long says so."""
MOST_BYTES = 4000
"""Of a request's body; a scan is much shorter."""
COOKIE = "line-token"
OWN_HEADER = "x-line"
"""Pages of others cannot send it without being asked by the browser whether they may, and they may not."""
OWN_HOSTS = frozenset({"127.0.0.1", "localhost", "[::1]"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """Who may use the page."""

    own: bool
    """Served at an address that only this computer has."""
    token: str = ""
    """Empty: none is asked for."""

    def refusal(self, request: Request) -> Response | None:
        """Why a request is not answered; None for one that is."""
        if self.token and not self._knows(request):
            return _error(403, "token: open the page with ?token=... once, as its start printed it")
        host = request.headers.get("host", "").rpartition(":")[0] or request.headers.get("host", "")
        if self.own and not self.token and host not in OWN_HOSTS:
            return _error(403, f"host {host[:80]!r}: this page is for {', '.join(sorted(OWN_HOSTS))}")
        if request.method == "POST" and request.headers.get(OWN_HEADER) != "1":
            return _error(403, f"only the page itself, which sends {OWN_HEADER}: 1, may scan and press")
        return None

    def _knows(self, request: Request) -> bool:
        given = request.query_params.get("token") or request.cookies.get(COOKIE) or ""
        return hmac.compare_digest(given.encode("utf-8", "replace"), self.token.encode())


def _error(status: int, text: str) -> Response:
    return JSONResponse({"error": text}, status_code=status, headers=HEADERS)


class Page:
    """The handlers."""

    def __init__(self, station: Station, words: Words, picture: str, access: Access) -> None:
        """Take what is shown."""
        self._station = station
        self._words = words
        self._picture = picture
        self._access = access
        self._closing = False
        # Counts of another start of the page say nothing about this one's.
        self._started = secrets.token_hex(4)
        self._files = {path: ((PAGE / name).read_bytes(), kind) for path, (name, kind) in FILES.items()}

    def close(self) -> None:
        """Streams end; the page is about to be closed."""
        self._closing = True

    @property
    def view(self) -> dict[str, Any]:
        """The screen as it is."""
        station = self._station
        shown = view_of(station.state, station.line, self._words, count=station.count, took_s=station.last_took_s)
        return shown | {"started": self._started, "language": self._words.language}

    async def file(self, request: Request) -> Response:
        """Page, script, style; a token in the address becomes a cookie."""
        if request.query_params.get("token") and self._access.token:
            answer: Response = RedirectResponse("/", status_code=303, headers=HEADERS)
            answer.set_cookie(COOKIE, self._access.token, httponly=True, samesite="strict")
            return answer
        content, kind = self._files[request.url.path]
        return Response(content, media_type=kind, headers=HEADERS)

    async def picture(self, request: Request) -> Response:
        """How the unit is connected."""
        return Response(self._picture, media_type="image/svg+xml", headers=HEADERS)

    async def state(self, request: Request) -> Response:
        """The screen, once."""
        return JSONResponse(self.view, headers=HEADERS)

    async def events(self, request: Request) -> Response:
        """The screen, now and whenever it changes."""
        return StreamingResponse(self.stream(), media_type="text/event-stream", headers=HEADERS)

    async def stream(self) -> AsyncIterator[str]:
        """Events of the stream until the page closes: `screen` with the view, `beat` when nothing changes."""
        count = -1
        while not self._closing:
            if count != self._station.count:
                view = self.view
                count = view["count"]
                yield f"event: screen\ndata: {json.dumps(view, ensure_ascii=False)}\n\n"
            else:
                yield "event: beat\ndata: 1\n\n"
            await self._station.changed(count, BEAT_S)

    async def scan(self, request: Request) -> Response:
        """A text from the scanner."""
        content = await _content(request)
        text = None if content is None else content.get("text")
        if not isinstance(text, str) or not _is_text(text):
            return _error(400, 'scan: allowed is {"text": "..."} with text that is Unicode')
        self._station.scan(text)
        return JSONResponse(self.view, headers=HEADERS)

    async def press(self, request: Request) -> Response:
        """A button."""
        content = await _content(request)
        button = None if content is None else content.get("button")
        if button not in list(Button):
            return _error(400, f'press: allowed is {{"button": ...}} with one of {", ".join(Button)}')
        self._station.press(Button(str(button)))
        return JSONResponse(self.view, headers=HEADERS)


def _is_text(text: str) -> bool:
    """Half a surrogate pair is none: it can be neither written nor shown."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


async def _content(request: Request) -> Mapping[str, Any] | None:
    """The JSON object of a body; None for anything else, however long."""
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > MOST_BYTES:
            return None
    try:
        content = json.loads(body)
    except (ValueError, RecursionError):
        return None
    return content if isinstance(content, dict) else None


def application(station: Station, words: Words, picture: str, access: Access) -> tuple[Starlette, Page]:
    """The page as an ASGI application; while it lives it looks at the bench and gives signs of life."""
    page = Page(station, words, picture, access)

    def guarded(handler: Callable[[Request], Awaitable[Response]]) -> Callable[[Request], Awaitable[Response]]:
        async def answer(request: Request) -> Response:
            refusal = access.refusal(request)
            return await handler(request) if refusal is None else refusal

        return answer

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        tasks = [asyncio.create_task(station.beat()), asyncio.create_task(station.watch())]
        try:
            yield
        finally:
            page.close()
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            await asyncio.to_thread(station.end)

    routes = [
        *(Route(path, guarded(page.file)) for path in FILES),
        Route("/picture.svg", guarded(page.picture)),
        Route("/state", guarded(page.state)),
        Route("/events", guarded(page.events)),
        Route("/scan", guarded(page.scan), methods=["POST"]),
        Route("/press", guarded(page.press), methods=["POST"]),
    ]
    return Starlette(routes=routes, lifespan=lifespan), page

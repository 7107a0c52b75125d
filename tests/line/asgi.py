"""A client that calls the page as the server calls it: no socket, no library of its own."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode()

    def json(self) -> Any:
        return json.loads(self.body)


@dataclass(frozen=True)
class Client:
    """Requests to one application."""

    app: Any
    host: str = "127.0.0.1:8710"
    headers: tuple[tuple[str, str], ...] = (("x-line", "1"),)

    def get(self, path: str, **headers: str) -> Answer:
        return asyncio.run(self.ask("GET", path, b"", headers))

    def post(self, path: str, content: Any, **headers: str) -> Answer:
        return asyncio.run(self.ask("POST", path, content, headers))

    async def ask(self, method: str, path: str, content: Any = b"", headers: dict[str, str] | None = None) -> Answer:
        body = content if isinstance(content, bytes) else json.dumps(content).encode()
        place, _, query = path.partition("?")
        sent = {"host": self.host, **dict(self.headers), **(headers or {})}
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
            "path": place, "raw_path": place.encode(), "query_string": query.encode(), "root_path": "",
            "headers": [(name.encode(), value.encode()) for name, value in sent.items()],
            "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 8710),
        }  # fmt: skip
        pieces = [body[i : i + 1000] for i in range(0, len(body), 1000)] or [b""]
        said: list[dict[str, Any]] = []

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": pieces.pop(0), "more_body": bool(pieces)}

        async def send(message: dict[str, Any]) -> None:
            said.append(message)

        await self.app(scope, receive, send)
        start = next(message for message in said if message["type"] == "http.response.start")
        got = {name.decode(): value.decode() for name, value in start["headers"]}
        body = b"".join(message.get("body", b"") for message in said)
        return Answer(status=start["status"], headers=got, body=body)

    @contextlib.asynccontextmanager
    async def alive(self) -> AsyncIterator[None]:
        """The application's own tasks run inside."""
        async with self.app.router.lifespan_context(self.app):
            yield

"""The page over HTTP: what is answered to whom, and what a request can do."""

from __future__ import annotations

import asyncio
import json

import pytest

from harness.line.picture import connection_of, draw
from harness.line.server import Access, Page, application
from harness.line.words import read_words
from tests.line.asgi import Client
from tests.line.conftest import UNIT

TOKEN = "a-token-of-sixteen"


@pytest.fixture
def page(bench):
    """A client on this computer, without the tasks that look on."""
    app, _ = application(bench.station, read_words("en"), "<svg/>", Access(own=True))
    return Client(app)


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/", "text/html"), ("/line.js", "text/javascript"), ("/line.css", "text/css"),
        ("/picture.svg", "image/svg+xml"), ("/state", "application/json"),
    ],
)  # fmt: skip
def test_what_is_served(page, path, kind):
    answer = page.get(path)
    assert (answer.status, answer.headers["content-type"].split(";")[0]) == (200, kind)
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    assert "http://" not in answer.text.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in answer.text


def test_scans_and_buttons_move_the_page(page, bench):
    assert page.get("/state").json()["screen"] == "badge"
    assert page.post("/scan", {"text": UNIT}).json()["message"] == "Scan your badge first"
    assert page.post("/scan", {"text": "OP101"}).json()["operator"] == "Operator: OP101"
    assert page.post("/scan", {"text": f"{UNIT}\r\n"}).json()["screen"] == "prepare"
    shown = page.post("/press", {"button": "back"}).json()
    assert (shown["screen"], shown["unit"]) == ("unit", "")
    assert [button["id"] for button in shown["buttons"]] == ["sign-off"]
    assert not bench.hands.place.try_of(1).wanted


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/scan", b""), ("/scan", b"{"), ("/scan", b"[]"), ("/scan", b'{"text": 1}'), ("/scan", b"\xff\xfe"),
        ("/scan", b'{"text": "\\ud800"}'), ("/scan", b'{"text": "' + b"x" * 5000 + b'"}'), ("/scan", b"[" * 3000),
        ("/press", b'{"button": "start"}'), ("/press", b'{"button": null}'), ("/press", b'{"button": ["stop"]}'),
    ],
)  # fmt: skip
def test_a_request_of_another_form_is_told_what_is_allowed(page, bench, path, body):
    answer = page.post(path, body)
    assert answer.status == 400
    assert "allowed" in answer.json()["error"]
    assert bench.station.count == 0


def test_a_page_of_somebody_else_cannot_press(bench):
    app, _ = application(bench.station, read_words("en"), "", Access(own=True))
    other = Client(app, headers=()).post("/press", {"button": "stop"}, origin="http://x")
    assert other.status == 403
    assert "only the page itself" in other.json()["error"]


@pytest.mark.parametrize(("host", "status"), [("[::1]:1", 200), ("localhost", 200), ("evil.example:8710", 403)])
def test_another_name_for_this_computer_is_refused(bench, host, status):
    """A name that somebody else's server resolves to 127.0.0.1 would pass for a page of our own."""
    app, _ = application(bench.station, read_words("en"), "", Access(own=True))
    assert Client(app).get("/state", host=host).status == status


def test_beyond_this_computer_the_token_opens_the_page_once_and_for_all(bench):
    app, _ = application(bench.station, read_words("en"), "", Access(own=False, token=TOKEN))
    client = Client(app, host="station-1:8710")
    for path in ("/", "/state", "/events", "/picture.svg", "/?token=wrong", "/state?token=%C3%A4"):
        assert client.get(path).status == 403
    assert client.post("/press", {"button": "stop"}).status == 403
    first = client.get(f"/?token={TOKEN}")
    assert (first.status, first.headers["location"]) == (303, "/")
    cookie = first.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    cookie = cookie.split(";")[0]
    assert client.get("/state", cookie=cookie).status == 200
    assert client.post("/scan", {"text": "OP101"}, cookie=cookie).json()["screen"] == "unit"


def test_the_stream_tells_each_change_and_ends_with_the_page(bench):
    page = Page(bench.station, read_words("de"), "", Access(own=True))

    async def listen():
        heard = []
        async for said in page.stream():
            heard.append(said)
            if len(heard) == 1:
                bench.station.scan("OP101")
            elif len(heard) == 2:
                bench.station.scan("??")
            else:
                page.close()
                bench.station.scan("OP102")
        return heard

    heard = asyncio.run(listen())
    assert all(said.startswith("event: screen\ndata: {") and said.endswith("}\n\n") for said in heard)
    views = [json.loads(said.partition("data: ")[2]) for said in heard]
    assert [view["title"] for view in views] == ["Ausweis scannen", "Gerät scannen", "Gerät scannen"]
    assert views[2]["message"] == "Das ist kein Etikett dieses Platzes: ??"
    assert [view["count"] for view in views] == sorted({view["count"] for view in views})


def test_while_the_page_lives_it_gives_signs_of_life_and_looks_at_the_bench(bench, monkeypatch):
    ends = []
    monkeypatch.setattr(type(bench.hands), "end", lambda hands, ticket: ends.append(ticket))
    app, _ = application(bench.station, read_words("en"), "", Access(own=True))
    before = bench.hands.place.last_beat()
    client = Client(app)

    async def work():
        screens = []
        async with client.alive():
            await client.ask("POST", "/scan", {"text": "OP101"})
            await client.ask("POST", "/scan", {"text": UNIT})
            bench.one.tell("refused", why="unknown-unit", detail="d")
            while not screens or screens[-1] == "prepare":
                screens.append((await client.ask("GET", "/state")).json()["screen"])
                await asyncio.sleep(0)
        return screens

    screens = asyncio.run(work())
    assert screens[-1] == "trouble"
    assert bench.hands.place.last_beat() > before
    assert ends == [1]


def test_the_picture_is_drawn_from_the_bench_file():
    from harness.app.setup import read_setup

    metered = draw(connection_of(read_setup("configs/jobs/ci.toml")), read_words("en"))
    for word in ("Machair SG-1", "Skerry HR-4", "Strath BA-1", "input 1", "input 2", "OFF", "control bus"):
        assert word in metered
    assert "input 3" not in metered
    assert "Meter" not in metered

"""Scans and requests that nobody would make: `python -m tests.line.fuzz [--count 500] [--seed 1]`.

Whatever comes: an answer that is none of an error of the program, a screen that has words, and no unit in the record
but the one whose label was scanned last. Some of the tries are walked on a simulated bench, the others are played.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

from harness.config import Misread
from harness.line.server import Access, application
from harness.line.state import Button, Kind, Screen
from harness.line.view import BUTTONS
from harness.line.words import read_words
from harness.store import noted, open_store
from harness.values import ATTEMPT, attempt_of
from tests.line.asgi import Client
from tests.line.conftest import Bench, make_sound, write_place
from tests.line.operator import serials

BADGES = ("OP101", "OP102", "OP999")
UNITS = tuple(serials(12))
ODD = (
    "", " ", "\0", "\x1b[31m", "'; DROP TABLE runs; --", "--unit", "-h", "../../x", "%00", "<script>alert(1)</script>",
    "{detail}", "{0.__class__}", "\u202eHR100008", "HR100008\nHR100016", "HR１０0008", "٣٤٥", "\U0001f600" * 30,
    "G1 ", "g1",
    "OP101OP101", "HR", "NaN", "null", "\ufeffHR100008", "e\u0301" * 90, "HR100008\t", "\r\n",
)  # fmt: skip
PATHS = (
    "/",
    "/state",
    "/picture.svg",
    "/line.js",
    "/../line.py",
    "/state/",
    "//",
    "/%2e%2e/x",
    "/scan",
    "/press",
    "/ä",
)
BODIES = (
    b"",
    b"{",
    b"[]",
    b"null",
    b"\xff\xfe",
    b'{"text": 1}',
    b'{"button": {}}',
    b"[" * 900,
    b'{"text": "\\ud800"}',
    b"x" * 9000,
)
SOUND = frozenset({200, 303, 400, 403, 404, 405, 307})


class Fuzz:
    """One place, one stream of chance."""

    def __init__(self, bench: Bench, seed: int, *, runs: int) -> None:
        self.bench = bench
        self.chance = random.Random(seed)
        self.runs = runs
        self.seen: Counter[str] = Counter()
        self.measured: list[str] = []
        self._scanned = ""
        self._operator = ""
        app, _ = application(bench.station, read_words("en"), "<svg/>", Access(own=True))
        self._client = Client(app)

    def once(self) -> None:
        """Something comes in, and perhaps the bench says something."""
        act = self.chance.choice((self._label, self._label, self._odd, self._press, self._press, self._request))
        act()
        if self.chance.random() < 0.7:
            self._bench_says()
        self._look()

    def _label(self) -> None:
        text = self.chance.choice((*UNITS, *UNITS, *BADGES, "G1"))
        if self.chance.random() < 0.25:
            place = self.chance.randrange(len(text))
            text = text[:place] + self.chance.choice("0123456789AZ") + text[place + 1 :]
        self._scan(text)

    def _odd(self) -> None:
        self._scan("".join(self.chance.choice(ODD) for _ in range(self.chance.randint(1, 3))))

    def _scan(self, text: str) -> None:
        before = self.bench.station.state
        self._post("/scan", {"text": text})
        after = self.bench.station.state
        clean = text.strip("\r\n")
        serial = self.bench.station.line.serial.read(clean)
        unit = clean if clean == "G1" else "" if isinstance(serial, Misread) else serial.kept
        if after.ticket != before.ticket:
            assert after.unit == unit != "", (text, after)
            self._scanned = unit
        if after.operator != before.operator:
            assert after.operator == clean, (text, after)
            self._operator = clean

    def _press(self) -> None:
        before = self.bench.station.state
        if before.screen in (Screen.BADGE, Screen.UNIT) and self.chance.random() < 0.9:
            # Else most of the time nobody would be signed on.
            self._scan(self.chance.choice(BADGES if before.screen is Screen.BADGE else UNITS))
            return
        shown = BUTTONS.get(before.screen, ()) if self.chance.random() < 0.7 else ()
        # First the one that an operator presses most.
        button = shown[0] if shown and self.chance.random() < 0.7 else self.chance.choice(shown or list(Button))
        self._post("/press", {"button": str(button)})
        after = self.bench.station.state
        if after.ticket != before.ticket:
            assert after.unit == before.unit
        if not after.operator:
            self._operator = ""

    def _request(self) -> None:
        path = self.chance.choice(PATHS)
        if self.chance.random() < 0.5:
            headers = self.chance.choice(({}, {"host": "evil.example"}, {"x-line": "0"}, {"cookie": "line-token=x"}))
            answer = self._client.get(path, **headers)
        else:
            answer = self._client.post(path, self.chance.choice(BODIES))
        self._check(path, answer)

    def _post(self, path: str, content: dict[str, Any]) -> None:
        self._check(path, self._client.post(path, content))

    def _check(self, path: str, answer: Any) -> None:
        assert answer.status in SOUND, (path, answer.status, answer.text)
        assert "Traceback" not in answer.text

    def _bench_says(self) -> None:
        state, one = self.bench.station.state, self.bench.one
        if state.screen is Screen.PREPARE and self.runs and not state.golden and self.chance.random() < 0.2:
            self.runs -= 1
            code = self.bench.work()
            assert code in (0, 4), code
            self.measured += [state.unit] if code == 0 else []
            return
        played: dict[Screen, tuple[tuple[str, dict[str, Any]], ...]] = {
            Screen.PREPARE: (
                ("admitted", {}), ("admitted", {}), ("refused", {"why": "not-due", "detail": "{x}"}),
                ("locked", {"locks": [{"code": "new", "text": "t", "detail": "d", "lift": "l"}]}),
            ),
            Screen.CHECK: (
                ("begun", {"run_id": "r", "planned": 9, "at_s": 0.0}), ("refused", {"why": "bench", "detail": "d"}),
            ),
            Screen.RUN: (("ended", {"run_id": "r", "kind": str(self.chance.choice(list(Kind)))}), ("stopped", {})),
            Screen.STOPPING: (("stopped", {}), ("ended", {"run_id": "r", "kind": "pass"})),
        }  # fmt: skip
        if state.screen in played and one.path.exists():
            phase, content = self.chance.choice(played[state.screen])
            one.tell(phase, **content)
            self.bench.station.look()

    def _look(self) -> None:
        state = self.bench.station.state
        self.seen[str(state.screen)] += 1
        assert state.unit in ("", self._scanned), state
        assert state.operator == self._operator, state
        view = self._client.get("/state").json()
        assert view["title"]
        assert all(view["lines"])
        order = self.bench.one.ordered()
        if order is not None:
            assert (order["unit"], order["operator"]) == (state.unit or order["unit"], order["operator"])
        kept = json.loads(self.bench.hands.place.session.read_text()) if self.bench.station.count else None
        assert kept is None or (kept["unit"], kept["screen"]) == (state.unit, str(state.screen))

    def end(self) -> None:
        """The record holds what was measured, under the labels that were scanned."""
        with open_store(self.bench.store, read_only=True) as store:
            runs = [(run, attempt_of((event,))) for run, event in noted(store, ATTEMPT)]
            units = [store.header(run).unit for run, _ in runs]
            assert [one.unit for _, one in runs if one is not None] == units
        assert units == self.measured, (units, self.measured)


def fuzz(bench: Bench, *, seed: int, count: int, runs: int) -> Fuzz:
    """So many inputs, so many of the tries walked."""
    one = Fuzz(bench, seed, runs=runs)
    for _ in range(count):
        one.once()
    one.end()
    return one


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = write_place(Path(folder))
        make_sound(Bench(path))
        (Path(folder) / "pages" / "line" / "place-1" / "session.json").unlink()
        one = fuzz(Bench(path), seed=asked.seed, count=asked.count, runs=8)
    screens = ", ".join(f"{screen} {count}" for screen, count in sorted(one.seen.items()))
    print(f"{asked.count} scans and requests, {len(one.measured)} runs; screens: {screens}")
    return 0


if __name__ == "__main__":
    sys.exit(main())

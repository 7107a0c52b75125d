"""A simulated night in which processes are killed: a bench, a journal, a server, and who works on them."""

from __future__ import annotations

import os
import random
import re
import signal
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from harness.errors import StoreError
from harness.store import open_store
from tests.app.served_bench import PROGRAM, ROOT, output
from tests.crash.links import LinkNights
from tests.postgres_server import PostgresServer

OFF_WITHIN_S = 2.0
PATIENCE_S = 60.0
"""No command of a night takes as long."""


@dataclass
class Seen:
    """What came to light; everything but `kills`, `announced` and `longest_on_s` is to stay empty."""

    kills: Counter[str] = field(default_factory=Counter)
    announced: set[tuple[str, int]] = field(default_factory=set)
    longest_on_s: float = 0.0
    source_left_on: int = 0
    half_files: list[str] = field(default_factory=list)
    refusals: list[str] = field(default_factory=list)
    links: LinkNights = field(default_factory=LinkNights)


class Night:
    """One bench on the wire, one store of the station, one to forward to; `kill(kind)` lets something die."""

    def __init__(
        self, folder: Path, job: Path, bench: Path, source: str, target: str, server: PostgresServer | None, seed: int
    ) -> None:
        self.folder, self._job, self._bench, self._source = folder, job, bench, source
        self.store = folder / "station.sqlite"
        self.target = target
        self._server = server
        self._dice = random.Random(seed)
        self._typical_s = {"report": 2.0, "forward": 1.5, "backup": 1.0}
        self.seen = Seen()

    def kill(self, kind: str) -> None:
        """Start a command of a kind and kill it at a random moment."""
        if kind in ("sweep", "in-process"):
            self._kill_recording(kind)
        else:
            self._kill_other(kind)

    def stop_server(self) -> None:
        if self._server is not None:
            self._server.stop()

    def start_server(self) -> None:
        if self._server is not None:
            self._server.start()

    def end(self) -> None:
        """Morning: what is unfinished on the wire is finished, what waits is forwarded."""
        for _ in range(3):
            if self._unfinished() is None:
                break
            self._recording(self._wire_command(), kill_after=None, kind="sweep")
        self._run(["store", "forward", self.target, "--store", str(self.store)])

    # Recording.

    def _kill_recording(self, kind: str) -> None:
        if kind == "sweep":
            words, most = self._wire_command(), 44
        else:
            words, most = ["sweep", "configs/jobs/ci.toml", "--unit", "B1", "--seed", "1", *self._places()], 220
        beside = ["--forward", self.target] if self._dice.random() < 0.5 else []
        self._recording([*words, *beside], kill_after=self._dice.randrange(most), kind=kind)

    def _wire_command(self) -> list[str]:
        run = self._unfinished()
        bench = ["--bench", str(self._bench), *self._places()]
        if run is None:
            return ["sweep", str(self._job), "--unit", "A1", *bench]
        return ["resume", run, "--job", str(self._job), *bench]

    def _places(self) -> list[str]:
        return ["--store", str(self.store), "--reports", str(self.folder / "pages")]

    def _unfinished(self) -> str | None:
        """The newest run on the wire, if it has no end."""
        try:
            with open_store(str(self.store), read_only=True) as store:
                runs = [info for info in store.runs() if info.header.unit == "A1"]
        except StoreError:
            return None
        return runs[0].header.run_id if runs and runs[0].end != "finished" else None

    def _recording(self, words: list[str], *, kill_after: int | None, kind: str) -> None:
        reading, writing = os.pipe()
        command = [sys.executable, "-m", "tests.crash.announcing", str(writing), *words]
        with (
            subprocess.Popen(
                command, cwd=ROOT, pass_fds=(writing,), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
            ) as child,
            os.fdopen(reading) as pipe,
        ):
            os.close(writing)
            if kill_after == 0:
                time.sleep(self._dice.uniform(0.0, 2.0))
            for count, line in enumerate(pipe, 1):
                self._announced(line)
                if kill_after is not None and count >= kill_after:
                    time.sleep(self._dice.uniform(0.0, 0.03))
                    break
            killed = kill_after is not None and child.poll() is None
            if killed:
                child.send_signal(signal.SIGKILL)
                killed_s = time.monotonic()
                # Its locks are free once it is gone.
                child.wait(PATIENCE_S)
                if kind == "sweep":
                    self._await_off(killed_s)
            for line in pipe:
                self._announced(line)
            said = child.stderr.read() if child.stderr else ""
            child.wait(PATIENCE_S)
        if killed and child.returncode == -signal.SIGKILL:
            self.seen.kills[kind] += 1
        elif child.returncode != 0:
            self.seen.refusals.append(f"{words[0]} ended with {child.returncode}: {said.strip()[-300:]}")

    def _announced(self, line: str) -> None:
        found = re.fullmatch(r"(\S+) (\d+)\n", line)
        if found:
            self.seen.announced.add((found[1], int(found[2])))

    def _await_off(self, killed_s: float) -> None:
        state = "1"
        while state != "0" and time.monotonic() - killed_s < OFF_WITHIN_S + 3.0:
            state = output(self._source)
        on_s = time.monotonic() - killed_s
        self.seen.longest_on_s = max(self.seen.longest_on_s, on_s)
        self.seen.source_left_on += on_s > OFF_WITHIN_S or state != "0"

    # Everything else.

    def _kill_other(self, kind: str) -> None:
        page, copy = self.folder / "page.html", self.folder / "copy.sqlite"
        words = {
            "report": ["report", "last", "--out", str(page), "--store", str(self.store)],
            "forward": ["store", "forward", self.target, "--store", str(self.store)],
            "backup": ["store", "backup", str(copy), "--store", str(self.store)],
        }[kind]
        start_s = time.monotonic()
        with subprocess.Popen(
            [*PROGRAM, *words], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as child:
            try:
                child.wait(self._dice.uniform(0.1, 1.1 * self._typical_s[kind]))
                self._typical_s[kind] = time.monotonic() - start_s
            except subprocess.TimeoutExpired:
                child.send_signal(signal.SIGKILL)
                self.seen.kills[kind] += 1
                self._typical_s[kind] *= 1.1
        if page.exists() and not page.read_text(encoding="utf-8").rstrip().endswith("</html>"):
            self.seen.half_files.append(page.name)
        if copy.exists() and kind == "backup":
            with open_store(str(copy), read_only=True) as store:
                self.seen.half_files += store.check().faults

    def _run(self, words: list[str]) -> None:
        done = subprocess.run([*PROGRAM, *words], cwd=ROOT, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            self.seen.refusals.append(f"{' '.join(words[:2])} ended with {done.returncode}: {done.stderr[-300:]}")

"""A place on a simulated bench, as short as a fit allows; its bench's process is called, not started."""

from __future__ import annotations

import contextlib
from pathlib import Path

import pytest

from harness.app import ending
from harness.app.golden.looks import looks
from harness.config import LineFile, parse
from harness.drivers import RealClock
from harness.line import bench_process
from harness.line.events import Prepare
from harness.line.folder import Place
from harness.line.hands import Hands
from harness.line.paths import Paths
from harness.line.station import Station
from harness.store import add_note, open_store
from harness.values import GOLDEN_CHECK, golden_text
from tests.production_job import PRODUCTION, job_text

LINE = """\
kind = "line"
version = 1
name = "place 1"
job = "job.toml"
store = "line.sqlite"
reports = "pages"
port = 0
takt_s = 60.0
{more}
[[change]]
version = 1
date = 2026-01-01
owner = "o"
reason = "r"

[badge]
pattern = "OP[0-9]{{3}}"
example = "OP101"

[serial]
pattern = "HR(?P<checked>[0-9]{{6}})"
checksum = "mod-10"
example = "HR100008"

[routing]
{routing}
"""
UNIT, OTHER, THIRD = "HR100008", "HR100016", "HR100024"


def write_place(folder, *, routing="", more="", transport="in-process", production=PRODUCTION):
    """Line file and job in a folder; the path of the first."""
    (folder / "job.toml").write_text(job_text(transport=transport, production=production))
    (folder / "line.toml").write_text(LINE.format(routing=routing, more=more))
    return str(folder / "line.toml")


class CalledHands(Hands):
    """A try is laid down, and walked when `work` is called: in this process."""

    def prepare(self, effect: Prepare) -> None:
        self.place.withdraw_all_but(effect.ticket)
        self.place.try_of(effect.ticket).order(self.content(effect))

    def lives(self, ticket: int) -> bool:
        return True

    def _signal(self, ticket: int, number: int) -> None:
        """None to this process, which is the one that works."""


class Bench:
    """A station and what its bench has done."""

    def __init__(self, path: str) -> None:
        text = Path(path).read_text()
        line = parse(LineFile, text, file=path)
        paths = Paths.of(line, path)
        place = Place.of(str(paths.pages), line.name)
        place.path.mkdir(parents=True, exist_ok=True)
        self.faults: dict[str, list[str]] = {}
        self.hands = CalledHands(
            line=line, line_path=path, line_text=text, place=place, paths=paths, seed=1,
            faults_of=lambda unit: self.faults.get(unit, ()),
        )  # fmt: skip
        self.store = paths.store
        open_store(self.store).close()
        self.station = Station(line, self.hands, golden_units=("G1",))

    @property
    def screen(self) -> str:
        return str(self.station.state.screen)

    @property
    def one(self):
        return self.hands.place.try_of(self.station.state.ticket)

    def work(self, *, go: bool = True) -> int:
        """Let the process of the try do its work, from its order to its last word; the page sees how it ended."""
        if go:
            self.one.go()
        with without_pages():
            code = bench_process.main(str(self.one.path))
        told = self.one.told()
        # What the page would have seen on the way: the picture, and a press.
        if told["phase"] == "ended":
            self.one.tell("admitted")
            self.station.look()
            self.station.scan(self.station.state.unit)
            self.one.tell(**told)
        self.station.look()
        return code

    def measure(self, unit: str) -> int:
        self.station.scan(unit)
        return self.work()


@contextlib.contextmanager
def without_pages():
    """The page of a run is tested where it is made; here it would be half of the time."""
    with pytest.MonkeyPatch.context() as patch:
        for module in (ending, bench_process):
            patch.setattr(module, "write_report", lambda store, header, result, folder: folder / "none.html")
        yield


def make_sound(bench: Bench):
    """Check the golden unit until it has a reference and is sound; the state after the first check."""
    bench.station.scan("OP101")
    bench.measure("G1")
    built = bench.station.state
    with open_store(bench.store) as store:
        (first,) = looks(store)
        for _ in range(2):
            add_note(store, first.run_id, GOLDEN_CHECK, golden_text(first), RealClock())
    bench.measure("G1")
    return built


@pytest.fixture
def bench(tmp_path):
    return Bench(write_place(tmp_path))


@pytest.fixture(scope="session")
def sound_place(tmp_path_factory):
    """A place whose golden unit has a reference and was found sound: one measured check, copies of it, one more."""
    folder = tmp_path_factory.mktemp("place")
    bench = Bench(write_place(folder))
    built = make_sound(bench)
    return folder, built, bench.station.state


@pytest.fixture
def sound(sound_place, tmp_path):
    """A copy of a sound place, fresh for the test."""
    folder = sound_place[0]
    path = write_place(tmp_path)
    for name in ("line.sqlite", "line.sqlite-wal"):
        if (folder / name).exists():
            (tmp_path / name).write_bytes((folder / name).read_bytes())
    bench = Bench(path)
    bench.station.scan("OP101")
    return bench

"""Serves the page of a place until it is told to end; the bench then ends first, its source off."""

from __future__ import annotations

import contextlib
import os
import socket
import stat
import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

import uvicorn

from harness.app.files import FileSet, beside
from harness.app.output import ready_folder, say
from harness.app.setup import Setup, read_setup
from harness.config import LineFile
from harness.drivers import ResourceLock
from harness.errors import ConfigError, ResourceBusy, UsageError
from harness.line.folder import Place
from harness.line.hands import Hands
from harness.line.paths import Paths
from harness.line.picture import connection_of, draw
from harness.line.server import Access, Page, application
from harness.line.station import Station
from harness.line.words import Words, read_words
from harness.store import open_store

LEAST_TOKEN = 16
"""Characters of a token."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A place that is ready to be served."""

    line: LineFile
    setup: Setup
    words: Words
    station: Station
    access: Access
    picture: str


@contextlib.contextmanager
def opened(
    path: str, *, store: str = "", reports: str = "", seed: int | None = None, faults_path: str = "", language: str = ""
) -> Iterator[Opened]:
    """Read everything that a place needs and hold it: one page for each place.

    Raises:
        ConfigError: what is wrong with any of the files.
        UsageError: a job without [production], a token file that is none, a page that is served already, or
            faults for a real bench.
    """
    files = FileSet()
    line = files.read(LineFile, "line", path)
    files.check()
    if line is None:  # pragma: no cover - check has raised
        raise ConfigError(())
    words = read_words(
        beside(path, language or line.language) if line.language.endswith(".toml") else language or line.language
    )
    paths = Paths.of(line, path, store=store, reports=reports)
    setup = read_setup(paths.job)
    if setup.job.production is None:
        raise UsageError(
            f"{paths.job}: no [production]: a place at the end of the line locks and counts; add the table"
        )
    if setup.bench.file.simulation is None and (faults_path or seed is not None):
        raise UsageError(f"--unit-faults and --seed need a simulated bench; {setup.bench.path} describes a real one")
    faults_of = _faults_of(faults_path)
    faults_of("")
    access = Access(own=line.is_own, token=_token(beside(path, line.token_file)) if line.token_file else "")
    place = Place.of(str(ready_folder(str(paths.pages))), line.name)
    place.path.mkdir(parents=True, exist_ok=True)
    # Made or brought up now: the page reads from it before the first run has written.
    open_store(paths.store).close()
    with _alone(place, line.name):
        place.beat()
        hands = Hands(
            line=line, line_path=path, line_text=files.stored["line"].text, place=place, paths=paths, store=store,
            reports=reports, seed=seed, faults_of=faults_of,
        )  # fmt: skip
        station = Station(line, hands, golden_units=setup.job.production.golden_units)
        yield Opened(
            line=line, setup=setup, words=words, station=station, access=access,
            picture=draw(connection_of(setup), words),
        )  # fmt: skip


@contextlib.contextmanager
def _alone(place: Place, name: str) -> Iterator[None]:
    try:
        lock = ResourceLock(place.lock)
    except ResourceBusy as error:
        raise UsageError(f"the page of {name} is served already: {error.message}") from error
    try:
        yield
    finally:
        lock.release()


def _token(path: str) -> str:
    what = f"token file {path}"
    make = f"allowed: {LEAST_TOKEN} characters or more, readable by its owner alone (chmod 600)"
    try:
        mode = os.stat(path).st_mode
        token = Path(path).read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{what}: cannot be read ({error}); {make}") from error
    if mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise UsageError(f"{what}: others may read it (mode {stat.S_IMODE(mode):o}); {make}")
    if len(token) < LEAST_TOKEN or not token.isprintable() or " " in token:
        raise UsageError(f"{what}: {len(token)} characters, or spaces in it; {make}")
    return token


def _faults_of(path: str) -> Callable[[str], Sequence[str]]:
    """Faults by serial number, read anew for each unit: so one can be mended, or break, in the middle of a shift."""

    def read(unit: str) -> Sequence[str]:
        if not path:
            return ()
        try:
            content = tomllib.loads(Path(path).read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            raise UsageError(f'--unit-faults {path}: {error}; allowed: TOML, SERIAL = ["fault", ...]') from error
        faults = content.get(unit, [])
        if not isinstance(faults, list) or not all(isinstance(fault, str) for fault in faults):
            raise UsageError(f"--unit-faults {path}: {unit}: got {faults!r}; allowed: a list of faults as for --fault")
        return faults

    return read


def bound(host: str, port: int) -> socket.socket:
    """A socket at an address. UsageError: it is taken, or none of this computer."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family)
    except OSError as error:
        raise UsageError(f"{host}:{port}: cannot be served: {error.strerror or error}; change host or port") from error


def serve(place: Opened, sock: socket.socket) -> None:
    """Serve until SIGINT or SIGTERM; on return the bench has ended and its source is off."""
    app, page = application(place.station, place.words, place.picture, place.access)
    config = uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=2, lifespan="on", access_log=False)

    class Server(uvicorn.Server):
        """Tells the bench first: no open page may hold it up."""

        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            _close(page, place.station)
            self.should_exit = True

    address = sock.getsockname()
    shown = f"[{address[0]}]" if ":" in address[0] else address[0]
    say(f"{place.line.name}: http://{shown}:{address[1]}/" + ("?token=..." if place.access.token else ""))
    if not place.line.is_own:
        say(
            f"WARNING the page is served at {shown}, beyond this computer: whoever has the token can start and stop the"
            " bench, and what goes over the network is not encrypted"
        )
    Server(config).run(sockets=[sock])


def _close(page: Page, station: Station) -> None:
    page.close()
    station.stop_now()

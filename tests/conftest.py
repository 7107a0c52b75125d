"""Fixtures for all rooms: the command line as a function."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from harness.app import main as app_main
from tests.postgres_server import PostgresServer
from tests.postgres_server import missing as postgres_missing

ROOT = Path(__file__).resolve().parents[1]


@dataclass(frozen=True)
class Ended:
    """What a command came to."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


Command = Callable[..., Ended]


@pytest.fixture(scope="session", autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What commands keep for the next time stays in a folder of the session."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[PostgresServer]:
    """A running server; whoever stops it starts it again."""
    if postgres_missing():
        pytest.skip(postgres_missing())
    server = PostgresServer()
    try:
        server.start()
        yield server
    finally:
        server.remove()


@pytest.fixture
def gainladder(capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Command:
    """Run a command in this process, from the project's root, with store and reports in a folder of the test's own."""
    monkeypatch.chdir(ROOT)
    takes_store = {"sweep", "resume", "watch", "judge", "report", "runs"}

    def run(*words: str) -> Ended:
        arguments = list(words)
        if words and words[0] in takes_store and "--store" not in words:
            arguments += ["--store", str(tmp_path / "runs.sqlite")]
        if words and words[0] in ("sweep", "resume") and "--reports" not in words:
            arguments += ["--reports", str(tmp_path / "pages")]
        monkeypatch.setattr(sys, "argv", ["gainladder", *arguments])
        with pytest.raises(SystemExit) as stopped:
            app_main.main()
        said = capfd.readouterr()
        return Ended(code=int(stopped.value.code or 0), out=said.out, err=said.err)

    return run


@pytest.fixture
def as_ordinary_user() -> bool:
    """Whether permissions mean anything: root may write everywhere."""
    return os.geteuid() != 0
